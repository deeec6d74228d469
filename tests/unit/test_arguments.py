"""The one check of arguments: kinds, numbers, labels, results, and what it costs."""

from __future__ import annotations

import dataclasses
import functools
import importlib
import inspect
import pkgutil
import threading
import timeit
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
import pandas as pd
import pytest
import xarray as xr

import groundborne
from groundborne import _kinds
from groundborne._arguments import Frequency, Words, checked, is_checked
from groundborne._checks import ArgumentError, BandError, LabelError, Numeric
from groundborne.rating import statistic

ROOMS = ["A", "B", "C"]


def on(labels: Sequence[Any], values: Any = None, dim: str = "room") -> xr.DataArray:
    values = np.arange(1.0, len(labels) + 1) if values is None else values
    return xr.DataArray(values, coords={dim: list(labels)}, dims=dim)


def setting() -> str:
    return str(xr.get_options()["arithmetic_join"])


class Carries(Protocol):
    """What holds something up."""

    height: float

    def load(self) -> float:
        """How much."""


class Pack:
    height = 0.2

    def load(self) -> float:
        return 1e6


@checked
def add(first: Numeric, second: Numeric) -> Any:
    return first + second


@checked
def labelled(level: xr.DataArray) -> xr.DataArray:
    return level


@checked
def axis_of(frequency: Frequency) -> xr.DataArray:
    return frequency


@checked
def read(
    number: float = 1.0,
    count: int = 1,
    flag: bool = False,
    name: str = "x",
    maybe: float | None = None,
    pairs: Sequence[tuple[float, float]] = (),
    table: Mapping[str, float] | None = None,
    pack: Carries | None = None,
    how: Literal["a", "b"] = "a",
    three: tuple[float, float, float] = (0.0, 0.0, 0.0),
    any_of: tuple[float, ...] = (),
    words: Sequence[str] = (),
    about: Mapping[str, Sequence[Any]] | None = None,
    factor: complex = 1j,
    anything: Any = None,
) -> None:
    return None


# -- Kinds -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "given",
    [
        {"number": 3},
        {"number": np.float32(3)},
        {"number": np.array(3.0)},
        {"number": xr.DataArray(3.0)},
        {"count": np.int64(3)},
        {"flag": np.bool_(True)},
        {"name": np.str_("x")},
        {"maybe": None},
        {"pairs": [(1.0, 2.0), (3, 4)]},
        {"pairs": ()},
        {"table": {"a": 1}},
        {"pack": Pack()},
        {"how": "c"},  # which words are known is said by the function
        {"three": [1.0, 2.0, 3.0]},
        {"any_of": [1, 2]},
        {"words": np.array(ROOMS)},
        {"words": pd.Index(ROOMS)},
        {"about": {"track": [1, 2], "train": np.array(ROOMS)}},
        {"factor": 2.0},
        {"anything": object()},
    ],
    ids=lambda given: next(iter(given)),
)
def test_kinds_that_are_meant_pass(given: dict[str, Any]) -> None:
    read(**given)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"number": "3"}, "read: number is '3'; a number is needed"),
        ({"number": True}, "read: number is True; a number is needed"),
        ({"number": None}, "read: number is None; a number is needed"),
        ({"number": [3.0]}, "read: number is [3.0]; a number is needed"),
        ({"number": 3j}, "read: number is a complex; a number is needed"),
        ({"number": on(ROOMS)}, "read: number is a DataArray; a number is needed"),
        ({"count": 3.0}, "read: count is 3.0; a whole number is needed"),
        ({"count": True}, "read: count is True; a whole number is needed"),
        ({"flag": 1}, "read: flag is 1; True or False is needed"),
        ({"name": 3}, "read: name is 3; a word is needed"),
        ({"maybe": "no"}, "read: maybe is 'no'; a number or None is needed"),
        (
            {"pairs": [1.0, 2.0]},
            "read: pairs is [1.0, 2.0]; a sequence of which each is a tuple of a number and a num",
        ),
        ({"words": np.array([1.0, 2.0])}, "read: words is a ndarray; a sequence of which each is"),
        ({"words": np.array([ROOMS])}, "read: words is a ndarray; a sequence of which each is a"),
        ({"about": {"track": 3}}, "read: about is a dict; a mapping from a word to a sequence or"),
        ({"pairs": "ab"}, "read: pairs is 'ab'; a sequence of"),
        ({"pairs": [(1.0, 2.0, 3.0)]}, "read: pairs is [(1.0, 2.0, 3.0)]; a sequence of"),
        ({"table": {"a": "b"}}, "read: table is a dict; a mapping from a word to a number or None"),
        ({"table": {1: 2.0}}, "read: table is a dict; a mapping from a word to a number or None"),
        ({"pack": 3.0}, "read: pack is 3.0; a Carries (it has height, load) or None is needed"),
        ({"how": 3}, "read: how is 3; 'a' or 'b' is needed"),
        ({"three": [1.0, 2.0]}, "read: three is (1.0, 2.0); a tuple of a number and a number and"),
        ({"any_of": [1.0, "2"]}, "read: any_of is (1.0, '2'); a tuple of which each is a number"),
    ],
    ids=str,
)
def test_other_kinds_are_refused_in_one_sentence(given: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ArgumentError) as caught:
        read(**given)
    assert str(caught.value).startswith(sentence)
    assert isinstance(caught.value, ValueError)


