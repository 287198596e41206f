"""The part of a netCDF file of winds that a route needs, checked: axes found by CF names, every fault named.

Only the box around the route is read, whatever the size of the file.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, cast

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.air.altitude import geopotential
from optdescent.air.atmosphere import pressure_altitude
from optdescent.air.wind.route import Route
from optdescent.inputs import Fault, InputFault
from optdescent.units import KNOT

_SPEED_UNITS = {"m s-1": 1.0, "m/s": 1.0, "m s**-1": 1.0, "m.s-1": 1.0, "knot": KNOT, "knots": KNOT, "kt": KNOT}
_PRESSURE_UNITS = {"pa": 1.0, "hpa": 100.0, "mbar": 100.0, "millibar": 100.0, "millibars": 100.0}
_HEIGHT_UNITS = {"m": 1.0, "metre": 1.0, "meter": 1.0, "km": 1000.0, "gpm": 1.0}
_GEOMETRIC = ("altitude", "height_above_mean_sea_level", "height_above_geoid")
_HEIGHT_NAMES = ("geopotential_height", *_GEOMETRIC)
"""CF's `height` is above the ground and is not among them."""
WIDEST_STEP = 4000.0
"""Widest step [m] between two levels below the highest that is bridged; 500 to 300 hPa is 3.6 km."""
_HIGHEST = 15000.0
LOWEST = 2000.0
HIGHEST = 8000.0
"""A grid has to begin at least as low and end at least as high [m]; beyond its levels the wind is held constant."""
WIDEST_CELL = 5.0
"""Widest step [degrees] between two latitudes or longitudes around the track."""
LARGEST = 150.0
"""Wind [m/s] beyond which a value is not believed."""
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Box:
    """Winds towards east and north [m/s] and heights [m], each (levels, latitudes, longitudes), heights rising.

    ``latitude``, ``longitude`` [degrees] rise; longitudes are within 180 degrees of ``middle``.
    """

    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    height: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    middle: float

    def turned(self, longitude: NDArray[np.float64]) -> NDArray[np.float64]:
        """Longitudes [degrees] in the convention of the box."""
        return _turned(longitude, self.middle)


def read_box(path: Path, route: Route, time: str | None) -> Box:
    """The box of a file that holds a route [m/s, m].

    Raises
    ------
    InputFault
        A file that is no netCDF file; a wind, axis or time that is not there; units that are not understood; latitudes
        or longitudes that do not cover the route; levels too far apart; values that are missing.
    """
    try:
        # xarray leaves open what its attributes and coordinates hold.
        data: xr.Dataset = cast("Any", xr).open_dataset(path)
    except (OSError, ValueError) as error:
        raise InputFault([Fault(str(path), "", "the grid cannot be read", "a netCDF file")]) from error
    with data:
        try:
            return _Reader(str(path), data).box(route, time)
        except OSError as error:
            raise InputFault([Fault(str(path), "", "the grid is damaged", "a netCDF file that can be read")]) from error


