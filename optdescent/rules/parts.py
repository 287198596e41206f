"""The named parts a rule is made of, as a crew thinks them.

Where to start down and the height to have (`profile`), the sink rate to set (`sink`), the speeds and the configuration
to hold (`speeds`, `devices`), what to do when high, low, fast or slow (`when`), what to keep and to check
(`sink_limits`, `checks`). Distances are to the threshold, heights above it.
"""

from __future__ import annotations

from enum import Enum
from typing import Annotated, Any, Literal

from optdescent.arrival import Gate, SinkLimit
from optdescent.inputs import BY_KIND, Declared, OfOneKind, choice, entry, quantity
from optdescent.markup import card, pairs
from optdescent.rules.drivers import DistanceTerm, EarlierTerm, ShiftTerm
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE


class SpeedName(Enum):
    """A speed by its meaning; its value in knots follows from the airframe and the mass."""

    MINIMUM_CLEAN = "minimum clean"
    FIRST_STEP = "first step"
    SECOND_STEP = "second step"
    APPROACH = "approach"


class DeviceName(Enum):
    """A step of slats and flaps, or the gear; an airframe with fewer steps has its last one instead."""

    FIRST_STEP = "first step"
    SECOND_STEP = "second step"
    THIRD_STEP = "third step"
    LAST_STEP = "last step"
    GEAR = "gear"


class DistanceProfile(OfOneKind):
    """The height to have is the one at which the distance needed, the sum of the terms, is the distance to go."""

    kind: Literal["distance"] = entry("distance needed as a sum of terms")
    terms: tuple[DistanceTerm, ...] = entry("terms; one of them must be height_to_lose")
    round_up: float = quantity("nm", 0, 10, "the other terms' sum is rounded up to this; 0: not", default=0.0)


class _Shifted(OfOneKind):
    """A profile whose terms move it as a whole."""

    terms: tuple[ShiftTerm, ...] = entry("distances by which the profile is begun earlier", default=())
    round_up: float = quantity("nm", 0, 10, "the terms' sum is rounded up to this; 0: not", default=0.0)


class Allowance(Declared):
    """Height added to the profile while the planned speed is above a named speed (and below the one before it)."""

    above: SpeedName = entry("named speed")
    height: float = quantity("ft", -5000, 5000, "height added; negative is lower")


class HeightProfile(_Shifted):
    """The height to have is so much per distance to go, plus an allowance by planned speed.

    Terms are distances by which the whole profile is shifted: a mile more is a descent begun a mile earlier.
    """

    kind: Literal["height"] = entry("height per distance to go")
    gradient: float = quantity("ft_per_nm", 100, 600, "height per distance to go")
    allowances: tuple[Allowance, ...] = entry("the first whose speed the planned speed exceeds counts", default=())


class AngleProfile(_Shifted):
    """The height to have lies on one straight path to the point above the threshold that the glide path crosses."""

    kind: Literal["angle"] = entry("straight path")
    angle: float = quantity("deg", 1, 7, "angle above the horizontal")


class HeightAt(Declared):
    """A height to have at a distance to go."""

    distance: float = quantity("nm", 0, 400, "distance to go")
    height: float = quantity("ft", 0, 60000, "height above the threshold")


class PointsProfile(_Shifted):
    """The height to have lies on straight lines through heights at distances; beyond the first, at its own gradient."""

    kind: Literal["points"] = entry("heights at distances")
    points: tuple[HeightAt, ...] = entry("heights to have, farthest first")
    gradient: float = quantity("ft_per_nm", 100, 600, "height per distance before the first of them", default=300.0)


Profile = DistanceProfile | HeightProfile | AngleProfile | PointsProfile


class Sink(Declared):
    """The sink rate to set, so much per ground speed, from where the profile says to start down to the glide path.

    Five times the ground speed, and half of it times ten, are the same rate; what differs is how it is rounded.
    """

    per_speed: float = quantity("ft_per_min", 100, 1200, "sink rate per so much ground speed", default=500.0)
    of_speed: float = quantity("kt", 10, 200, "ground speed", default=100.0)
    rounding: float = quantity("ft_per_min", 0, 500, "step to which it is rounded; 0: none", default=0.0)

    @property
    def gradient(self) -> float:
        """Height lost per distance [-]."""
        return self.per_speed / self.of_speed


class _By(Declared):
    """Something that is to be so by a place, earlier by what terms say."""

    terms: tuple[EarlierTerm, ...] = entry("distances by which it is earlier", default=())
    round_up: float = quantity("nm", 0, 10, "the terms' sum is rounded up to this; 0: not", default=0.0)


class SpeedBy(_By):
    """A speed to have reached by a place.

    Exactly one of `distance_nm` and `height_ft` is given, and of `speed` and `speed_kt`. Slowing towards a height is
    planned along 300 ft per nm. Terms are distances by which it is reached earlier.
    """

    distance: float | None = quantity("nm", 0, 100, "by this distance to go", default=None)
    height: float | None = quantity("ft", 0, 40000, "by this height above the threshold", default=None)
    speed: SpeedName | None = entry("named speed", default=None)
    speed_: float | None = quantity("kt", 90, 450, "calibrated airspeed", default=None)


class SpeedAt(Declared):
    """A speed planned at a distance to go."""

    distance: float = quantity("nm", 0, 400, "distance to go")
    speed: float = quantity("kt", 90, 450, "calibrated airspeed")


