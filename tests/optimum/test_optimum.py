"""What every optimal descent must show, and how it answers to its demands."""

from __future__ import annotations

import itertools
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from optdescent.airframe.speeds import GEAR, devices
from optdescent.ocp import Solution, transcribe
from optdescent.optimum import DemandsConflict
from optdescent.optimum.events import COLLAPSED, Event, EventKind
from optdescent.optimum.glide import first_flight
from optdescent.optimum.optimise import Optimum, flight_of
from optdescent.optimum.order import order_of
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.report import BANDS, slopes
from optdescent.optimum.search import in_right_order
from optdescent.optimum.trajectory import refly
from optdescent.results import Slope
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.optimum.descents import STILL, neighbour, optimum, scenario

FREE = "handling.configuration=free"
AGAINST = "arrival.course_deg=305"
CASES = pytest.mark.parametrize(
    "settings", [(), (STILL,), (FREE,), (AGAINST,)], ids=["jet", "still", "free", "against"]
)


def end_of(found: Optimum, kind: EventKind, index: int = 0) -> dict[str, float]:
    """States at an event, with its coordinate."""
    leg = next(leg for leg in found.pose.legs if leg.ends == Event(kind, index))
    phase = found.solution[leg.name]
    states = {name: float(values[-1]) for name, values in phase.states.items()}
    return {**states, "x": phase.end}


# every optimum


@CASES
def test_no_limit_is_broken_and_the_gate_is_stable(settings: tuple[str, ...]) -> None:
    summary = optimum(*settings).flight.summary
    assert [breach.sentence for breach in summary.breaches] == []
    assert summary.gate.stable


@CASES
def test_the_mesh_is_fine_enough_and_nothing_chatters(settings: tuple[str, ...]) -> None:
    found = optimum(*settings)
    shown = found.solution.certificate
    assert shown.local_error <= 1e-6
    assert shown.violation < 1e-6
    assert shown.chatter == ()
    assert abs(shown.hamiltonian_drift) < 0.01


@CASES
def test_an_adaptive_integrator_flies_the_same(settings: tuple[str, ...]) -> None:
    """Hairer, Norsett, Wanner 1993 (DOP853): all states and devices, start to threshold."""
    found = optimum(*settings)
    again = refly(found.pose, found.solution)
    assert again.altitude < 5.0 * FOOT
    assert again.speed < 0.2 * KNOT
    assert again.fuel < 0.1


@CASES
def test_events_come_in_order_and_no_phase_runs_backwards(settings: tuple[str, ...]) -> None:
    found = optimum(*settings)
    lengths = [found.solution[leg.name].length for leg in found.pose.legs]
    assert min(lengths) > -COLLAPSED
    assert sum(lengths) == pytest.approx(160.0 * NAUTICAL_MILE, abs=COLLAPSED)
    assert sum(found.solution.statics.values()) < COLLAPSED


@CASES
def test_each_device_takes_its_travel_time(settings: tuple[str, ...]) -> None:
    found = optimum(*settings)
    for device in devices(found.pose.scenario.airframe):
        selected, out = (end_of(found, kind, device.number) for kind in (EventKind.SELECTED, EventKind.OUT))
        assert out["time"] - selected["time"] == pytest.approx(device.travel_time, abs=1e-4), device.name


@CASES
def test_energy_only_falls_at_idle_but_for_what_shear_gives(settings: tuple[str, ...]) -> None:
    """A gain at idle could only come from the wind's change along the path, which the energy height does not hold."""
    flight = optimum(*settings).flight
    idle = (flight.column("distance_to_go") < flight.summary.top_of_descent) & (flight.column("thrust_fraction") <= 0.0)
    energy = flight.column("specific_energy_height")[idle]
    assert np.max(np.diff(energy)) < (0.01 if STILL in settings else 1.0)


@CASES
def test_height_never_rises(settings: tuple[str, ...]) -> None:
    assert np.max(np.diff(optimum(*settings).flight.column("pressure_altitude"))) < 1e-3


@CASES
def test_costates_are_recorded_and_mass_costs_what_its_multiplier_says(settings: tuple[str, ...]) -> None:
    """One kilogram fewer at the threshold is one kilogram burnt: the costate of mass ends at -1."""
    found = optimum(*settings)
    assert found.flight.column("costate_mass")[-1] == pytest.approx(-1.0, abs=1e-3)
    assert np.isfinite(found.flight.column("costate_time")).all()
    assert np.nanmax(found.flight.column("local_error")) <= 1e-6