def test_an_array_without_names_is_refused_where_names_could_be_given() -> None:
    assert labelled(xr.DataArray([1.0], dims="room")).dims == ("room",)
    assert add(np.array(1.0), np.float64(2.0)) == 3.0
    for bare in (np.ones((2, 3)), [1.0, 2.0], (1.0, 2.0), pd.Series([1.0, 2.0])):
        for call in (labelled, functools.partial(add, 1.0)):
            with pytest.raises(ArgumentError, match=r"is a bare \w+ of .*; name its dimensions"):
                call(bare)
    with pytest.raises(ArgumentError, match="level is a bare ndarray of 2 × 3 without named dim"):
        labelled(np.ones((2, 3)))


def test_bare_arrays_pass_where_they_are_meant() -> None:
    @checked(bare=("count",))
    def root(count: Numeric) -> Any:
        return count**0.5

    @checked
    def total(values: np.ndarray[Any, Any]) -> float:
        return float(values.sum())

    @checked
    def named(values: str | np.ndarray[Any, Any]) -> Any:
        return values

    assert root(np.array([4.0, 9.0])).tolist() == [2.0, 3.0]
    assert total(np.array([4.0, 9.0])) == 13.0
    assert named(np.array(ROOMS)).tolist() == ROOMS
    for call in (root, total, named):
        with pytest.raises(ArgumentError, match="nan at position"):
            call(np.array([4.0, np.nan]))
    with pytest.raises(ArgumentError, match="count holds <U1; real numbers are needed"):
        root(np.array(ROOMS))


def test_words_in_arrays() -> None:
    @checked
    def names(room: Words) -> list[str]:
        return room.values.tolist()

    assert names(xr.DataArray(ROOMS, dims="place")) == ROOMS
    with pytest.raises(ArgumentError, match="level holds <U1; real numbers are needed"):
        labelled(xr.DataArray(ROOMS, dims="place"))
    with pytest.raises(ArgumentError, match="level holds datetime64"):
        labelled(xr.DataArray(np.array(["2026-01-01"], "datetime64[ns]"), dims="time"))


def test_arguments_without_names_of_their_own() -> None:
    @checked
    def mean(*levels: float, **shares: float) -> float:
        return sum(levels) + sum(shares.values())

    assert mean(1.0, 2.0, a=3.0) == 6.0
    with pytest.raises(ArgumentError, match=r"levels is .*'2'"):
        mean(1.0, "2")
    with pytest.raises(ArgumentError, match="mean: b is 'x'; a number is needed"):
        mean(1.0, a=2.0, b="x")


