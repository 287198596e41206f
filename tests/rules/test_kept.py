"""Demands that many flights kept, against the verdict of each flight alone, whatever the arrival demands of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from optdescent.arrival import Arrival
from optdescent.inputs import validated
from optdescent.motion.capture import capture_breaches
from optdescent.motion.demands import demand_breaches
from optdescent.motion.handling import handling_breaches
from optdescent.results import Flight
from optdescent.rules import fly, read_rules
from optdescent.rules.fleet import flown_together
from optdescent.rules.fly import pilot_of
from optdescent.rules.kept import demands_kept
from optdescent.rules.many import Flights
from optdescent.rules.pilot import Pilot
from optdescent.scenario import Scenario
from tests.rules.made import Array
from tests.scenario.files import STUDY

RULE = next(rule for rule in read_rules("library") if rule.name == "300-with-allowances")
CASES = (
    (),
    ("start.mass_kg=66000", "air.temperature_offset_k=18"),
    ("start.mass_kg=54000", "air.qnh_hpa=985", "air.temperature_offset_k=-18"),
    ("technique.late_s=8",),
)
"""Settings of each flight of the first study, all flown by one pilot."""
CAPTURE = {"capture_at_least_ft": 2800.0, "capture_at_most_ft": 3200.0, "capture_speed_at_most_kt": 210.0}


@cache
def flown() -> tuple[Pilot, Array, Flights, tuple[Scenario, ...], tuple[Flight, ...]]:
    """The flights together and alone: the air and the heights are the same in both."""
    scenarios = tuple(Scenario.from_toml(STUDY, own) for own in CASES)
    pilot = pilot_of(scenarios[0], RULE)
    parameters, flights = flown_together(pilot, scenarios)
    return pilot, parameters, flights, scenarios, tuple(fly(one, RULE) for one in scenarios)


def arrival(base: Arrival, changes: Mapping[str, Any]) -> Arrival:
    """An arrival with some of its demands others [file units]."""
    told = {key: value for key, value in TOLD.items() if key not in changes}
    return validated(Arrival, {**told, **changes}, "x").model_copy(update={"course": base.course})


TOLD: dict[str, Any] = {
    "airport": "Quill Harbour (invented)",
    "elevation_ft": 600.0,
    "course_deg": 125.0,
    "transition_altitude_ft": 18000.0,
    "glide_path": CAPTURE,
}


def path(**changes: Any) -> dict[str, Any]:
    return {"glide_path": {**CAPTURE, **changes}}


def window(**demands: Any) -> dict[str, Any]:
    return {"windows": [{"name": "MADE", "distance_nm": 30.0, **demands}]}


def hold(altitude: float, allowance: float, begins: float = 36.0, ends: float = 30.0) -> dict[str, Any]:
    own = {"altitude_ft": altitude, "from_nm": begins, "to_nm": ends, "allowance_ft": allowance}
    return {"hold_downs": [own]}


def floor(far: float, near: float) -> dict[str, Any]:
    return {"floor": [{"distance_nm": 40.0, "altitude_ft": far}, {"distance_nm": 9.0, "altitude_ft": near}]}


ABOVE = ((500.0, 2.7), (900.0, 2.7), (3000.0, 2.7), (3000.0, 3.2))


@pytest.mark.parametrize(
    "demand",
    [
        *(window(altitude_at_most_ft=height) for height in (8600.0, 8900.0, 9100.0, 9800.0)),
        *(window(altitude_at_least_ft=height) for height in (8000.0, 8700.0, 9400.0)),
        *(window(speed_at_most_kt=speed) for speed in (210.0, 235.0, 250.0)),
        *(window(speed_at_least_kt=speed) for speed in (210.0, 240.0, 255.0)),
        *(hold(9000.0, room, 31.0, 30.0) for room in (50.0, 300.0, 500.0)),
        *(hold(altitude, 150.0, 20.0, 15.0) for altitude in (4800.0, 5400.0, 6000.0)),
        *(
            {"sink_limits": [{"below_height_ft": 9000.0, "sink_ft_per_min": sink}]}
            for sink in (900.0, 1400.0, 2500.0, 6000.0)
        ),
        *(path(capture_at_least_ft=height) for height in (2900.0, 2990.0, 3100.0)),
        *(path(capture_at_most_ft=height) for height in (2810.0, 2950.0, 3050.0)),
        *(path(capture_speed_at_most_kt=speed) for speed in (160.0, 180.0, 195.0)),
        *(path(below_within_nm=miles, angle_deg=angle) for miles in (12.0, 25.0) for angle in (2.6, 2.9, 3.2)),
        *(path(capture="above", sink_above_ft_per_min=sink, angle_deg=angle) for sink, angle in ABOVE),
        *(floor(far, near) for far, near in ((9000.0, 2000.0), (12000.0, 3200.0), (12500.0, 3000.0))),
    ],
    ids=str,
)
def test_many_keep_what_each_keeps_alone(demand: dict[str, Any]) -> None:
    pilot, parameters, flights, scenarios, each = flown()
    asked = arrival(pilot.arrival, demand)
    many = demands_kept(asked, pilot.world(parameters).air, flights)
    for kept, scenario, flight in zip(many, scenarios, each, strict=True):
        own = replace(scenario, arrival=asked.model_copy(update={"course": scenario.arrival.course}))
        found = [*demand_breaches(own, flight.dataset), *capture_breaches(own, flight.dataset)]
        found += [one for one in handling_breaches(own, flight.dataset) if one.demand.startswith("sink")]
        assert kept == (not found), [one.sentence for one in found]
        SEEN.setdefault(next(iter(demand)), set()).update([bool(kept), *(one.demand for one in found)])


SEEN: dict[str, set[object]] = {}
"""Of each kind of demand: whether it was kept, and what was broken."""


def test_each_kind_of_demand_was_kept_by_some_and_broken_by_others() -> None:
    if len(SEEN) < 5:
        pytest.skip("only some of the demands above were looked at")
    assert all({True, False} <= own for own in SEEN.values()), SEEN
    wanted = {"height at capture", "speed at capture", "capture from below", "capture from above"}
    assert wanted <= SEEN["glide_path"], SEEN["glide_path"]