# scheduled and free


@pytest.mark.parametrize("settings", [(), (STILL,), (AGAINST,)], ids=["jet", "still", "against"])
def test_on_the_schedule_each_device_is_selected_at_its_speed(settings: tuple[str, ...]) -> None:
    found = optimum(*settings)
    airframe, flight = found.pose.scenario.airframe, found.flight
    x = -flight.column("distance_to_go")
    for device in devices(airframe):
        at = end_of(found, EventKind.SELECTED, device.number)
        speed = float(np.interp(at["x"], x, flight.column("calibrated_airspeed")))
        wanted = float(device.scheduled_speed(airframe, at["mass"]))
        assert speed == pytest.approx(wanted, abs=0.3 * KNOT), device.name


def test_free_configuration_never_costs_more_than_the_schedule() -> None:
    assert optimum(FREE).solution.cost < optimum().solution.cost


def test_free_steps_come_one_after_the_other_within_their_limit_speeds() -> None:
    found = optimum(FREE)
    flight = found.flight
    over = flight.column("calibrated_airspeed") - flight.column("limit_speed")
    assert np.max(over) < 0.5 * KNOT
    outs = [end_of(found, EventKind.OUT, step)["time"] for step in range(1, 5)]
    selected = [end_of(found, EventKind.SELECTED, step)["time"] for step in range(1, 5)]
    assert all(after >= before - 1e-6 for before, after in zip(outs, selected[1:], strict=False))
    assert end_of(found, EventKind.OUT, GEAR)["x"] <= end_of(found, EventKind.GATE)["x"] + COLLAPSED


# laws


def test_a_wider_window_never_costs_more() -> None:
    narrow = neighbour(optimum(), "arrival.windows[0].altitude_at_least_ft=15000")
    assert optimum().solution.cost <= narrow.solution.cost + 1e-3


def test_one_more_demand_never_costs_less() -> None:
    fast = optimum(STILL, "arrival.windows[0].speed_at_least_kt=260")
    assert fast.solution.cost > optimum(STILL).solution.cost


def test_a_cost_of_time_buys_time_with_fuel() -> None:
    patient, hurried = optimum().flight.summary, flight_of(neighbour(optimum(), "cost.time_kg_per_min=20")).summary
    assert hurried.time < patient.time - 30.0
    assert hurried.fuel > patient.fuel


# sensitivity


def solved_again(found: Optimum, **changes: float) -> Solution:
    """The same mesh, solved with parameters changed by amounts [SI]."""
    program = transcribe(found.problem, found.solution.mesh)
    values = parameter_values(found.pose.scenario)
    for name, change in changes.items():
        values[name.replace("_", " ")] = values[name.replace("_", " ")] + change
    return program.solve(values, found.solution)


@cache
def slopes_of_the_study() -> dict[str, Slope]:
    found = optimum()
    return {
        slope.quantity: slope
        for slope in slopes(found.pose, transcribe(found.problem, found.solution.mesh), found.solution)
    }


@pytest.mark.parametrize(
    ("quantity", "parameter", "step"),
    [
        ("mass at the start", "start_mass", 20.0),
        ("temperature at every pressure altitude", "temperature_offset", 0.05),
        ("cost of time", "cost_of_time", 1e-4),
    ],
)
def test_sensitivities_are_those_of_solving_again(quantity: str, parameter: str, step: float) -> None:
    found = optimum()
    slope = slopes_of_the_study()[quantity]
    up, down = solved_again(found, **{parameter: step}), solved_again(found, **{parameter: -step})
    assert up.outcome.is_success
    assert down.outcome.is_success
    idle = next(leg.name for leg in found.pose.legs if leg.ends.kind is EventKind.TOP_OF_DESCENT)
    last = found.pose.legs[-1].name
    more = 2.0 * step if parameter == "start_mass" else 0.0
    burnt = more + down[last].states["mass"][-1] - up[last].states["mass"][-1]
    assert (up.cost - down.cost) / (2.0 * step) == pytest.approx(slope.cost, rel=1e-4)
    assert burnt / (2.0 * step) == pytest.approx(slope.fuel, rel=0.02)
    assert -(up[idle].end - down[idle].end) / (2.0 * step) == pytest.approx(slope.idle_distance, rel=0.02, abs=1e-3)


