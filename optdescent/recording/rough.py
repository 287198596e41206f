"""Rough quantities of raw rows, for checks of one column against another: standard air, nothing smoothed."""

from __future__ import annotations

import numpy as np

from optdescent.air.airspeed import calibrated_at, calibrated_from_mach
from optdescent.air.atmosphere import pressure, speed_of_sound
from optdescent.air.atmosphere import pressure_altitude as altitude_of_pressure
from optdescent.recording.declaration import ALTITUDES
from optdescent.recording.values import Array, Raw

BLOCK = 60.0
"""Time [s] over which a change is compared with a rate."""


def altitudes(raw: Raw) -> dict[str, Array]:
    """Altitudes (row,) [m] by the quantity that each is from; they differ by setting and elevation."""
    found = {name: raw.values[name] for name in ALTITUDES if raw.has(name)}
    if raw.has("static_pressure"):
        found["static_pressure"] = np.asarray(altitude_of_pressure(raw.values["static_pressure"]), dtype=float)
    return found


def altitude(raw: Raw) -> Array:
    """One altitude (row,) [m]."""
    return next(iter(altitudes(raw).values()))


def calibrated(raw: Raw) -> dict[str, Array]:
    """Calibrated airspeeds (row,) [m/s] by the quantity that each is from, in standard air."""
    at, found = altitude(raw), dict[str, Array]()
    if raw.has("calibrated_airspeed"):
        found["calibrated_airspeed"] = raw.values["calibrated_airspeed"]
    if raw.has("true_airspeed"):
        found["true_airspeed"] = np.asarray(calibrated_at(raw.values["true_airspeed"], at, speed_of_sound(at, 0.0)))
    if raw.has("mach"):
        found["mach"] = np.asarray(calibrated_from_mach(raw.values["mach"], pressure(at)), dtype=float)
    return found


def summed(time: Array, rate: Array) -> Array:
    """Integral (row,) of a rate by time [SI of the rate times s]; blanks count as the values beside them."""
    known = np.isfinite(rate)
    if not known.any():
        return np.full(time.size, np.nan)
    whole = np.interp(time, time[known], rate[known])
    return np.concatenate([[0.0], np.cumsum(0.5 * (whole[1:] + whole[:-1]) * np.diff(time))])


def changes(time: Array, values: Array) -> Array:
    """Changes (block,) of values from block to block of `BLOCK` seconds; not a number where one is blank."""
    known = np.isfinite(values)
    if not known.any():
        return np.zeros(0)
    edges = np.arange(time[0], time[-1], BLOCK)
    nearest = np.interp(edges, time[known], time[known])
    at = np.interp(edges, time[known], values[known])
    gap = np.array([float(np.min(np.abs(time[known] - edge))) for edge in nearest]) > 0.5 * BLOCK
    return np.diff(np.where(gap, np.nan, at))


def ratio(first: Array, second: Array, least: float) -> float:
    """Middle ratio [-] of changes (block,) where either is at least so large; not a number for fewer than three."""
    large = np.isfinite(first) & np.isfinite(second) & (np.maximum(np.abs(first), np.abs(second)) >= least)
    large &= np.abs(second) > 1e-9
    return float(np.median(first[large] / second[large])) if int(large.sum()) >= _FEWEST else float("nan")


_FEWEST = 3
