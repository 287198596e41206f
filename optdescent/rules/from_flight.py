"""A flight as a rule: its heights and speeds by distance, for another crew to follow."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from optdescent.results import Flight
from optdescent.rules.parts import DeviceBy, DeviceName, Fast, HeightAt, PointsProfile, Rule, SpeedAt, SpeedPlan, Use
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
_TOLERANCE = {"height": 15.0 * FOOT, "speed": 0.3 * KNOT}
"""How far the straight lines may be from the flight."""


def rule_of(flight: Flight, name: str) -> Rule:
    """Rule that asks for a flight's own heights, speeds and devices, and to start down where it did [SI].

    Straight lines through as few of the flight's points as keep within 15 ft and 0.3 kt of it; slats, flaps and gear
    by the places where they begin to move. Of more than four steps those between the third and the last come by speed.
    Engines that slow down, and looks apart, leave a follower some knots faster: near the gate that brings a step early.
    """
    to_go = flight.column("distance_to_go")
    first = max(int(np.searchsorted(-to_go, -flight.summary.top_of_descent)) - 1, 0)
    height = np.minimum.accumulate(flight.column("height_above_threshold")[first:])
    speed, far = flight.column("calibrated_airspeed"), to_go[first:]
    heights = _corners(far, height, _TOLERANCE["height"])
    speeds = _corners(to_go, speed, _TOLERANCE["speed"])
    points = tuple(_height_at(float(far[at]), float(height[at])) for at in heights)
    return Rule.model_construct(
        name=name,
        title=f"The heights and speeds of {flight.name}",
        source=f"a flight of this package ({flight.provenance.scenario_digest})",
        profile=PointsProfile.model_construct(
            kind="points", points=points, gradient=300.0 * FOOT / NAUTICAL_MILE, terms=(), round_up=0.0
        ),
        sink=None,
        speeds=SpeedPlan.model_construct(
            descent=float(speed[0]),
            slow_down=10.0 * KNOT / NAUTICAL_MILE,
            by=(),
            points=tuple(SpeedAt.model_construct(distance=float(to_go[at]), speed=float(speed[at])) for at in speeds),
        ),
        devices=tuple(_devices(to_go, flight.column("flaps"), flight.column("gear"))),
        when=(_EARLY_STEP,),
        sink_limits=(),
        checks=(),
    )


def _devices(to_go: Array, flaps: Array, gear: Array) -> Iterator[DeviceBy]:
    last = round(float(flaps[-1]))
    steps = {number: name for number, name in enumerate(_STEPS, 1) if number <= last} | {last: DeviceName.LAST_STEP}
    moved = [(name, flaps, number - 1.0) for number, name in sorted(steps.items()) if number]
    for name, values, from_ in (*moved, (DeviceName.GEAR, gear, 0.0)):
        begun = np.flatnonzero(values > from_ + _MOVED)
        if begun.size:
            distance = float(to_go[max(int(begun[0]) - 1, 0)])
            yield DeviceBy.model_construct(
                device=name, distance=distance, height=None, at_capture=False, terms=(), round_up=0.0
            )


_STEPS = (DeviceName.FIRST_STEP, DeviceName.SECOND_STEP, DeviceName.THIRD_STEP)
_MOVED = 1e-3
_EARLY_STEP = Fast.model_construct(
    kind="fast", use=Use.NEXT_STEP, by=3.0 * KNOT, until=2.0 * KNOT, from_=6.0 * NAUTICAL_MILE, to=None,
    above_height=None, below_height=None, on_glide_path=False,
)  # fmt: skip
"""What a follower does with too much speed on the last miles: common practice, no source."""


def _height_at(distance: float, height: float) -> HeightAt:
    return HeightAt.model_construct(distance=distance, height=height)


def _corners(x: Array, y: Array, tolerance: float) -> list[int]:
    """Indices of the points between which straight lines keep within a tolerance of all (Ramer 1972)."""
    kept, open_ = {0, x.size - 1}, [(0, x.size - 1)]
    while open_:
        first, last = open_.pop()
        if last - first < 2 or x[first] == x[last]:
            continue
        share = (x[first : last + 1] - x[first]) / (x[last] - x[first])
        off = np.abs(y[first : last + 1] - (y[first] + share * (y[last] - y[first])))
        at = first + int(np.argmax(off))
        if off[at - first] > tolerance and first < at < last:
            kept.add(at)
            open_ += [(first, at), (at, last)]
    order = sorted(kept)
    return [at for number, at in enumerate(order) if number == 0 or x[at] < x[order[number - 1]]]