def test_a_wrong_call_is_still_a_type_error() -> None:
    with pytest.raises(TypeError, match="missing a required argument: 'second'"):
        add(1.0)
    with pytest.raises(TypeError, match="unexpected keyword argument 'third'"):
        add(1.0, 2.0, third=3.0)


# -- Frequency axes --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "given",
    [
        [31.5, 63.0],
        (31.5, 63.0),
        np.array([31.5, 63.0]),
        pd.Series([31.5, 63.0]),
        pd.Series([31.5, 63.0], index=[31.5, 63.0]),
        pd.Index([31.5, 63.0]),
        groundborne.bands.third_octaves(31.5, 63)[::3],
    ],
    ids=lambda given: type(given).__name__,
)
def test_whatever_stands_for_frequencies_becomes_an_axis(given: Any) -> None:
    found = axis_of(given)
    assert found.dims == ("frequency",)
    assert found.values.tolist() == found["frequency"].values.tolist() == [31.5, 63.0]
    assert found["frequency"].attrs["units"] == "Hz"


def test_one_frequency_is_an_axis_of_one() -> None:
    for one in (63, 63.0, np.float64(63.0), np.array(63.0)):
        assert axis_of(one).to_dict()["coords"]["frequency"]["data"] == [63.0]


@pytest.mark.parametrize(
    ("given", "error", "words"),
    [
        ("63", BandError, "frequency is '63'; frequencies are wanted"),
        (["a"], BandError, r"frequency is \['a'\]; frequencies are wanted"),
        ([], BandError, r"frequency is \[\]; frequencies are wanted"),
        ([[31.5], [63.0, 80.0]], BandError, "frequencies are wanted"),
        (None, BandError, "frequency is None; frequencies are wanted"),
        (True, BandError, "frequency is True; frequencies are wanted"),
        ([31.5, np.nan], ArgumentError, "frequency is nan at frequency=nan; it must be finite"),
        ([31.5, np.inf], ArgumentError, "frequency is inf"),
        ([-31.5, 63.0], BandError, "frequency is -31.5 at .*; a frequency is above 0 Hz"),
        (0.0, BandError, "frequency is 0 at"),
        ([63.0, 63.0], BandError, "frequency holds frequency 63 twice; keep one"),
        (on([31.5, 63.0], [60.0, 55.0], "frequency"), BandError, "Of a spectrum, give its axis"),
        (pd.Series([60.0, 55.0], index=[31.5, 63.0]), BandError, "Of a spectrum, give its axis"),
        (on(["a", "b"], [31.5, 63.0], "frequency"), BandError, "has the labels .*'a'"),
        (xr.DataArray(["a"], dims="frequency"), ArgumentError, "holds <U1"),
    ],
    ids=str,
)
def test_what_stands_for_no_frequency(given: Any, error: type[ValueError], words: str) -> None:
    with pytest.raises(error, match=words):
        axis_of(given)


def test_exact_frequencies_at_nominal_labels_are_frequencies() -> None:
    bands = groundborne.bands.third_octaves(0.1, 20000)
    assert axis_of(groundborne.bands.exact(bands)).identical(groundborne.bands.exact(bands))
    lines = groundborne.bands.single_frequencies(bands[20:23], loss_factor=0.1)
    assert axis_of(lines) is lines


# -- Labels ----------------------------------------------------------------------------------------


