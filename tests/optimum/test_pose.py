"""What the problem's functions give at a point is what the equations of motion give there with numbers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from optdescent.curves.elementary import Value
from optdescent.ocp import Memory, transcribe
from optdescent.optimum.glide import first_flight
from optdescent.optimum.guess import guess_from, mesh_for
from optdescent.optimum.legs import Mode
from optdescent.optimum.order import order_of
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.pose import Pose
from optdescent.optimum.structure import world
from tests.optimum.descents import scenario

LEVEL = (
    "arrival.hold_downs=[{altitude_ft=10000,from_nm=60,to_nm=50}]",
    "arrival.windows=[{name='CEDAR',distance_nm=46,altitude_at_most_ft=10500}]",
)


class At:
    """A point with numbers."""

    def __init__(self, independent: float, entries: dict[str, NDArray[np.float64]]) -> None:
        self.independent: Value = independent
        self.entries = entries

    def __getitem__(self, name: str) -> Value:
        value = self.entries[name]
        return value if value.size > 1 else float(value[0])


@pytest.mark.parametrize("settings", [(), LEVEL])
def test_the_rates_of_every_phase_are_those_of_the_equations(settings: tuple[str, ...]) -> None:
    one = scenario(*settings)
    flight = first_flight(one)
    order, places = order_of(one, flight)
    pose = Pose(one, order, Memory())
    problem, guess, values = pose.problem(), guess_from(flight, pose.legs, places), parameter_values(one)
    parameters = np.concatenate([values[q.name] for q in problem.parameters])
    statics = np.zeros(len(problem.statics))
    modes: set[Mode] = set()
    for leg, form in zip(pose.legs, problem.phase_forms, strict=True):
        own = guess.phases[leg.name]
        x = float(np.asarray(own.independent)[20])
        named = {
            **values,
            **{name: np.array([np.asarray(own.states[name])[20]]) for name in form.states},
            **{name: np.array([np.asarray(own.controls[name])[20]]) for name in form.controls},
        }
        columns = ([named[name][0] for name in names] for names in (form.states, form.controls))
        found = form.function.call([x, *columns, statics, parameters])[0]
        by_distance = pose.flown(leg, At(x, named))[3].by_distance
        for name, rate in zip(form.states, np.asarray(found.full(), dtype=float).ravel(), strict=True):
            if hasattr(by_distance, name):
                assert rate == pytest.approx(float(getattr(by_distance, name)), rel=1e-9, abs=1e-15), (leg.name, name)
        modes.add(leg.mode)
    assert modes == set(Mode) - (set() if settings else {Mode.LEVEL})


def test_one_memory_serves_orders_of_other_lengths() -> None:
    """At 10000 ft the hold-down begins at a speed limit, at 9000 ft below it: one world, a phase more."""
    scenarios = [
        scenario(f"arrival.hold_downs=[{{altitude_ft={altitude},from_nm=60,to_nm=50}}]", LEVEL[1])
        for altitude in (10000, 9000)
    ]
    assert world(scenarios[0]) == world(scenarios[1])
    memory, legs = Memory(), list[int]()
    for one in scenarios:
        flight = first_flight(one)
        order, places = order_of(one, flight)
        pose = Pose(one, order, memory)
        problem = pose.problem()
        guess = guess_from(flight, pose.legs, places)
        program = transcribe(problem, mesh_for(problem, pose.legs, guess))
        found = program.functions.nlp(np.ones(program.columns), np.ones(program.functions.nlp.size1_in(1)))
        assert len(found) == 2
        legs.append(len(pose.legs))
    assert legs == [20, 21]


def test_the_speed_brake_is_in_where_it_may_not_be_used() -> None:
    """Though nothing else stows it: it may be out down to the ground."""
    one = scenario("handling.speed_brake_above_ft=0")
    flight = first_flight(one)
    order, places = order_of(one, flight)
    pose = Pose(one, order, Memory())
    guess, values = guess_from(flight, pose.legs, places), parameter_values(one)
    brakes: dict[bool, list[float]] = {True: [], False: []}
    for leg in pose.legs:
        own = guess.phases[leg.name]
        states = {name: np.array([np.asarray(own.states[name])[20]]) for name in own.states}
        point = At(
            float(np.asarray(own.independent)[20]),
            {**values, **states, "speed_brake": np.ones(1), "load_factor": np.ones(1)},
        )
        if leg.mode in (Mode.DESCENT, Mode.SLOWING):
            brakes[leg.brakes].append(float(pose.flown(leg, point)[1].speed_brake))
    assert max(brakes[True]) > 0.4
    assert brakes[False] == [0.0] * len(brakes[False])
    assert brakes[False]
