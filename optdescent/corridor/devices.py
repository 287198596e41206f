"""Which drag devices a crew may use besides idle thrust and the normal schedule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from optdescent.airframe import Airframe
from optdescent.airframe.speeds import BELOW_LIMIT, GEAR, Device


@dataclass(frozen=True)
class DeviceSet:
    """Devices allowed beyond idle thrust and the schedule: the speed brake, flaps early, gear early [-].

    Early means at any speed a little below the device's limit speed; the schedule's own speed is then the last moment.
    """

    speed_brake: bool = False
    early_flaps: bool = False
    early_gear: bool = False

    @property
    def name(self) -> str:
        """Name in results and figures."""
        if self == EVERYTHING:
            return "everything"
        flags = (
            (self.speed_brake, "speed brake"),
            (self.early_flaps, "early flaps"),
            (self.early_gear, "early gear"),
        )
        return " and ".join(name for is_on, name in flags if is_on) or "idle and schedule"

    def holds(self, other: DeviceSet) -> bool:
        """Whether everything that another set allows is allowed."""
        return all(mine or not its for mine, its in zip(vars(self).values(), vars(other).values(), strict=True))

    def latest_selection(self, airframe: Airframe, device: Device, mass: float) -> float:
        """Largest speed [m/s, calibrated] at which a device may be selected, at a mass [kg]."""
        is_early = self.early_gear if device.number == GEAR else self.early_flaps
        scheduled = min(float(device.scheduled_speed(airframe, mass)), device.limit_speed)
        return max(scheduled, device.limit_speed - BELOW_LIMIT) if is_early else scheduled


def held_by(sets: Sequence[DeviceSet]) -> list[list[int]]:
    """Of each set the indices of those that it holds [-], itself among them: what they reach it reaches too."""
    return [[index for index, other in enumerate(sets) if own.holds(other)] for own in sets]


SCHEDULE = DeviceSet()
EVERYTHING = DeviceSet(speed_brake=True, early_flaps=True, early_gear=True)
ONE_BY_ONE = (
    SCHEDULE,
    DeviceSet(speed_brake=True),
    DeviceSet(early_flaps=True),
    DeviceSet(early_gear=True),
    EVERYTHING,
)
"""The sets of a corridor: nothing, each device by itself, everything."""
ALL_SETS = tuple(DeviceSet(*flags) for flags in sorted(product((True, False), repeat=3), key=sum))
"""Every combination, those of fewer devices first."""
