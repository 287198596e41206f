"""Edges: nested, monotone, as mass and wind have it, and bounded from inside by coarser grids."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from optdescent.air import atmosphere
from optdescent.airframe.polar import best_glide
from optdescent.corridor.devices import ALL_SETS, EVERYTHING, ONE_BY_ONE, SCHEDULE, DeviceSet
from optdescent.corridor.ground import Ground, ground_of
from optdescent.corridor.path import paths
from optdescent.corridor.reach import Edge, Reach, reach
from optdescent.scenario import Scenario
from optdescent.units import FOOT, GRAVITY, KNOT, NAUTICAL_MILE
from tests.corridor.edges import COARSE, MARKS, SPEEDS, STILL, edge, ground, lowest, scheduled
from tests.corridor.test_leg import MASS, TEXTBOOK, slowing_length
from tests.scenario.files import STUDY
from tests.simulation import CLEAN, air, eastbound

BRAKE = DeviceSet(speed_brake=True)
DEMANDING = (
    *STILL,
    "arrival.speed_limits=[{within_nm=14.0,speed_kt=200.0}]",
    "arrival.more_gates=[{height_ft=2000.0,speed_above_reference_kt=5.0,speed_over_kt=20.0,speed_under_kt=0.0,"
    "sink_ft_per_min=1200.0,landing_configuration=false,gear_down=false}]",
)


def test_a_set_holds_what_it_has_and_no_more() -> None:
    assert all(EVERYTHING.holds(devices) and devices.holds(SCHEDULE) for devices in ALL_SETS)
    assert not DeviceSet(early_flaps=True).holds(BRAKE)
    assert len({devices.name for devices in ALL_SETS}) == 8


@pytest.mark.parametrize("devices", ONE_BY_ONE[1:4], ids=lambda devices: devices.name)
def test_more_devices_never_shrink_it(devices: DeviceSet) -> None:
    """State by state: what less reaches, more reaches from at least as high."""
    less, own, more = edge(SCHEDULE).altitude, edge(devices).altitude, edge(EVERYTHING).altitude
    for inner, outer in ((less, own), (own, more)):
        known = np.isfinite(inner)
        assert np.all(np.isfinite(outer[known]))
        assert np.all(outer[known] >= inner[known] - 1e-9)
    assert np.nanmax(own - less) > 300.0 * FOOT


def test_the_highest_height_rises_with_distance() -> None:
    altitude = edge(BRAKE).altitude[ground().last_capture :]
    rise = np.diff(altitude, axis=0)
    assert np.all(np.isfinite(altitude[1:][np.isfinite(altitude[:-1])]))
    assert np.nanmin(rise) > -1e-9


def test_slower_is_higher_where_the_schedule_has_the_same_out() -> None:
    """Less energy at the same height, and the same devices still to come: 250 and 230 kt, clean."""
    heights = scheduled(edge(SCHEDULE), 22.0 * NAUTICAL_MILE)
    assert heights[2] > heights[3] + 500.0 * FOOT


def test_a_tailwind_lowers_it() -> None:
    """Common practice, no source: with a tailwind it goes down and slows less on the same miles."""
    windy = ("air.wind.kind=constant", "air.wind.wind_from_deg=305", "air.wind.wind_speed_kt=20")
    for distance in (18.0, 22.0):
        there, here = (scheduled(edge(SCHEDULE, one), distance * NAUTICAL_MILE)[2] for one in (windy, STILL))
        assert there < here - 200.0 * FOOT


def test_in_a_strong_headwind_no_leg_is_left_out_that_would_be_of_use(monkeypatch: pytest.MonkeyPatch) -> None:
    """In 90 kt gear and flaps slow by more than 45 kt a mile over the ground; 2 ft are allowed."""
    headwind = ("air.wind.kind=constant", "air.wind.wind_from_deg=125", "air.wind.wind_speed_kt=90")
    over = ground_of(Scenario.from_toml(STUDY, headwind), 14.0 * NAUTICAL_MILE, (), 0.5 * COARSE)
    found = reach(over, EVERYTHING, Edge.HIGHEST, (230.0 * KNOT,)).altitude
    monkeypatch.setattr("optdescent.corridor.reach.MOST_SLOWING", np.inf)
    every = reach(over, EVERYTHING, Edge.HIGHEST, (230.0 * KNOT,)).altitude
    assert np.array_equal(np.isfinite(found), np.isfinite(every))
    assert np.nanmax(every - found) < 2.0 * FOOT


def test_fast_and_heavy_it_is_lower_slow_and_heavy_it_is_not() -> None:
    """Weight carries further at a speed well above that of best lift over drag, which rises with weight, as do the
    speeds at which the schedule brings drag out (Hull 2007, chapter 3: drag at a speed by weight). Where the speed may
    not rise first: a dive to where drag is large is open to both."""
    light, heavy = (
        scheduled(falling(edge(BRAKE, (*STILL, f"start.mass_kg={mass}"))), 22.0 * NAUTICAL_MILE)
        for mass in (56000, 66000)
    )
    assert heavy[3] < light[3] - 200.0 * FOOT
    assert heavy[0] > light[0] + 200.0 * FOOT


def test_the_lowest_lies_below_the_highest_and_below_the_glide_path() -> None:
    low, high = scheduled(lowest(), 18.0 * NAUTICAL_MILE), scheduled(edge(SCHEDULE), 18.0 * NAUTICAL_MILE)
    path = ground().path[int(np.argmin(np.abs(ground().to_go - 18.0 * NAUTICAL_MILE)))]
    assert np.all(low[:3] < high[:3] - 200.0 * FOOT)
    assert np.all(low[:3] < path)


@pytest.mark.parametrize("devices", [SCHEDULE, BRAKE, EVERYTHING], ids=lambda devices: devices.name)
def test_a_grid_twice_as_fine_widens_it_a_little(devices: DeviceSet) -> None:
    """Every path of a grid is a descent: the coarse edge bounds the true one from inside, the fine one is near it.

    Legs rest on the forces half-way: a leg is not quite its two halves. 10 ft are allowed for that; 6 ft were seen.
    """
    for one in (lambda found: found, falling):
        coarse, fine = one(edge(devices)), one(edge(devices, STILL, 0.5 * COARSE))
        near, far = (np.array([scheduled(found, mark) for mark in MARKS]) for found in (coarse, fine))
        assert np.all(np.isfinite(far[np.isfinite(near)]))
        assert np.nanmin(far - near) > -10.0 * FOOT
        assert np.nanmax(far - near) < 250.0 * FOOT


def test_far_out_in_a_measured_wind_too() -> None:
    """Beyond 25 nm, where places lie twice as far apart; 10 ft are allowed as nearer in."""
    far, speeds = tuple(nm * NAUTICAL_MILE for nm in (30.0, 36.0)), (210.0 * KNOT,)
    told: list[np.ndarray] = []
    for spacing in (COARSE, 0.5 * COARSE):
        found = reach(ground_of(Scenario.from_toml(STUDY), far[-1], far, spacing), SCHEDULE, Edge.HIGHEST, speeds)
        at = np.array([int(np.argmin(np.abs(found.states.speeds - speed))) for speed in speeds])
        places = [int(np.argmin(np.abs(found.ground.to_go - mark))) for mark in far]
        told.append(found.altitude[np.array(places)[:, None], at, found.states.scheduled[at]])
    assert np.isfinite(told).all()
    assert np.min(told[1] - told[0]) > -10.0 * FOOT
    assert np.max(told[1] - told[0]) < 250.0 * FOOT


@pytest.mark.parametrize("devices", [SCHEDULE, EVERYTHING], ids=lambda devices: devices.name)
def test_no_leg_cuts_a_corner_of_what_is_demanded(devices: DeviceSet) -> None:
    """Legs over several places keep what is demanded between their ends: from 12 nm on no higher than the path."""
    found = edge(devices, STILL, 0.5 * COARSE)
    plan = paths(found, *states(found))
    demands = found.ground.demands
    assert np.isfinite(demands.highest).sum() > 20
    assert np.nanmax(plan.altitude - demands.highest[:, None]) < 1.0 * FOOT
    assert np.nanmax(demands.lowest[:, None] - plan.altitude) < 1.0 * FOOT


def test_no_leg_passes_a_speed_demand_between_its_ends_too_fast_or_too_slow() -> None:
    """200 kt from 14 nm on, and a further gate at 2000 ft which legs of travelling devices pass, on the path too."""
    found = edge(EVERYTHING, DEMANDING, 0.5 * COARSE)
    plan = paths(found, *states(found))
    demands = found.ground.demands
    assert np.isfinite(demands.slowest).sum() == 1
    assert np.isfinite(demands.fastest).sum() > 20
    over, under = plan.speed - demands.fastest[:, None], demands.slowest[:, None] - plan.speed
    assert np.nanmax(over) < 0.1 * KNOT
    assert np.nanmax(under) < 0.1 * KNOT
    assert np.nanmax(over) > -1.0 * KNOT


def falling(found: Reach) -> Reach:
    """The edge for descents whose speed only falls."""
    assert found.falling is not None
    return found.falling


def test_speed_that_may_rise_first_helps_the_slow_and_far_and_never_costs() -> None:
    """Drag grows with speed: from 190 kt a dive to a faster speed loses more energy than staying slow does."""
    for devices in (SCHEDULE, BRAKE, EVERYTHING):
        whole, only = edge(devices).altitude, falling(edge(devices)).altitude
        assert np.all(whole[np.isfinite(only)] >= only[np.isfinite(only)])
    whole, only = (scheduled(one, 22.0 * NAUTICAL_MILE) for one in (edge(EVERYTHING), falling(edge(EVERYTHING))))
    assert whole[0] > only[0] + 500.0 * FOOT
    assert whole[-1] == only[-1]


def states(found: Reach) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places, speeds and configurations of every fifth state from which the gate is met."""
    place, speed, configuration = np.nonzero(np.isfinite(found.altitude))
    return place[::5], speed[::5], configuration[::5]


