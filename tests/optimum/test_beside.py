"""Optima from their neighbours: the same as those found cold, or better; and choices that no solution asks for."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from optdescent.inputs import read_toml, with_settings
from optdescent.ocp import Memory, Outcome, Problem, Settings, Solution
from optdescent.optimum.beside import BESIDE, CLOSE, Accuracy, Programs, family, finished, solved_beside
from optdescent.optimum.cold import found_cold
from optdescent.optimum.events import Event, EventKind
from optdescent.optimum.first_trial import first_trial
from optdescent.optimum.order import with_other_choices
from optdescent.optimum.pose import Pose
from optdescent.optimum.progress import silent
from optdescent.optimum.structure import world
from optdescent.optimum.trial import Trial
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE

STUDY = Path(__file__).parents[2] / "studies" / "first_descent" / "scenario.toml"
ACCURACY = Accuracy(1e-4)


def scenario(*settings: str, tailwind: float = 0.0) -> Scenario:
    data = with_settings(read_toml(STUDY), settings)
    bias = {"bias_kt": abs(tailwind), "bias_from_deg": 305.0 if tailwind >= 0.0 else 125.0}
    data["air"]["wind"] = {"kind": "perturbed", "of": data["air"]["wind"], **bias}
    return Scenario.from_data(data, "test", STUDY.parent)


@cache
def middle() -> tuple[Trial, Programs]:
    memory = Memory()
    trial = found_cold(scenario("start.mass_kg=61000"), silent, memory, ACCURACY.first)
    return trial, Programs(memory)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("settings", "tailwind"),
    [
        pytest.param(("start.mass_kg=62000", "air.temperature_offset_k=4.0"), 3.0, marks=pytest.mark.long),
        (("start.mass_kg=60000", "cost.time_kg_per_min=0.5"), -3.0),
    ],
)
def test_a_neighbours_optimum_is_that_found_cold_or_better(settings: tuple[str, ...], tailwind: float) -> None:
    """To the meshes' error, some hundredths of a kilogram; another order of events has been seen to save 0.4 kg.

    Mass and tailwind each move both ways, temperature and cost of time one.
    """
    near, programs = middle()
    case = scenario(*settings, tailwind=tailwind)
    beside = solved_beside(case, near, programs)
    assert beside is not None
    beside = finished(beside, programs, ACCURACY)
    assert beside is not None
    cold = found_cold(case, silent, programs.memory, ACCURACY.first)
    assert beside.largest_error <= ACCURACY.local_error
    assert family(beside.pose.order) == family(cold.pose.order)
    assert cold.solution.cost - 1.0 < beside.solution.cost < cold.solution.cost + 0.05


@pytest.mark.slow
@pytest.mark.parametrize(
    ("error", "excess", "is_kept"), [(0.9, 0.9, True), (1.1, 0.9, False), (0.9, 1.1, False), (1.1, 1.1, False)]
)
def test_a_mesh_short_of_the_margin_is_kept_if_it_reaches_what_is_asked(
    error: float, excess: float, is_kept: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Parts of the errors that are asked for, with which a refinement has ended short of its margin."""
    near, programs = middle()
    asked = Accuracy(0.5 * near.largest_error)

    def ended(problem: Problem, first: Solution, settings: Settings) -> Solution:
        limits = {"local_error": error * asked.local_error, "excess": excess * settings.refinement.excess}
        last = replace(near.solution.history[-1], cost=first.cost, **limits)
        return replace(first, outcome=Outcome.COARSE, history=(last,))

    monkeypatch.setattr("optdescent.optimum.trial.refined", ended)
    found = finished(replace(near, seen=near.seen | set(near.exchanges(frozenset()))), programs, asked)
    assert (found is not None) is is_kept


@pytest.mark.slow
def test_newtons_method_and_the_interior_point_reach_the_same_neighbour() -> None:
    near, programs = middle()
    case = scenario("start.mass_kg=62500", tailwind=2.0)
    close, wide = (solved_beside(case, near, programs, settings) for settings in (CLOSE, BESIDE))
    assert close is not None
    assert wide is not None
    alone = programs.of(near).solve(close.solution.values, near.solution, replace(BESIDE, iterations=200))
    assert close.solution.cost == pytest.approx(alone.cost, rel=1e-8)
    assert wide.solution.cost == pytest.approx(alone.cost, rel=1e-8)


