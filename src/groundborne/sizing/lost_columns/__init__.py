"""A column lost: what the others carry through the floors above."""
