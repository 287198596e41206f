"""Wind along the track from a horizontal grid: u and v by level, latitude, longitude and perhaps time, as netCDF.

Names and axes are found by the CF conventions (version 1.11, sections 3 and 4, standard name table): `eastward_wind`
and `northward_wind` on `air_pressure` or on a height. Pressure levels become geopotential heights by the file's own
`geopotential_height`, else by the standard atmosphere (ICAO Doc 7488/3).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.box import Box, read_box
from optdescent.air.wind.profile import fitted_column
from optdescent.air.wind.route import Route
from optdescent.air.wind.section_field import SectionField
from optdescent.inputs import Declared, entry


class GridDeclaration(Declared):
    """A grid of winds in a netCDF file."""

    kind: Literal["grid"] = entry("wind from a horizontal grid in a netCDF file")
    file: str = entry("path of the netCDF file, relative to the scenario")
    time: str | None = entry(
        "time in the file, as 2026-01-31T12:00; needed where it holds several, linear between them", default=None
    )


@dataclass(frozen=True)
class GridWind:
    """Wind of a grid along one track: linear between its points, fitted by height as a sounding is.

    ``east``, ``north``, ``height`` (places of the route, levels) [m/s, m]. Above the highest and below the lowest level
    the wind is held constant; along the track the file must cover the route.
    """

    route: Route
    height: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]

    @property
    def field(self) -> SectionField:
        """How it is evaluated."""
        return SectionField(tuple(self.route.places.tolist()))

    @property
    def text(self) -> str:
        """All that its numbers depend on beyond the scenario file: a fingerprint of what was read."""
        parts = (self.height, self.east, self.north)
        return hashlib.sha256(b"".join(np.ascontiguousarray(part).tobytes() for part in parts)).hexdigest()

    def coefficients(self) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s]."""
        return self._filled.copy()

    @cached_property
    def _filled(self) -> NDArray[np.float64]:
        field = self.field
        columns = [
            fitted_column(height, east, north, field.heights)
            for height, east, north in zip(self.height, self.east, self.north, strict=True)
        ]
        east, north = (np.stack([column[part] for column in columns]) for part in (0, 1))
        return field.from_values(east, north)


def read_grid(path: Path, route: Route, time: str | None) -> GridWind:
    """The wind of a file along a route [m/s].

    Raises
    ------
    InputFault
        What the file lacks, holds in units or in an order that cannot be understood, or does not cover.
    """
    box = read_box(path, route, time)
    return GridWind(route, *_along(box, route))


def _along(box: Box, route: Route) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Heights [m] and winds [m/s] (places, levels): bilinear in latitude and longitude, heights rising."""
    row, up = _between(box.latitude, route.latitude)
    column, right = _between(box.longitude, box.turned(route.longitude))
    corners = (
        (row, column, (1.0 - up) * (1.0 - right)),
        (row, column + 1, (1.0 - up) * right),
        (row + 1, column, up * (1.0 - right)),
        (row + 1, column + 1, up * right),
    )
    height, east, north = (
        sum(weight[:, None] * values[:, i, j].T for i, j, weight in corners)
        for values in (box.height, box.east, box.north)
    )
    return np.asarray(height), np.asarray(east), np.asarray(north)


def _between(axis: NDArray[np.float64], at: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Cell of a rising axis that holds each place, and how far along it [-]."""
    cell = np.clip(np.searchsorted(axis, at, side="right") - 1, 0, axis.size - 2)
    return cell, (at - axis[cell]) / (axis[cell + 1] - axis[cell])