@pytest.mark.parametrize("devices", [SCHEDULE, EVERYTHING], ids=lambda devices: devices.name)
def test_every_path_sinks_and_slows_in_the_end_and_brings_the_devices_out(devices: DeviceSet) -> None:
    found = edge(devices)
    place, speed, configuration = states(found)
    plan = paths(found, place, speed, configuration)
    own = np.arange(place.size)
    assert np.allclose(plan.altitude[place, own], found.altitude[place, speed, configuration])
    assert np.nanmin(np.diff(plan.altitude, axis=0)) > -0.06
    # seen from the gate outwards speed rises, and then falls at most: it does not rise again once it has begun to fall
    rise = np.diff(plan.speed, axis=0)
    has_fallen = np.logical_or.accumulate(rise < -1e-6, axis=0)
    assert not np.any(has_fallen & (rise > 1e-6))
    assert all(np.nanmax(np.diff(values, axis=0)) < 1e-9 for values in (plan.steps, plan.gear))
    slow, fast = ground().gate_speeds(ground().scenario.arrival.gate)
    assert np.all((plan.speed[0] >= slow - 1e-9) & (plan.speed[0] <= fast))
    assert np.all(plan.steps[0] == found.states.configurations[-1, 0])
    assert np.all(plan.gear[0] == 1.0)