class _Reader:
    def __init__(self, name: str, data: xr.Dataset) -> None:
        self.name, self.data = name, data

    def box(self, route: Route, time: str | None) -> Box:
        east, north = self._wind("eastward_wind"), self._wind("northward_wind")
        if set(north.dims) != set(east.dims):
            given = f"has axes {', '.join(str(name) for name in north.dims)}"
            raise self._fault(str(north.name), given, f"those of {east.name}: {', '.join(str(n) for n in east.dims)}")
        latitude = self._axis(east, "latitude", ("degrees_north", "degree_north"))
        longitude = self._axis(east, "longitude", ("degrees_east", "degree_east"))
        level = self._level(east)
        middle = _middle(route.longitude)
        rows = self._cover(latitude, east[latitude].to_numpy().astype(float), route.latitude)
        turned = _turned(east[longitude].to_numpy().astype(float), middle)
        is_cyclic = np.unique(east[longitude].to_numpy()).size == turned.size
        columns = self._cover(longitude, turned, _turned(route.longitude, middle), is_cyclic=is_cyclic)
        where = {latitude: rows, longitude: columns}
        order = (level, latitude, longitude)
        winds = [self._values(self._at(one.isel(where), time), order) * self._unit(one) for one in (east, north)]
        height = self._heights(east, level, where, order, time)
        self._complete((east[level], height), (east, winds[0]), (north, winds[1]))
        self._plausible((east, winds[0]), (north, winds[1]))
        rising = np.argsort(height.mean(axis=(1, 2)))
        self._steps(height[rising], level)
        axis = east[latitude].to_numpy().astype(float)[rows]
        return Box(axis, turned[columns], height[rising], winds[0][rising], winds[1][rising], middle)

    def _fault(self, key: str, given: str, allowed: str) -> InputFault:
        return InputFault([Fault(self.name, key, given, allowed)])

    def _wind(self, standard: str) -> xr.DataArray:
        found = self._with_name(standard)
        if found is None:
            names = ", ".join(str(name) for name in self.data.data_vars) or "nothing"
            raise self._fault("", f"holds {names}", f"a variable with standard_name {standard!r}")
        return found

    def _with_name(self, standard: str) -> xr.DataArray | None:
        return next((one for one in self.data.data_vars.values() if one.attrs.get("standard_name") == standard), None)

    def _axis(self, wind: xr.DataArray, standard: str, units: tuple[str, ...]) -> Hashable:
        for name in wind.dims:
            own = _attributes(wind, name)
            if own.get("standard_name") == standard or own.get("units") in units:
                if own.get("units") not in units:
                    raise self._fault(f"{name}, units", f"got {own.get('units')!r}", " or ".join(units))
                return name
        given = ", ".join(str(name) for name in wind.dims)
        raise self._fault(str(wind.name), f"has axes {given}", f"an axis with standard_name {standard!r}")

    def _level(self, wind: xr.DataArray) -> Hashable:
        for name in wind.dims:
            own = _attributes(wind, name)
            unit = str(own.get("units", "")).lower()
            if own.get("standard_name") in ("air_pressure", *_HEIGHT_NAMES) or unit in _PRESSURE_UNITS:
                return name
        given = ", ".join(str(name) for name in wind.dims)
        raise self._fault(
            str(wind.name), f"has axes {given}", f"an axis with standard_name air_pressure, {', '.join(_HEIGHT_NAMES)}"
        )

    def _unit(self, wind: xr.DataArray) -> float:
        unit = str(wind.attrs.get("units", ""))
        if unit not in _SPEED_UNITS:
            raise self._fault(f"{wind.name}, units", f"got {unit!r}", ", ".join(_SPEED_UNITS))
        return _SPEED_UNITS[unit]

    def _cover(
        self, axis: Hashable, values: NDArray[np.float64], wanted: NDArray[np.float64], *, is_cyclic: bool = False
    ) -> NDArray[np.intp]:
        """Indices, in rising order of the values, of the part of an axis that holds all that is wanted."""
        if not np.all(np.isfinite(values)):
            raise self._fault(str(axis), "holds a value that is not a number", "numbers")
        order = np.argsort(values, kind="stable")
        # A global grid may repeat its first meridian 360 degrees on.
        order = order[np.append(True, np.diff(values[order]) > _ROUNDING)] if is_cyclic else order
        sorted_values = values[order]
        if np.any(np.diff(sorted_values) < _ROUNDING):
            raise self._fault(str(axis), "holds a value twice", "values that differ")
        low, high = float(wanted.min()), float(wanted.max())
        if values.size < 2 or low < sorted_values[0] - _ROUNDING or high > sorted_values[-1] + _ROUNDING:
            span = f"{sorted_values[0]:.2f} to {sorted_values[-1]:.2f}"
            raise self._fault(str(axis), f"covers {span} degrees", f"the track's {low:.2f} to {high:.2f} degrees")
        first = int(np.clip(np.searchsorted(sorted_values, low, side="right") - 1, 0, values.size - 2))
        last = int(np.clip(np.searchsorted(sorted_values, high, side="left"), first + 1, values.size - 1))
        widest = float(np.max(np.diff(sorted_values[first : last + 1])))
        if widest > WIDEST_CELL:
            raise self._fault(str(axis), f"leaves out {widest:.1f} degrees", f"steps up to {WIDEST_CELL:.0f} degrees")
        return order[first : last + 1]

    def _at(self, array: xr.DataArray, time: str | None) -> xr.DataArray:
        """The array at one time."""
        axis = next((d for d in array.dims if _is_time(array, d)), None)
        if axis is None:
            if time is not None:
                raise self._fault("time", f"got {time}", "no air.wind.time: the file holds one time without an axis")
            return array
        count = array.sizes[axis]
        if time is None:
            if count > 1:
                raise self._fault(str(axis), f"holds {count} times", "the scenario's air.wind.time to say which")
            return array.isel({axis: 0})
        times = array[axis].to_numpy()
        if np.unique(times).size < times.size:
            raise self._fault(str(axis), "holds a time twice", "times that differ")
        try:
            wanted = _moment(time)
        except ValueError as error:
            raise self._fault("time", f"got {time!r}", "a time as 2026-01-31T12:00") from error
        if not times.min() <= wanted <= times.max():
            raise self._fault("time", f"got {time}", f"{times.min()} to {times.max()}")
        return array.interp({axis: wanted}) if count > 1 else array.isel({axis: 0})

    def _values(self, array: xr.DataArray, order: tuple[Hashable, ...]) -> NDArray[np.float64]:
        beyond = [str(d) for d in array.dims if d not in order]
        if beyond:
            raise self._fault(
                str(array.name), f"has an axis {beyond[0]!r} too many", "level, latitude, longitude, time"
            )
        return np.asarray(array.transpose(*order).to_numpy(), dtype=float)

    def _heights(
        self,
        wind: xr.DataArray,
        level: Hashable,
        where: dict[Hashable, NDArray[np.intp]],
        order: tuple[Hashable, ...],
        time: str | None,
    ) -> NDArray[np.float64]:
        """Geopotential heights [m] of the levels, (levels, latitudes, longitudes)."""
        shape = (wind.sizes[level], *(rows.size for rows in where.values()))
        axis = wind[level]
        values, unit = axis.to_numpy().astype(float), str(axis.attrs.get("units", "")).lower()
        is_pressure = axis.attrs.get("standard_name") == "air_pressure"
        if is_pressure and unit not in _PRESSURE_UNITS:
            raise self._fault(f"{level}, units", f"got {unit!r}", ", ".join(_PRESSURE_UNITS))
        if unit in _HEIGHT_UNITS:
            metres = values * _HEIGHT_UNITS[unit]
            if axis.attrs.get("standard_name") in _GEOMETRIC:
                metres = np.asarray(geopotential(metres), dtype=float)
            return np.broadcast_to(metres[:, None, None], shape)
        own = self._with_name("geopotential_height")
        if own is not None and set(order) <= set(own.dims):
            found = self._values(self._at(own.isel(where), time), order)
            return found * self._height_unit(own)
        if unit not in _PRESSURE_UNITS:
            raise self._fault(f"{level}, units", f"got {unit!r}", ", ".join((*_PRESSURE_UNITS, *_HEIGHT_UNITS)))
        if not np.all(values > 0.0):
            raise self._fault(str(level), f"holds {float(np.min(values)):g} {unit}", "pressures above nothing")
        heights = np.asarray(pressure_altitude(values * _PRESSURE_UNITS[unit]), dtype=float)
        return np.broadcast_to(heights[:, None, None], shape)

    def _height_unit(self, array: xr.DataArray) -> float:
        unit = str(array.attrs.get("units", "")).lower()
        if unit not in _HEIGHT_UNITS:
            raise self._fault(f"{array.name}, units", f"got {unit!r}", ", ".join(_HEIGHT_UNITS))
        return _HEIGHT_UNITS[unit]

    def _plausible(self, *winds: tuple[xr.DataArray, NDArray[np.float64]]) -> None:
        for array, values in winds:
            largest = float(np.max(np.abs(values)))
            if largest > LARGEST:
                given = f"holds {largest:.0f} m/s around the track"
                raise self._fault(
                    str(array.name), given, f"winds up to {LARGEST:.0f} m/s: is a fill value not declared?"
                )

    def _complete(self, *winds: tuple[xr.DataArray, NDArray[np.float64]]) -> None:
        for array, values in winds:
            holes = np.argwhere(~np.isfinite(values))
            if holes.size:
                place = ", ".join(str(int(i)) for i in holes[0])
                given = f"{len(holes)} of {values.size} values around the track are missing, the first at ({place})"
                raise self._fault(str(array.name), given, "a value at every level, latitude and longitude there")

    def _steps(self, height: NDArray[np.float64], level: Hashable) -> None:
        middle = height.mean(axis=(1, 2))
        if height.shape[0] > 1 and float(np.diff(height, axis=0).min()) < 1.0:
            raise self._fault(str(level), "holds levels that repeat or cross", "levels that rise one above the other")
        if middle[0] > LOWEST or middle[-1] < HIGHEST:
            given = f"covers {middle[0]:.0f} to {middle[-1]:.0f} m"
            raise self._fault(str(level), given, f"levels from {LOWEST:.0f} m or lower to {HIGHEST:.0f} m or higher")
        below = middle[middle <= _HIGHEST]
        steps = np.diff(below)
        if below.size < 2 or float(steps.max()) > WIDEST_STEP:
            where = int(np.argmax(steps)) if steps.size else 0
            given = f"no level between {below[where]:.0f} and {below[where + 1]:.0f} m" if steps.size else "one level"
            raise self._fault(str(level), given, f"at least two levels, at most {WIDEST_STEP:.0f} m apart")


def _moment(text: str) -> np.datetime64:
    """A time of ISO 8601; one with an offset becomes that of Greenwich, as files hold it."""
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is not None:
        moment = moment.astimezone(UTC).replace(tzinfo=None)
    return np.datetime64(moment, "ns")


def _is_time(array: xr.DataArray, name: Hashable) -> bool:
    coordinates = cast("Any", array).coords
    return name in coordinates and np.issubdtype(coordinates[name].dtype, np.datetime64)


def _attributes(array: xr.DataArray, name: Hashable) -> dict[str, Any]:
    """What a file says of an axis."""
    coordinates = cast("Any", array).coords
    return dict(coordinates[name].attrs) if name in coordinates else {}


def _middle(longitude: NDArray[np.float64]) -> float:
    """A longitude [degrees] in the middle of others, whatever their convention."""
    angle = np.radians(longitude)
    return float(np.degrees(np.arctan2(np.sin(angle).mean(), np.cos(angle).mean())))


def _turned(longitude: NDArray[np.float64], middle: float) -> NDArray[np.float64]:
    """Longitudes [degrees] within 180 degrees of a middle."""
    return middle + (longitude - middle + 180.0) % 360.0 - 180.0