def test_labels_in_another_order_are_brought_into_one() -> None:
    swapped = on(ROOMS).isel(room=[2, 0, 1])
    assert add(on(ROOMS), swapped).identical(on(ROOMS) * 2)
    assert add(swapped, on(ROOMS)).room.values.tolist() == ["C", "A", "B"]
    both = add(swapped.expand_dims(frequency=[50.0, 63.0]), on(ROOMS))
    assert both.sel(room="C", frequency=63.0) == 6.0


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        (ROOMS, ["A", "B"], "first has 'A', 'B', 'C'; second has 'A', 'B'; in one of them only"),
        (["A", "B"], ROOMS, "first has 'A', 'B'; second has 'A', 'B', 'C'"),
        (ROOMS, ["A", "B", "D"], "in one of them only: 'C', 'D'. Give both the same labels"),
        ([1, 2], ["1", "2"], "first has 1, 2; second has '1', '2'"),
    ],
    ids=str,
)
def test_labels_that_differ_are_never_joined(first: Any, second: Any, words: str) -> None:
    with pytest.raises(LabelError, match=f"add: the labels of 'room' differ: .*{words}"):
        add(on(first), on(second))


def test_bands_that_differ_say_how_to_cut_them() -> None:
    with pytest.raises(BandError, match=r"first has 50, 63; second has 63, 80; .* bands\.select"):
        add(on([50.0, 63.0], dim="frequency"), on([63.0, 80.0], dim="frequency"))


def test_whole_and_broken_labels_of_one_value_are_equal() -> None:
    assert add(on([50, 63], dim="frequency"), on([50.0, 63.0], dim="frequency")).size == 2


def test_labels_that_repeat_are_refused() -> None:
    for twice in (on(["A", "A", "B"]), on([50.0, 50.0], dim="frequency")):
        with pytest.raises(LabelError, match=r"labelled: level holds \w+ ('A'|50) twice"):
            labelled(twice)


def test_arrays_inside_containers_and_objects_are_held_to_their_labels() -> None:
    @checked
    def total(parts: Sequence[xr.DataArray]) -> Any:
        return sum(parts)

    @checked
    @dataclass(frozen=True, eq=False)
    class Load:
        dead: Numeric
        live: Numeric

        @property
        def all(self) -> Any:
            return self.dead + self.live

        def plus(self, more: Numeric) -> Any:
            return self.all + more

    with pytest.raises(LabelError, match=r"parts\.0 has 'A', 'B', 'C'; parts\.1 has 'A', 'B'"):
        total([on(ROOMS), on(ROOMS[:2])])
    with pytest.raises(LabelError, match=r"differ: .* in their order"):
        total([on(ROOMS), on(ROOMS[::-1])])
    with pytest.raises(LabelError, match="Load: the labels of 'room' differ"):
        Load(on(ROOMS), on(ROOMS[:2]))
    load = Load(on(ROOMS), on(ROOMS).isel(room=[2, 1, 0]))
    assert load.all.values.tolist() == [2.0, 4.0, 6.0]
    assert load.plus(on(ROOMS[::-1])).values.tolist() == [5.0, 6.0, 7.0]
    with pytest.raises(LabelError, match=r"Load\.plus: .*self.dead has .*; more has 'A', 'B'"):
        load.plus(on(ROOMS[:2]))


def test_parts_of_one_object_are_of_the_same_labels() -> None:
    @checked
    @dataclass(frozen=True, eq=False)
    class Part:
        mass: Numeric

    @checked
    @dataclass(frozen=True, eq=False)
    class Whole:
        parts: tuple[Part, ...]
        stock: Part | None = None

    class Named(Whole):
        pass

    Whole((Part(on(ROOMS)), Part(2.0)), stock=Part(on(ROOMS[::-1])))
    for cls in (Whole, Named):
        with pytest.raises(
            LabelError, match=r"parts\.0\.mass has .*; stock\.mass has 'A', 'B'; in"
        ):
            cls((Part(on(ROOMS)),), stock=Part(on(ROOMS[:2])))


def test_lengths_without_labels_must_agree() -> None:
    short, long = (xr.DataArray(np.ones(n), dims="room") for n in (2, 3))
    assert add(short, on(ROOMS[:2])).room.values.tolist() == ["A", "B"]
    for first, second in ((short, long), (on(ROOMS), short), (short, on(ROOMS))):
        words = rf"first has {first.size} and second {second.size} along 'room'"
        with pytest.raises(LabelError, match=f"add: {words}; both must be of the same"):
            add(first, second)


