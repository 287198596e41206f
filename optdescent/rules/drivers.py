"""Terms of a rule: so much distance per so much of what drives it.

A positive distance is a descent begun earlier, a speed reached earlier, or a device selected earlier.
"""

from __future__ import annotations

from typing import Annotated, Literal

from optdescent.inputs import BY_KIND, OfOneKind, entry, quantity


class _Term(OfOneKind):
    distance: float = quantity("nm", -30, 60, "distance; negative is later")


class HeightToLose(_Term):
    """So much distance for so much height to lose to the threshold."""

    kind: Literal["height_to_lose"] = entry("distance for height")
    distance: float = quantity("nm", 0.5, 20, "distance")
    per_height: float = quantity("ft", 100, 10000, "height", default=1000.0)


class SpeedToLose(_Term):
    """So much distance for so much planned speed above the approach speed."""

    kind: Literal["speed_to_lose"] = entry("distance for speed")
    per_speed: float = quantity("kt", 1, 100, "speed", default=10.0)


class WindTerm(_Term):
    """Wind on the nose now; with `above_height_ft` and `below_height_ft` the mean of that band of heights instead.

    The mean counts in full above the band, and within it for the part that is still below the aircraft.
    """

    per_wind: float = quantity("kt", 1, 100, "wind", default=10.0)
    above_height: float | None = quantity("ft", 0, 50000, "the band's lowest height above the threshold", default=None)
    below_height: float | None = quantity("ft", 0, 50000, "the band's highest height above it", default=None)

    @property
    def band(self) -> tuple[float, float] | None:
        """Lowest and highest height above the threshold [m] of the band; None: on the nose."""
        if self.above_height is None or self.below_height is None:
            return None
        return self.above_height, self.below_height


class Tailwind(WindTerm):
    """So much distance for so much tailwind, on the nose now or in a band of heights; a headwind counts the other way.

    With `above_height_ft` and `below_height_ft` it is the mean wind of that band of heights, read off a forecast. It
    counts in full above the band, and within it for the part that is still below the aircraft.
    """

    kind: Literal["tailwind"] = entry("distance for tailwind, less for headwind")


class TailwindOnly(WindTerm):
    """So much distance for so much tailwind, on the nose now or in a band of heights; a headwind counts nothing."""

    kind: Literal["tailwind_only"] = entry("distance for tailwind, nothing for headwind")


class HeadwindOnly(WindTerm):
    """So much distance for so much headwind, on the nose now or in a band of heights; a tailwind counts nothing.

    Negative is later.
    """

    kind: Literal["headwind_only"] = entry("distance for headwind, nothing for tailwind")


class MassAbove(_Term):
    """So much distance for so much mass above a reference, less for less."""

    kind: Literal["mass_above"] = entry("distance for mass above a reference")
    reference: float = quantity("t", 1, 600, "reference mass")
    per_mass: float = quantity("t", 0.1, 100, "mass", default=1.0)


class TemperatureOffset(_Term):
    """So much distance for so much temperature above the standard, less for less."""

    kind: Literal["temperature_offset"] = entry("distance for temperature above the standard")
    per_temperature: float = quantity("k", 1, 50, "temperature", default=10.0)


class AntiIce(_Term):
    """So much distance while engine anti-ice is on."""

    kind: Literal["anti_ice"] = entry("distance while engine anti-ice is on")


class GearDown(_Term):
    """So much distance while the gear is down; negative, because drag shortens the descent."""

    kind: Literal["gear_down"] = entry("distance while the gear is down")


class StepsOut(_Term):
    """So much distance for each step of slats and flaps that is out; negative, because drag shortens the descent."""

    kind: Literal["steps_out"] = entry("distance for each step of slats and flaps that is out")


class Always(_Term):
    """So much distance, always."""

    kind: Literal["always"] = entry("distance in any case")


_Earlier = (
    Tailwind | TailwindOnly | HeadwindOnly | MassAbove | TemperatureOffset | AntiIce | GearDown | StepsOut | Always
)
EarlierTerm = Annotated[_Earlier, BY_KIND]
"""A term of a speed or a device by a place: the speed to lose is what a speed by a place plans itself."""
_Shift = SpeedToLose | _Earlier
ShiftTerm = Annotated[_Shift, BY_KIND]
"""A term that stands beside the height to lose."""
DistanceTerm = Annotated[HeightToLose | _Shift, BY_KIND]
"""A term of the distance needed."""