def test_the_wind_of_each_band_adds_up_and_is_that_of_solving_again() -> None:
    found = optimum()
    named = slopes_of_the_study()
    bands = [slope for name, slope in named.items() if name.startswith("tailwind from")]
    whole = named["tailwind at every height"]
    assert sum(slope.cost for slope in bands) == pytest.approx(whole.cost, rel=1e-9)
    where = found.pose.scenario
    direction = where.wind.field.tailwind(where.arrival.course, -np.inf, np.inf)
    program = transcribe(found.problem, found.solution.mesh)
    values = parameter_values(where)
    costs = [
        program.solve({**values, "wind": values["wind"] + s * direction}, found.solution).cost for s in (0.05, -0.05)
    ]
    assert (costs[0] - costs[1]) / 0.1 == pytest.approx(whole.cost, rel=1e-3)


def test_each_band_s_wind_changes_cost_fuel_and_idle_as_solving_again_does() -> None:
    found = optimum()
    where, named = found.pose.scenario, slopes_of_the_study()
    program = transcribe(found.problem, found.solution.mesh)
    values, last = parameter_values(where), found.pose.legs[-1].name
    idle = next(leg.name for leg in found.pose.legs if leg.ends.kind is EventKind.TOP_OF_DESCENT)
    for (low, high), slope in zip(pairwise(BANDS), [s for s in named.values() if s.heights], strict=True):
        direction = where.wind.field.tailwind(where.arrival.course, low, high)
        up, down = (
            program.solve({**values, "wind": values["wind"] + s * direction}, found.solution) for s in (0.05, -0.05)
        )
        burnt = down[last].states["mass"][-1] - up[last].states["mass"][-1]
        assert slope.heights == pytest.approx((max(low, 0.0), high))
        assert (up.cost - down.cost) / 0.1 == pytest.approx(slope.cost, rel=1e-3, abs=1e-4), slope.quantity
        assert burnt / 0.1 == pytest.approx(slope.fuel, rel=0.02, abs=2e-3), slope.quantity
        moved = -(up[idle].end - down[idle].end) / 0.1
        assert moved == pytest.approx(slope.idle_distance, rel=0.02, abs=0.1), slope.quantity


# demands that conflict


def test_an_impossible_speed_at_the_gate_names_it() -> None:
    """10 nm of level flight at 250 kt cannot end at the approach speed two miles on."""
    window = '[{name="CEDAR", distance_nm=5.0, speed_at_least_kt=240.0}]'
    with pytest.raises(DemandsConflict) as caught:
        optimum(f"arrival.windows={window}")
    assert any("CEDAR" in shortfall.demand and shortfall.unit == "kt" for shortfall in caught.value.shortfalls)


# sweeps


@pytest.mark.slow
@pytest.mark.parametrize(
    ("wind", "mass", "offset"),
    [
        *((wind, mass, wind * (mass - 60) / 16.0) for wind, mass in itertools.product((-40.0, 40.0), (54, 66))),
        pytest.param(0.0, 60, 0.0, marks=pytest.mark.long),
    ],
)
def test_wind_mass_and_temperature_all_lead_to_an_optimum(wind: float, mass: int, offset: float) -> None:
    """A steady wind along the track, 54 to 66 t, 15 K below and above standard: the order of events found each time.

    The ends of the three axes, each pair of ends once (a half fraction of the eight corners), and the middle: the order
    that the first flight gives changes most towards the ends. `benchmarks.sweep` solves ten thousand cases between.
    """
    where = scenario(
        "air.wind.kind=constant",
        f"air.wind.wind_speed_kt={abs(wind)}",
        f"air.wind.wind_from_deg={305.0 if wind > 0.0 else 125.0}",
        f"start.mass_kg={mass}000",
        f"air.temperature_offset_k={offset}",
    )
    flight = first_flight(where)
    trial = in_right_order(where, flight, *order_of(where, flight), lambda _: None)
    assert trial.is_orderly
    assert 250.0 < trial.solution.cost < 700.0