def test_limit_speeds_are_kept_on_every_path() -> None:
    found = edge(EVERYTHING)
    place, speed, configuration = states(found)
    plan = paths(found, place, speed, configuration)
    gear = found.ground.scenario.airframe.gear.limit_speed
    assert np.nanmax(np.where(plan.gear > 0.5, plan.speed, np.nan)) <= gear + 1e-6
    for number, step in enumerate(found.ground.scenario.airframe.steps[1:], start=1):
        assert step.limit_speed is not None
        assert np.nanmax(np.where(plan.steps >= number, plan.speed, np.nan)) <= step.limit_speed + 1e-6


def textbook(farthest: float) -> Ground:
    """The first study's arrival in still standard air, flown by the textbook's glider."""
    asked = ground_of(Scenario.from_toml(STUDY, (*STILL, f"start.mass_kg={MASS:.0f}")), farthest, (), 0.5 * COARSE)
    return replace(asked, around=eastbound(TEXTBOOK, air()))


def clean(found: Reach, speed: float) -> np.ndarray:
    """Pressure altitude (place,) [m] of an edge with nothing out at a speed [m/s]."""
    return found.altitude[:, int(np.argmin(np.abs(found.states.speeds - speed))), 0]


def test_the_lowest_edge_of_a_textbook_glider_is_its_glide_at_the_best_lift_over_drag() -> None:
    """Far out one more mile takes 1/(L/D) of height over the acceleration factor (Etkin 1972), to 0.1 %."""
    ratio, lift = best_glide(TEXTBOOK, CLEAN)
    best = math.sqrt(2.0 * MASS * GRAVITY / (1.225 * TEXTBOOK.wing.area * lift))
    over = textbook(20.0 * NAUTICAL_MILE)
    altitude = clean(reach(over, SCHEDULE, Edge.LOWEST, (best,)), best)
    near = int(np.argmin(np.abs(over.to_go - 17.0 * NAUTICAL_MILE)))
    middle = 0.5 * (altitude[near] + altitude[-1])
    below, own, above = over.true_airspeed(np.full(3, best), middle + np.array([-50.0, 0.0, 50.0]))
    gradient = (altitude[-1] - altitude[near]) / (over.to_go[-1] - over.to_go[near])
    assert gradient * (1.0 + own / GRAVITY * (above - below) / 100.0) == pytest.approx(1.0 / ratio, rel=0.001)