class SpeedPlan(Declared):
    """Speeds planned on the way down: the cruise Mach number, then the descent speed, then speeds by places.

    With `points` the speed planned lies on straight lines through them instead: that of another flight. If the profile
    is given by points too, windows and capture are left to that flight: it is held to no more than they demand.
    """

    descent: float = quantity("kt", 150, 400, "descent speed, calibrated")
    slow_down: float = quantity("kt_per_nm", 2, 50, "speed lost per distance when slowing as planned", default=10.0)
    by: tuple[SpeedBy, ...] = entry("speeds by distance or height, farthest first", default=())
    points: tuple[SpeedAt, ...] = entry("speeds at distances, farthest first", default=())


class DeviceBy(_By):
    """A device to select by a place, whatever the airframe's schedule says; its limit speed is obeyed.

    Exactly one of `distance_nm`, `height_ft` and `at_capture` is given. Terms are distances by which it is earlier.
    """

    device: DeviceName = entry("which device")
    distance: float | None = quantity("nm", 0, 60, "by this distance to go", default=None)
    height: float | None = quantity("ft", 300, 20000, "by this height above the threshold", default=None)
    at_capture: bool = entry("by the capture of the glide path", default=False)


class Use(Enum):
    """What a crew uses to mend height or speed."""

    SPEED_BRAKE = "speed brake"
    GEAR = "gear"
    NEXT_STEP = "next step"
    LEVEL = "level off"
    THRUST = "thrust"


class _Region(OfOneKind):
    """Where it holds: all the way, if nothing is given."""

    use: Use = entry("what is used")
    from_: float | None = quantity("nm", 0, 200, "from this distance to go on", default=None)
    to: float | None = quantity("nm", 0, 200, "to this distance to go", default=None)
    above_height: float | None = quantity("ft", 0, 40000, "above this height over the threshold", default=None)
    below_height: float | None = quantity("ft", 0, 40000, "below this height over the threshold", default=None)
    on_glide_path: bool = entry("only on the glide path", default=False)


class High(_Region):
    """Above the height to have."""

    kind: Literal["high"] = entry("above the height to have")
    by: float = quantity("ft", 50, 10000, "used from this much too high")
    until: float = quantity("ft", -1000, 10000, "and kept until no more than this is left", default=0.0)


class Low(_Region):
    """Below the height to have."""

    kind: Literal["low"] = entry("below the height to have")
    by: float = quantity("ft", 50, 10000, "used from this much too low")
    until: float = quantity("ft", -1000, 10000, "and kept until no more than this is left", default=0.0)


class Fast(_Region):
    """Faster than planned."""

    kind: Literal["fast"] = entry("faster than planned")
    by: float = quantity("kt", 1, 100, "used from this much too fast")
    until: float = quantity("kt", -10, 100, "and kept until no more than this is left", default=0.0)


class FastForStep(_Region):
    """Too fast for the next step of flaps."""

    kind: Literal["fast_for_step"] = entry("above the limit speed of the next step of flaps")
    margin: float = quantity("kt", 0, 30, "speed to have in hand below that limit", default=0.0)


class Slow(_Region):
    """Slower than planned.

    Without `until_kt` thrust keeps the speed from falling further; with it, it is left at idle until so slow, and then
    brings the speed back.
    """

    kind: Literal["slow"] = entry("slower than planned")
    by: float = quantity("kt", 1, 40, "thrust is used from this much too slow")
    until: float | None = quantity("kt", -10, 40, "and kept until no more than this is left", default=None)


def always_high(use: Use, by: float, until: float) -> High:
    """A part that uses something above the height to have by so much until so much is left [m], wherever that is."""
    return High.model_construct(None, kind="high", use=use, by=by, until=until, **_everywhere())


def always_low(use: Use, by: float, until: float) -> Low:
    """The same below the height to have [m]."""
    return Low.model_construct(None, kind="low", use=use, by=by, until=until, **_everywhere())


def _everywhere() -> dict[str, Any]:
    return {"from_": None, "to": None, "above_height": None, "below_height": None, "on_glide_path": False}


When = Annotated[High | Low | Fast | FastForStep | Slow, BY_KIND]


class Rule(Declared):
    """One rule of thumb."""

    name: str = entry("short name")
    title: str = entry("the rule in words")
    source: str = entry('published source, or "common practice, no source"')
    note: str = entry("what it is for, and where it does not hold", default="")
    profile: Profile = choice("the height to have at a distance, and so where to start down")
    sink: Sink | None = entry("the sink rate to set; without it the one that keeps the profile", default=None)
    speeds: SpeedPlan = entry("speeds planned on the way down")
    devices: tuple[DeviceBy, ...] = entry("devices by places, beside the airframe's schedule by speed", default=())
    when: tuple[When, ...] = entry("what to do when high, low, fast or slow", default=())
    sink_limits: tuple[SinkLimit, ...] = entry("largest sink rates by height, beside the arrival's", default=())
    checks: tuple[Gate, ...] = entry("gates to check at, beside the arrival's", default=())

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        speeds = self.speeds
        rows = [
            ("in words", self.title),
            ("source", self.source),
            *([("note", self.note)] if self.note else []),
            ("height to have", self.profile.kind),
            ("descent speed", f"{speeds.descent / KNOT:.0f} kt" if not speeds.points else "as in another flight"),
            *(_speed_row(by) for by in speeds.by),
        ]
        return card(f"Rule: {self.name}", [pairs(rows)])


def _speed_row(by: SpeedBy) -> tuple[str, str]:
    """A speed and the place it is to be reached by."""
    speed = f"{(by.speed_ or 0.0) / KNOT:g} kt" if by.speed is None else by.speed.value
    if by.height is None:
        return speed, f"by {(by.distance or 0.0) / NAUTICAL_MILE:g} nm to go"
    return speed, f"by {by.height / FOOT:g} ft above the threshold"


class RuleFile(Declared):
    """One file of rules."""

    rules: tuple[Rule, ...] = entry("the rules")