def test_a_table_that_is_looked_up_keeps_its_labels() -> None:
    @checked(own_labels=("table",))
    def look_up(rooms: xr.DataArray, table: xr.DataArray) -> xr.DataArray:
        return table.sel(room=rooms["room"])

    assert look_up(on(ROOMS[:2]), on(ROOMS)).size == 2


def test_datasets_are_held_to_the_labels_of_arrays() -> None:
    @checked
    def both(result: xr.Dataset, level: xr.DataArray) -> xr.DataArray:
        return result["rating"] + level

    result = xr.Dataset({"rating": on(ROOMS)})
    assert both(result, on(ROOMS[::-1])).values.tolist() == [4.0, 4.0, 4.0]
    with pytest.raises(LabelError, match="result has 'A', 'B', 'C'; level has 'A', 'B'"):
        both(result, on(ROOMS[:2]))
    twice = xr.Dataset({"rating": on(["A", "B", "B"])})
    with pytest.raises(LabelError, match="level has 'A', 'B'; result has 'A', 'B', 'B'"):
        _reversed(on(["A", "B"]), twice)


@checked
def _reversed(level: xr.DataArray, result: xr.Dataset) -> xr.DataArray:
    return result["rating"] + level


# -- The setting of xarray -------------------------------------------------------------------------


def test_the_setting_stands_during_a_call_and_its_inner_calls_only() -> None:
    seen = []

    @checked
    def inner(fail: bool) -> None:
        seen.append(setting())
        if fail:
            raise KeyError("inner")

    @checked
    def outer(fail: bool) -> None:
        try:
            inner(fail)
        finally:
            seen.append(setting())

    before = setting()
    outer(False)
    with pytest.raises(KeyError):
        outer(True)
    assert seen == ["exact"] * 4
    assert setting() == before == "inner"


def test_the_users_own_setting_comes_back() -> None:
    with xr.set_options(arithmetic_join="outer"):
        with pytest.raises(LabelError):
            checked(_one_less)(on(ROOMS))
        assert setting() == "outer"
        assert (on(ROOMS) + on(ROOMS[:2])).size == 3


def _one_less(level: xr.DataArray) -> xr.DataArray:
    return level + level[:-1]


def test_two_threads_at_once() -> None:
    """The first call to begin is the first to end: the other is still held to labels then."""
    first_runs, second_runs, first_ended = (threading.Event() for _ in range(3))
    seen: dict[str, Any] = {}

    @checked
    def first() -> None:
        first_runs.set()
        assert second_runs.wait(10)

    @checked
    def second() -> None:
        assert first_runs.wait(10)
        second_runs.set()
        assert first_ended.wait(10)
        seen["setting"] = setting()
        on(ROOMS) + on(ROOMS[:2])

    def run_second() -> None:
        try:
            second()
        except Exception as error:
            seen["error"] = error

    threads = [threading.Thread(target=first), threading.Thread(target=run_second)]
    for thread in threads:
        thread.start()
    threads[0].join(20)
    first_ended.set()
    threads[1].join(20)
    assert not any(thread.is_alive() for thread in threads)
    assert seen["setting"] == "exact"
    assert isinstance(seen["error"], LabelError)
    assert setting() == "inner"


def test_many_threads_leave_the_setting_as_it_was() -> None:
    wrong: list[Any] = []

    def work() -> None:
        for _ in range(50):
            try:
                add(on(ROOMS), on(ROOMS[:2]))
                wrong.append("joined")
            except LabelError:
                pass
            if not add(on(ROOMS), on(ROOMS)).identical(on(ROOMS) * 2):
                wrong.append("another sum")

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert wrong == []
    assert setting() == "inner"