def test_edges_of_a_textbook_glider_at_two_speeds_lie_a_level_deceleration_apart() -> None:
    """250 kt is met from as high as 210 kt where level flight slows between (Hull 2007), to 2 %.

    Drag depends on calibrated airspeed, true airspeeds are larger by the root of the density ratio: so is the length,
    by the ratio itself. On these miles of the arrival what slows 250 kt best is level flight low down.
    """
    over = textbook(15.0 * NAUTICAL_MILE)
    only = falling(reach(over, SCHEDULE, Edge.HIGHEST, (210.0 * KNOT, 250.0 * KNOT)))
    slow, fast = clean(only, 210.0 * KNOT), clean(only, 250.0 * KNOT)
    near = int(np.argmin(np.abs(over.to_go - 11.0 * NAUTICAL_MILE)))
    known = np.isfinite(fast)
    assert fast[known][0] < slow[near] < fast[-1]
    apart = float(np.interp(slow[near], fast[known], over.to_go[known])) - over.to_go[near]
    density = float(atmosphere.density(slow[near], 0.0))
    assert apart == pytest.approx(slowing_length(250.0 * KNOT, 210.0 * KNOT) * 1.225 / density, rel=0.02)


def test_early_gear_is_selected_earlier_than_the_schedule_has_it() -> None:
    at = {}
    for devices in (SCHEDULE, DeviceSet(early_gear=True)):
        found = edge(devices)
        place, speed = ground().to_go.size - 1, int(np.argmin(np.abs(found.states.speeds - SPEEDS[2])))
        start = found.states.scheduled[speed]
        plan = paths(found, np.array([place]), np.array([speed]), np.array([start]))
        at[devices] = float(np.max(np.where(plan.gear[:, 0] > 0.5, plan.speed[:, 0], 0.0)))
    assert at[DeviceSet(early_gear=True)] > at[SCHEDULE] + 10.0 * KNOT


def test_a_path_from_where_none_is_has_no_answer() -> None:
    found = edge(SCHEDULE)
    with pytest.raises(ValueError, match="cannot be met"):
        paths(found, np.array([ground().to_go.size - 1]), np.array([0]), np.array([0]))
