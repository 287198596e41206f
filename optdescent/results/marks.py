"""What the arrival demanded, as a chart draws it: windows, limits, glide path, gate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class WindowMark:
    """A window: distance to go [m]; altitudes above mean sea level [m] and calibrated airspeeds [m/s], None if free."""

    name: str
    distance_to_go: float
    lowest: float | None
    highest: float | None
    slowest: float | None
    fastest: float | None


@dataclass(frozen=True)
class SpeedMark:
    """A largest calibrated airspeed [m/s] below an altitude above mean sea level [m], also as it is published."""

    altitude: float
    speed: float
    published: float


@dataclass(frozen=True)
class FloorMark:
    """A point of the floor: distance to go [m], altitude above mean sea level [m]; straight between points."""

    distance_to_go: float
    altitude: float


@dataclass(frozen=True)
class HoldMark:
    """A hold-down: altitude above mean sea level [m], distances to go [m] where it begins and ends."""

    altitude: float
    begins: float
    ends: float


@dataclass(frozen=True)
class Marks:
    """The arrival's demands [m, m/s]; `gradient` of the glide path [-] over the ground."""

    airport: str
    elevation: float
    windows: tuple[WindowMark, ...]
    speed_limits: tuple[SpeedMark, ...]
    gradient: float
    crossing_height: float
    gate_height: float
    steps: tuple[str, ...]
    floor: tuple[FloorMark, ...] = ()
    hold_downs: tuple[HoldMark, ...] = ()

    @classmethod
    def from_plain(cls, plain: dict[str, Any]) -> Marks:
        """Marks from the plain dictionary that `dataclasses.asdict` and JSON make of them [SI]."""
        windows = tuple(WindowMark(**window) for window in plain["windows"])
        limits = tuple(SpeedMark(**limit) for limit in plain["speed_limits"])
        typed: dict[str, Any] = {**plain, "windows": windows, "speed_limits": limits, "steps": tuple(plain["steps"])}
        typed["floor"] = tuple(FloorMark(**point) for point in plain.get("floor", ()))
        typed["hold_downs"] = tuple(HoldMark(**hold) for hold in plain.get("hold_downs", ()))
        return cls(**typed)