@pytest.mark.slow
def test_a_scenario_of_another_structure_is_no_neighbour() -> None:
    near, programs = middle()
    assert solved_beside(scenario('handling.anti_ice.kind="on"'), near, programs) is None
    assert solved_beside(scenario("handling.configuration=free"), near, programs) is None


@pytest.mark.slow
def test_structure_is_everything_but_numbers() -> None:
    pose = middle()[0].pose

    def other(*settings: str) -> Pose:
        return replace(pose, scenario=scenario(*settings))

    assert other("start.mass_kg=58000", "air.qnh_hpa=990.0").structure == pose.structure
    assert other("arrival.windows[0].altitude_at_least_ft=13000.0").structure == pose.structure
    assert other("arrival.windows[0].speed_at_most_kt=280.0").structure != pose.structure
    assert other("arrival.glide_path.below_within_nm=31.0").structure != pose.structure
    assert other("arrival.speed_limits[0].speed_kt=400.0").structure != pose.structure
    assert world(other("handling.configuration=free").scenario) != world(pose.scenario)


def test_another_choice_passes_the_gate_on_the_other_side_and_meets_the_path_elsewhere() -> None:
    order = middle()[0].pose.order
    others = with_other_choices(scenario(), order)
    gate, slow = Event(EventKind.GATE, 0), Event(EventKind.ON_SPEED)
    assert family(others[0]) != family(order)
    assert [event for event in others[0] if event not in (gate, slow)] == [e for e in order if e not in (gate, slow)]
    capture = Event(EventKind.CAPTURE)
    assert any(abs(other.index(capture) - order.index(capture)) == 1 for other in others)
    assert len(set(others)) == len(others)
    assert order not in others


@pytest.mark.long
def test_the_gear_comes_late_where_that_passes_the_gate_though_it_takes_many_iterations() -> None:
    """In 15 kt less of tailwind the gear two miles later saves 24 kg at 54, 56 and 58 t alike."""
    light, middling = (
        found_cold(scenario(f"start.mass_kg={mass}", tailwind=-15.0), silent, Memory(), Accuracy(1e-2).first)
        for mass in (54000, 56000)
    )
    assert family(light.pose.order) == family(middling.pose.order) == (Event(EventKind.GATE, 0),)
    assert 0.0 < middling.solution.cost - light.solution.cost < 5.0


@pytest.mark.slow
def test_beyond_the_gate_the_path_may_have_to_be_met_a_device_earlier() -> None:
    """Light and in 30 kt more of tailwind: 9 kg less than with the approach speed reached ahead of it."""
    trial = first_trial(scenario("start.mass_kg=54000", tailwind=30.0), silent, Memory(), is_firm=False)
    assert family(trial.pose.order) == (Event(EventKind.GATE, 0),)
    assert trial.solution.cost < 325.0


@pytest.mark.long
def test_an_order_that_has_no_descent_is_given_up_sooner_where_its_events_are_near() -> None:
    """In the study's wind the approach speed is reached less than a mile ahead of the gate, and cannot come later."""
    trial = found_cold(scenario(), silent, Memory(), Accuracy(1e-2).first)
    ahead = trial.places[Event(EventKind.GATE, 0)] - trial.places[Event(EventKind.ON_SPEED)]
    assert 0.5 * NAUTICAL_MILE < ahead < NAUTICAL_MILE
    assert trial.orders[-1].startswith("iterations after 90 iterations")


@pytest.mark.long
def test_a_descent_is_found_where_the_flown_order_fails() -> None:
    """In 11 kt less of tailwind the gate is best passed above the approach speed, with the gear after the capture.

    The order flown first does not converge, and orders mended from its overlaps all end in a conflict that is none.
    """
    settings = ("start.mass_kg=64000", "air.temperature_offset_k=5.0")
    trial = found_cold(scenario(*settings, tailwind=-11.05), silent, Memory(), ACCURACY.first)
    assert family(trial.pose.order) == (Event(EventKind.GATE, 0),)
    assert trial.solution.cost < 430.0


@pytest.mark.slow
def test_a_mesh_that_has_become_too_coarse_is_refined() -> None:
    near, programs = middle()
    strict = Accuracy(1e-7)
    trial = solved_beside(scenario("start.mass_kg=61500"), near, programs)
    assert trial is not None
    assert trial.largest_error > strict.local_error
    fine = finished(trial, programs, Accuracy(0.3 * trial.largest_error))
    assert fine is not None
    assert fine.largest_error <= 0.3 * trial.largest_error
    assert fine.solution.raw.x.size > trial.solution.raw.x.size
    assert np.isfinite(fine.solution.cost)
