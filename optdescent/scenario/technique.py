"""How the crew flies: how often it checks, how coarsely it computes, how late it acts, how it uses what it has.

The defaults are a perfect crew: it looks all the time, computes exactly, acts at once and knows the wind it meets. All
numbers are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from optdescent.inputs import Declared, entry, quantity, whole
from optdescent.units import FOOT, KNOT


class BelievedWind(Enum):
    """The wind that a crew works with where its rule asks for one."""

    MET = "met"
    FORECAST = "forecast"
    NONE = "none"


class Technique(Declared):
    """How a crew flies.

    What is drawn at random (the size of delays, the error of the believed wind, errors at checks) follows from `seed`.
    A crew that believes the forecast does not know what an axis or a table `perturbed` adds to the wind.
    """

    seed: int = whole(0, 2**31 - 1, "which crew of all that fly this way", default=0)
    check_every: float = quantity(
        "s", 0, 600, "time between checks: of the height against the rule; 0: all the time", default=0.0
    )
    height_error: float = quantity(
        "ft", 0, 3000, "error of the height worked out: its standard deviation at a check", default=0.0
    )
    height_rounding: float = quantity("ft", 0, 2000, "step to which that height is rounded; 0: none", default=0.0)
    sink_rounding: float = quantity("ft_per_min", 0, 1000, "step to which sink rates are set; 0: none", default=0.0)
    late: float = quantity(
        "s", 0, 120, "delay of actions: mean time from when one is due to when it is taken", default=0.0
    )
    late_spread: float = quantity("s", 0, 60, "its standard deviation from crew to crew", default=0.0)
    wind: BelievedWind = entry(
        "wind the crew works with: met, as it is here; forecast, without what disturbs it; none",
        default=BelievedWind.MET,
    )
    wind_error: float = quantity("kt", 0, 80, "error of the tailwind believed: its standard deviation", default=0.0)
    wind_rounding: float = quantity("kt", 0, 50, "step to which the tailwind is rounded; 0: none", default=0.0)

    height_time: float = quantity("s", 5, 300, "time in which a height error is flown off", default=20.0)
    most_correction: float = quantity("ft_per_min", 100, 4000, "largest sink rate added to that end", default=1500.0)
    level_time: float = quantity("s", 3, 60, "time over which the sink rate fades above a floor", default=12.0)
    pitch_time: float = quantity("s", 1, 15, "lag of the path angle", default=2.5)
    speed_time: float = quantity("s", 3, 60, "time in which thrust brings the speed back", default=12.0)
    protection_time: float = quantity("s", 2, 60, "time in which pitch keeps a speed below its limit", default=5.0)
    brake_from_height: float = quantity(
        "ft", 0, 5000, "height above the asked one from which brake is used", default=150.0
    )
    brake_full_height: float = quantity("ft", 10, 6000, "the same for full brake", default=500.0)
    brake_from_speed: float = quantity("kt", 0, 80, "speed above the planned one from which brake is used", default=8.0)
    brake_full_speed: float = quantity("kt", 1, 100, "the same for full brake", default=20.0)
    brake_in_below: float = quantity(
        "kt", 0.5, 30, "speed below the planned one over which the brake comes in", default=3.0
    )
    thrust_below: float = quantity("kt", 0, 30, "speed below the planned one at which thrust is used", default=5.0)
    flaps_early: float = quantity(
        "kt", -20, 60, "speed above the airframe's schedule at which slats and flaps are selected; their limits hold",
        default=0.0,
    )  # fmt: skip
    gear_early: float = quantity(
        "kt", -20, 80, "speed above the airframe's schedule at which the gear is selected; its limit holds", default=0.0
    )
    limit_margin: float = quantity("kt", 0, 20, "speed kept below limits", default=4.0)
    approach_margin: float = quantity("kt", 0, 10, "speed kept above the approach speed", default=1.5)
    limit_ramp: float = quantity(
        "kt_per_1000ft", 5, 200, "speed lost per height towards a limit below an altitude", default=100.0 / 3.0
    )
    limit_slope: float = quantity("kt_per_nm", 2, 50, "speed lost per distance towards a limit or window", default=10.0)
    window_margin: float = quantity("kt", 0, 10, "speed kept inside what a window demands", default=1.5)
    window_speed_within: float = quantity(
        "nm", 1, 50, "distance before a window from which its least speed is held", default=10.0
    )

    @property
    def drawn(self) -> DrawnCrew:
        """What this crew's seed decides: its delay [s] and the error of the tailwind it believes [m/s]."""
        late, wind = np.random.default_rng(self.seed).standard_normal(2)
        return DrawnCrew(max(self.late + self.late_spread * float(late), 0.0), self.wind_error * float(wind))

    @property
    def compiled(self) -> Technique:
        """The technique without what enters a flight as numbers: what a compiled step is built from [SI]."""
        return self.model_copy(
            update=dict.fromkeys(("late", "late_spread", "wind_error", "height_error", "check_every"), 0.0)
            | {"seed": 0}
        )


def technique_faults(technique: Technique) -> list[tuple[str, str, str]]:
    """What does not go together in a technique: key, what was given, what is allowed [file units]."""
    found: list[tuple[str, str, str]] = []
    for kind, unit, factor in (("height", "ft", FOOT), ("speed", "kt", KNOT)):
        first, full = getattr(technique, f"brake_from_{kind}"), getattr(technique, f"brake_full_{kind}")
        if full <= first:
            given = f"got {full / factor:g}, not above brake_from_{kind}_{unit}"
            found.append((f"technique.brake_full_{kind}_{unit}", given, f"more than {first / factor:g} {unit}"))
    if technique.height_error > 0.0 and technique.check_every == 0.0:
        given = f"got {technique.height_error / FOOT:g} without checks"
        found.append(("technique.height_error_ft", given, "0, or check_every_s above 0: errors are made at checks"))
    return found


@dataclass(frozen=True)
class DrawnCrew:
    """Delay of each action [s] and error of the tailwind believed [m/s]."""

    late: float
    wind_error: float


PERFECT = Technique()
"""The crew of the defaults."""
