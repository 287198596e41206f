"""Wind over distance and height from several soundings along the track."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.profile import fitted_column
from optdescent.air.wind.section_field import SectionField, knots_along
from optdescent.air.wind.sounding import Sounding
from optdescent.inputs import Declared, entry, quantity


class Station(Declared):
    """A sounding and where along the track it was taken."""

    sounding: str = entry("name of a built-in sounding, or path of a CSV file relative to the scenario")
    distance: float = quantity("nm", -3000, 3000, "distance to go to the threshold; negative beyond it")


class SectionDeclaration(Declared):
    """Soundings along the track."""

    kind: Literal["section"] = entry("wind over distance and height from several soundings along the track")
    stations: tuple[Station, ...] = entry("soundings and their distances to go, at least two, in any order")


@dataclass(frozen=True)
class SectionWind:
    """Wind between soundings: each fitted by height as a profile is, linear by distance from one to the next.

    ``places`` are coordinates along the track [m], rising; beyond the outermost the wind stays as it is there, whatever
    the distance. The kinks at the stations are rounded by splines whose knots include them: there the wind is the
    profile's own. ``start_distance`` [m]: the knots cover the flight from there.
    """

    places: tuple[float, ...]
    soundings: tuple[Sounding, ...]
    start_distance: float

    @property
    def field(self) -> SectionField:
        """How it is evaluated."""
        return SectionField(knots_along(self.start_distance, self.places))

    @property
    def text(self) -> str:
        """All that its numbers depend on beyond the scenario file."""
        return "\n".join(sounding.text for sounding in self.soundings)

    def coefficients(self) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s]."""
        return self._filled.copy()

    @cached_property
    def _filled(self) -> NDArray[np.float64]:
        field = self.field
        columns = [fitted_column(s.height, s.east, s.north, field.heights) for s in self.soundings]
        share = np.column_stack([np.interp(field.distances, self.places, one) for one in np.eye(len(self.places))])
        east, north = (share @ np.stack([column[part] for column in columns]) for part in (0, 1))
        return field.from_values(east, north)


def section_of(stations: Sequence[tuple[float, Sounding]], start_distance: float) -> SectionWind:
    """A section from (distance to go [m], sounding) pairs in any order, for a flight from a distance to go [m]."""
    ordered = sorted(stations, key=lambda station: -station[0])
    places, soundings = tuple(-distance for distance, _ in ordered), tuple(sounding for _, sounding in ordered)
    return SectionWind(places, soundings, start_distance)