def test_the_suite_sees_every_other_join() -> None:
    """The guard in conftest.py bites, for each way in which xarray joins without being asked."""
    whole, part = on(ROOMS), on(ROOMS[:2])
    ways: dict[str, Callable[[], Any]] = {
        "Dataset": lambda: xr.Dataset({"a": whole, "b": part}),
        "assign": lambda: xr.Dataset({"a": part}).assign(b=whole),
        "where": lambda: whole.where(part > 1),
        "fillna": lambda: whole.fillna(part),
        "concat": lambda: xr.concat([whole, part], dim="x", join="outer"),
        "merge": lambda: xr.merge([whole.rename("a"), part.rename("b")], join="outer"),
        "broadcast": lambda: xr.broadcast(whole, part),
        "align": lambda: xr.align(whole, part),
    }
    for name, way in ways.items():
        with pytest.raises(AssertionError, match=r"the labels of \['room'\] are joined"):
            checked(_calling)(way)
        assert way() is not None, name


def _calling(way: Callable[[], Any]) -> None:
    way()


# -- Numbers ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_what_is_no_number_does_not_enter(bad: float) -> None:
    with pytest.raises(ArgumentError, match=r"add: first is -?(nan|inf); it must be finite"):
        add(bad, 1.0)
    with pytest.raises(ArgumentError, match=r"labelled: level is -?(nan|inf) at room=B"):
        labelled(on(ROOMS, [1.0, bad, 3.0]))
    with pytest.raises(ArgumentError, match="read: any_of is"):
        read(any_of=(1.0, bad))
    with pytest.raises(ArgumentError, match="read: table is"):
        read(table={"a": bad})
    with pytest.raises(ArgumentError, match="read: factor is"):
        read(factor=complex(0.0, bad))


def test_what_is_no_number_does_not_leave() -> None:
    @checked
    def logarithm(value: Numeric) -> Any:
        with np.errstate(all="ignore"):
            return np.log(value)

    @checked
    def pair(value: Numeric) -> tuple[Any, Any]:
        return value, logarithm.__wrapped__(value)

    assert logarithm(1.0) == 0.0
    with pytest.raises(ArgumentError, match="logarithm: the result is nan; an argument lies outs"):
        logarithm(-1.0)
    with pytest.raises(ArgumentError, match="the result is -inf at room=A; an argument lies outs"):
        logarithm(on(ROOMS, [0.0, 1.0, 2.0]))
    with pytest.raises(ArgumentError, match="pair: the result is nan at room=C"):
        pair(on(ROOMS, [1.0, 1.0, -2.0]))


def test_exceptions_are_named() -> None:
    @checked(nan=("gap",), infinite=("limit", "return"))
    def rule(gap: float, limit: float, most: float = np.inf) -> float:
        return limit

    assert rule(np.nan, np.inf, np.inf) == np.inf
    assert rule(np.nan, np.inf) == np.inf
    with pytest.raises(ArgumentError, match="rule: gap is inf"):
        rule(np.inf, 1.0)
    with pytest.raises(ArgumentError, match="rule: limit is nan"):
        rule(np.nan, np.nan)
    with pytest.raises(ArgumentError, match="rule: most is nan"):
        rule(np.nan, 1.0, np.nan)


def test_chunked_arrays_are_left_alone() -> None:
    dask_array = pytest.importorskip("dask.array")
    computed = []

    def block(values: Any) -> Any:
        computed.append(values.shape)
        return values

    lazy = xr.DataArray(
        dask_array.from_array(np.array([1.0, np.nan]), chunks=1).map_blocks(block, meta=np.ones(0)),
        coords={"room": ["A", "B"]},
        dims="room",
    )
    assert labelled(lazy).chunks == ((1, 1),)
    total = add(lazy, lazy.isel(room=[1, 0]))
    assert computed == []
    assert total.isel(room=0).compute().item() == 2.0
    with pytest.raises(ArgumentError, match="add: the result is not a number somewhere; a chunk"):
        total.compute()
    with pytest.raises(LabelError):
        add(lazy, lazy[:1])


