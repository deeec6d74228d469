"""Constructions in a room: floors, ceilings, walls, boxes, and what bridges them."""
