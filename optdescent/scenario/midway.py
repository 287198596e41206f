"""What a flight has at its start that does not begin in cruise with nothing out."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Midway:
    """Numbers of the devices that are out at the start [-], and whether that lies on the glide path."""

    out: frozenset[int] = frozenset()
    on_path: bool = False


CRUISE = Midway()
"""In cruise: nothing out."""