# -- Classes ---------------------------------------------------------------------------------------


@checked
@dataclass(frozen=True, kw_only=True)
class Spring:
    """A spring.

    Parameters
    ----------
    rate : float
        [N/m].
    """

    rate: float
    name: str = ""

    @property
    def soft(self) -> float:
        """Half its rate."""
        return self.rate / 2 if self.rate < 1e9 else np.nan

    @functools.cached_property
    def twice(self) -> float:
        """Twice its rate."""
        return self.rate * 2

    @classmethod
    def of(cls, *, rate: float) -> Spring:
        """Make one."""
        return cls(rate=rate)

    @staticmethod
    def sum(first: float, second: float) -> float:
        """Of two."""
        return first + second

    def deflection(self, load: Numeric) -> Numeric:
        """Under a load."""
        return load / self.rate

    def __matmul__(self, other: Spring) -> Spring:
        return Spring(rate=self.rate + other.rate)


@checked
@dataclass(frozen=True, kw_only=True)
class Stiff(Spring):
    """With an end."""

    end: float = 1.0


def test_every_member_of_a_class_is_checked() -> None:
    spring = Spring.of(rate=2.0)
    assert (spring.soft, spring.twice, spring.sum(1.0, 2.0)) == (1.0, 4.0, 3.0)
    assert (spring @ spring).rate == 4.0
    assert spring.deflection(4.0) == 2.0
    calls: list[tuple[Callable[[], Any], str]] = [
        (lambda: Spring(rate="2"), "Spring: rate is '2'"),
        (lambda: dataclasses.replace(spring, rate=np.nan), "Spring: rate is nan"),
        (lambda: Spring.of(rate=None), r"Spring\.of: rate is None"),
        (lambda: Spring.sum(1.0, [2.0]), r"Spring\.sum: second is \[2.0\]"),
        (lambda: spring.deflection([4.0]), r"Spring\.deflection: load is a bare list of 1"),
        (lambda: spring @ 3.0, r"Spring\.__matmul__: other is 3.0; a Spring is needed"),
        (lambda: Spring(rate=1e9).soft, r"Spring\.soft: the result is nan"),
        (lambda: Spring(rate=1e308).twice, r"Spring\.twice: the result is inf"),
        (lambda: Stiff(rate=1.0, end="x"), "Stiff: end is 'x'"),
    ]
    for call, words in calls:
        with pytest.raises(ArgumentError, match=words):
            call()


def test_a_checked_class_is_still_what_it_was() -> None:
    assert is_checked(Spring)
    assert is_checked(Stiff)
    assert not is_checked(Pack)
    assert str(inspect.signature(Spring)) == "(*, rate: 'float', name: 'str' = '') -> None"
    assert list(inspect.signature(Spring.deflection).parameters) == ["self", "load"]
    assert Spring.__doc__.startswith("A spring.")
    assert Spring.soft.__doc__ == "Half its rate."
    assert Spring.twice.__doc__ == "Twice its rate."
    assert Spring.of.__doc__ == "Make one."
    assert dataclasses.is_dataclass(Spring)
    assert Spring(rate=1.0) == Spring(rate=1.0)
    assert Spring(rate=1.0).twice == 2.0
    with pytest.raises(dataclasses.FrozenInstanceError):
        Spring(rate=1.0).rate = 2.0


def test_a_checked_function_is_still_what_it_was() -> None:
    assert is_checked(add)
    assert checked(add) is add
    assert add.__name__ == "add"
    assert str(inspect.signature(add)) == "(first: 'Numeric', second: 'Numeric') -> 'Any'"
    assert inspect.getsource(add).startswith("@checked")


# -- The package -----------------------------------------------------------------------------------


