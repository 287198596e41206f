"""The named parts a rule is made of: terms of "so much of this per so much of that", and speeds to hold."""

from __future__ import annotations

from enum import Enum
from typing import Annotated, Literal

from optdescent.inputs import BY_KIND, Declared, choice, entry, quantity


class SpeedName(Enum):
    """A speed by its meaning; its value in knots follows from the airframe and the mass."""

    MINIMUM_CLEAN = "minimum clean"
    FIRST_STEP = "first step"
    SECOND_STEP = "second step"
    APPROACH = "approach"


class HeightToLose(Declared):
    """So much distance for so much height to lose to the threshold."""

    kind: Literal["height_to_lose"] = entry("distance for height")
    distance: float = quantity("nm", 0, 20, "distance")
    per_height: float = quantity("ft", 100, 10000, "height", default=1000.0)


class SpeedToLose(Declared):
    """So much distance for so much planned speed above the approach speed."""

    kind: Literal["speed_to_lose"] = entry("distance for speed")
    distance: float = quantity("nm", 0, 20, "distance")
    per_speed: float = quantity("kt", 1, 100, "speed", default=10.0)


class Tailwind(Declared):
    """So much distance for so much tailwind on the nose now; a headwind counts as negative tailwind."""

    kind: Literal["tailwind"] = entry("distance for tailwind")
    distance: float = quantity("nm", 0, 20, "distance")
    per_wind: float = quantity("kt", 1, 100, "tailwind", default=10.0)


DistanceTerm = Annotated[HeightToLose | SpeedToLose | Tailwind, BY_KIND]


class DistanceProfile(Declared):
    """The height to have is the one at which the distance needed, the sum of the terms, is the distance to go."""

    kind: Literal["distance"] = entry("distance needed as a sum of terms")
    terms: tuple[DistanceTerm, ...] = entry("terms; one of them must be height_to_lose")


class Allowance(Declared):
    """Height added to the profile while the planned speed is above a named speed (and below the one before it)."""

    above: SpeedName = entry("named speed")
    height: float = quantity("ft", -5000, 5000, "height added; negative is lower")


class HeightProfile(Declared):
    """The height to have above the threshold is so much per distance to go, plus an allowance by planned speed."""

    kind: Literal["height"] = entry("height per distance to go")
    gradient: float = quantity("ft_per_nm", 100, 600, "height per distance to go")
    allowances: tuple[Allowance, ...] = entry("the first whose speed the planned speed exceeds counts", default=())


class AngleProfile(Declared):
    """The height to have lies on one straight path to the point above the threshold that the glide path crosses."""

    kind: Literal["angle"] = entry("straight path")
    angle: float = quantity("deg", 1, 7, "angle above the horizontal")


Profile = DistanceProfile | HeightProfile | AngleProfile


class SpeedBy(Declared):
    """A speed to have reached by a distance to go."""

    distance: float = quantity("nm", 0, 100, "distance to go")
    speed: SpeedName = entry("named speed")


class SpeedPlan(Declared):
    """Speeds planned on the way down: the cruise Mach number, then the descent speed, then speeds by distance."""

    descent: float = quantity("kt", 150, 400, "descent speed, calibrated")
    slow_down: float = quantity("kt_per_nm", 2, 50, "speed lost per distance when slowing as planned", default=10.0)
    by: tuple[SpeedBy, ...] = entry("speeds by distance, farthest first")


class Rule(Declared):
    """One rule of thumb."""

    name: str = entry("short name")
    title: str = entry("the rule in words")
    source: str = entry('published source, or "common practice, no source"')
    profile: Profile = choice("the height to have at a distance")
    speeds: SpeedPlan = entry("speeds planned on the way down")


class RuleFile(Declared):
    """One file of rules."""

    rules: tuple[Rule, ...] = entry("the rules")