def _wrapped() -> Iterable[tuple[str, Any]]:
    for module in pkgutil.walk_packages(groundborne.__path__, "groundborne."):
        if module.name.endswith("__main__"):
            continue
        for name, thing in vars(importlib.import_module(module.name)).items():
            if getattr(thing, "__module__", None) != module.name or not is_checked(thing):
                continue
            members = vars(thing).items() if inspect.isclass(thing) else ((name, thing),)
            for member, part in members:
                call = getattr(part, "__func__", getattr(part, "fget", part))
                if hasattr(call, "__wrapped__"):
                    yield f"{thing.__qualname__}.{member}", call.__wrapped__


def test_no_protocol_is_known_by_its_name_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """What only the type checker imports is told by the name of its class; a protocol has none."""
    by_name: set[str] = set()
    look_up = _kinds._Names.__missing__

    def missing(self: Any, name: str) -> Any:
        found = look_up(self, name)
        if isinstance(found, type) and issubclass(found, _kinds._ByName):
            by_name.add(name)
        return found

    monkeypatch.setattr(_kinds._Names, "__missing__", missing)
    calls = dict(_wrapped())
    assert len(calls) > 400
    for name, call in calls.items():
        _kinds.argument_checks(call, inspect.signature(call), _kinds.NO_EXCEPTION, name)
    assert by_name  # else this test looks at nothing
    protocols = {
        name
        for module in pkgutil.walk_packages(groundborne.__path__, "groundborne.")
        if not module.name.endswith("__main__")
        for name, thing in vars(importlib.import_module(module.name)).items()
        if getattr(thing, "_is_protocol", False)
    }
    assert by_name & protocols == set()


def test_a_check_costs_less_than_one_sum_of_arrays() -> None:
    here = on(ROOMS).expand_dims(frequency=[50.0, 63.0])
    there = on(ROOMS)

    @checked
    def nothing(first: xr.DataArray, second: Numeric, *, name: str = "x") -> None:
        return None

    def each(call: Callable[[], Any]) -> float:
        call()
        return min(timeit.repeat(call, number=50, repeat=7)) / 50

    one_sum = each(lambda: here + there)
    assert each(lambda: nothing(here, there)) < one_sum
    assert each(lambda: nothing(here, 1.0)) < one_sum


def test_a_join_set_by_another_thread_leaves_no_result():
    """The option is process-wide: a thread that sets it back while a call runs is found out."""

    @checked
    def slow(a: xr.DataArray) -> xr.DataArray:
        other = threading.Thread(target=lambda: xr.set_options(arithmetic_join="inner"))
        other.start()
        other.join()
        return a + a

    before = xr.get_options()["arithmetic_join"]
    try:
        with pytest.raises(ValueError, match="slow: xarray's option 'arithmetic_join' was changed"):
            slow(xr.DataArray([1.0], dims="room"))
        assert xr.get_options()["arithmetic_join"] == before
    finally:
        xr.set_options(arithmetic_join=before)


def test_labels_of_several_levels_and_plain_ones_differ():
    levels = xr.DataArray(
        [[1.0, 2.0]], dims=("line", "train"), coords={"line": [1], "train": ["a", "b"]}
    )
    stacked = levels.stack(passby=("line", "train"))
    weight = xr.DataArray([1.0, 1.0], coords={"passby": ["p", "q"]})
    for pair in ((stacked, weight), (weight, stacked)):
        with pytest.raises(
            LabelError, match=r"the labels of 'passby' differ: .* in one of them only"
        ):
            statistic(pair[0], "mean", weight=pair[1])


@checked
def total(table: xr.Dataset) -> Any:
    return table["height"].transpose("room", ...).sum("room")


def test_a_table_without_its_dim_is_named() -> None:
    whole = xr.Dataset({"height": on(ROOMS)})
    assert float(total(table=whole)) == 6.0
    for part in (whole.isel(room=0), xr.Dataset({"height": 1.0})):
        with pytest.raises(LabelError, match=r"^total: table lacks the dim 'room'"):
            total(table=part)
