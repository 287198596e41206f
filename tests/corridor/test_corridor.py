"""The corridor as it is told: on a grid, flown again, nested, and what it refuses."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from optdescent.corridor import (
    ALL_SETS,
    EVERYTHING,
    ONE_BY_ONE,
    SCHEDULE,
    Edges,
    Grid,
    corridor,
    edges_for,
    last_actions,
    usual_grid,
)
from optdescent.corridor.ground import ground_of
from optdescent.corridor.reach import Edge, reach
from optdescent.inputs import InputFault
from optdescent.results import Flight
from optdescent.results.corridor import Corridor, corridor_plain
from optdescent.results.last_action import last_actions_csv, last_actions_plain
from optdescent.rules import fly, read_rules
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY

GRID = Grid(tuple(nm * NAUTICAL_MILE for nm in (12.0, 16.0, 20.0)), tuple(kt * KNOT for kt in (200.0, 230.0)))
RULES = {rule.name: rule for rule in read_rules("library")}
STEEP = ("air.wind.kind=constant", "air.wind.wind_from_deg=305", "air.wind.wind_speed_kt=35")


def scenario() -> Scenario:
    return Scenario.from_toml(STUDY, STEEP)


@cache
def edges() -> Edges:
    more = Grid(GRID.distances, (*GRID.speeds, 262.0 * KNOT))
    return edges_for(scenario(), more, ALL_SETS, lambda _: None)


@cache
def found() -> Corridor:
    return corridor(edges(), GRID)


@cache
def flown(name: str) -> Flight:
    return fly(scenario(), RULES[name])


def test_the_grid_is_the_one_asked_for() -> None:
    assert np.allclose(found().values("distance_to_go"), GRID.distances)
    assert np.allclose(found().values("speed"), GRID.speeds)
    assert found().devices == ("idle and schedule", "speed brake", "early flaps", "early gear", "everything")
    assert found().mass == scenario().start.mass


def all_kept(corridor: Corridor) -> None:
    """Every height told was flown from and kept, to 2 kt over a limit and 75 ft outside; the others say why not."""
    highest, stable = corridor.values("highest"), corridor.values("stable_again")
    told = np.isfinite(highest)
    over, outside, excess = (corridor.values(f"{name}_again") for name in ("over", "outside", "excess"))
    assert np.all(stable[told] == 1.0)
    assert not np.any(stable[~told] == 1.0)
    assert np.max(over[told]) <= 2.0 * KNOT
    assert np.min(outside[told]) >= 0.0
    assert np.max(outside[told]) <= 75.0 * FOOT
    assert np.max(corridor.values("steep_again")[told]) <= 2.0 * KNOT
    assert np.max(corridor.values("climb_again")[told]) <= 75.0 * FOOT
    assert np.max(corridor.values("rise_again")[told]) <= 2.0 * KNOT
    assert np.max(excess[told]) < 10.0 * FOOT  # half a knot, to which a gate's speeds count
    assert np.min(corridor.values("taken_off")[told]) >= -1e-6
    for point in corridor_plain(corridor)["points"]:
        lacks_any = point["highest_ft"] is None or point["lowest_ft"] is None
        assert lacks_any == (point["reason"] is not None)


def no_lower_farther_out(corridor: Corridor) -> None:
    """At one speed and with one set of devices no highest height is lower than a nearer one, nor missing beyond it.

    Nor is a lowest height lower than a nearer one.
    """
    for heights in corridor.values("highest"):
        assert np.all((heights[1:] >= heights[:-1] - 1e-6) | np.isnan(heights[:-1]))
    for heights in corridor.values("lowest").T:
        own = heights[np.isfinite(heights)]
        assert np.all(np.diff(own) >= -1e-6)


def test_heights_do_not_fall_with_distance() -> None:
    no_lower_farther_out(found())


@pytest.mark.parametrize(
    ("settings", "miles", "eased"),
    [(STEEP, (35.0, 37.0, 39.0), 0.0), pytest.param((), (41.0, 43.0, 45.0), 50.0, marks=pytest.mark.long)],
)
def test_far_out_heights_do_not_fall_with_distance_either(
    settings: tuple[str, ...], miles: tuple[float, ...], eased: float
) -> None:
    """In 35 kt of tailwind one fell by 239 ft; in the study's wind two are eased by 105 ft more than nearer ones.

    There at least one is told from more than 50 ft below the edge.
    """
    out = Grid(tuple(nm * NAUTICAL_MILE for nm in miles), (190.0 * KNOT, 210.0 * KNOT))
    told = corridor(edges_for(Scenario.from_toml(STUDY, settings), out, ONE_BY_ONE, lambda _: None), out)
    all_kept(told)
    no_lower_farther_out(told)
    assert np.max(told.values("taken_off")) >= eased * FOOT


def test_it_is_nested_and_every_height_told_was_flown_from_and_kept() -> None:
    highest = found().values("highest")
    assert all(np.all(~(highest[0] > one)) and np.all(~(one > highest[-1])) for one in highest)
    assert np.isfinite(highest[-1]).all()
    all_kept(found())
    lowest, added = found().values("lowest"), found().values("added_again")
    assert np.all(~(lowest > highest[-1]))
    assert np.isfinite(lowest).sum() > 3
    assert np.max(added[np.isfinite(lowest)]) <= 25.0 * FOOT
    assert np.all(np.diff(lowest, axis=0)[np.isfinite(np.diff(lowest, axis=0))] > 0.0)


def test_with_thrust_it_may_be_as_low_as_the_glide_path_may_be_captured() -> None:
    """From 2800 ft above the threshold up, less the 75 ft that a flight may be off what is demanded; flown level."""
    path = scenario().arrival.glide_path
    thrust, lowest = found().values("lowest_with_thrust"), found().values("lowest")
    told = np.isfinite(lowest)
    assert np.all(thrust[told] <= lowest[told])
    assert np.all((thrust[-1] > path.capture_at_least - 75.0 * FOOT) & (thrust[-1] < path.capture_middle))
    assert np.all(np.diff(thrust, axis=0)[np.isfinite(np.diff(thrust, axis=0))] <= 25.01 * FOOT)
    assert lowest[-1, 0] > thrust[-1, 0] + 1000.0 * FOOT


@pytest.mark.parametrize("direction", [305, pytest.param(125, marks=pytest.mark.long)])
def test_fast_and_far_out_it_is_about_where_the_speed_limit_begins(direction: int) -> None:
    """280 kt are too fast below 10 000 ft, 9400 ft above the threshold; 30 kt of tailwind, of headwind.

    It does not rise with distance, but for the 25 ft by which one is raised that is not kept.
    """
    windy = ("air.wind.kind=constant", f"air.wind.wind_from_deg={direction}", "air.wind.wind_speed_kt=30")
    out = Grid(tuple(nm * NAUTICAL_MILE for nm in (31.0, 37.0, 43.0, 49.0)), (280.0 * KNOT,))
    told = corridor(edges_for(Scenario.from_toml(STUDY, windy), out, ONE_BY_ONE, lambda _: None), out)
    thrust = told.values("lowest_with_thrust")[:, 0] / FOOT
    assert np.all((thrust > 9400.0 - 75.0) & (thrust < 9400.0 + 150.0))
    assert np.all(np.diff(thrust) <= 25.0 + 1e-6)
    assert told.values("lowest")[-1, 0] / FOOT > thrust[-1] + 500.0


def test_what_was_not_kept_when_flown_again_is_taken_off() -> None:
    """The heights are those of the edges, less what flying took off; of a smaller set's if that is higher."""
    less = found().values("taken_off")
    own = edges().of(EVERYTHING)
    for row, distance in enumerate(GRID.distances):
        for column, speed in enumerate(GRID.speeds):
            place = int(np.argmin(np.abs(edges().ground.to_go - distance)))
            at = int(np.argmin(np.abs(own.states.speeds - speed)))
            planned = own.altitude[place, at, own.states.scheduled[at]]
            planned = float(edges().ground.around.air.height(planned)) - scenario().arrival.elevation
            told = found().values("highest")[:, row, column]
            assert told[-1] >= np.nanmax(told[:-1], initial=-np.inf)
            assert told[-1] == pytest.approx(planned - less[-1, row, column], abs=0.1) or told[-1] in told[:-1]


def test_heights_told_rise_with_distance_to_the_flaps_ceiling_and_stay_there() -> None:
    """In the study's wind, slow, with step 1 out by the schedule: no higher than 20 000 ft, and no hole beyond."""
    far = Grid(tuple(nm * NAUTICAL_MILE for nm in (35.0, 39.0, 41.0, 43.0, 49.0)), (190.0 * KNOT, 210.0 * KNOT))
    ground = ground_of(Scenario.from_toml(STUDY), max(far.distances), far.distances, 0.5 * NAUTICAL_MILE)
    low, *high = (
        reach(ground, devices, edge, far.speeds)
        for devices, edge in ((SCHEDULE, Edge.LOWEST), *((one, Edge.HIGHEST) for one in ONE_BY_ONE))
    )
    told = corridor(Edges(ground, tuple(high), low), far)
    all_kept(told)
    highest = told.values("highest")
    assert np.isfinite(highest).all()
    no_lower_farther_out(told)
    ceiling = float(ground.around.air.height(20000.0 * FOOT)) - ground.scenario.arrival.elevation
    assert np.max(highest) == pytest.approx(ceiling)
    assert highest[0, 0, 0] < ceiling - 2000.0 * FOOT


def test_in_hot_air_it_is_kept_and_nested_too() -> None:
    """25 K warmer than standard, in still air: from 16 nm at 230 kt."""
    hot = Scenario.from_toml(STUDY, ("air.wind.kind=none", "air.temperature_offset_k=25"))
    one = Grid((16.0 * NAUTICAL_MILE,), (230.0 * KNOT,))
    told = corridor(edges_for(hot, one, ONE_BY_ONE, lambda _: None), one)
    all_kept(told)
    highest = told.values("highest")[:, 0, 0]
    assert np.isfinite(highest[-1])
    assert np.all(~(highest[0] > highest))
    assert np.all(~(highest > highest[-1]))


def test_in_35_kt_of_tailwind_idle_alone_is_not_enough_from_the_glide_path() -> None:
    """Common practice, no source: with this tailwind drag devices are needed from a three-degree path at 16 nm."""
    path = 50.0 * FOOT + found().marks.gradient * 16.0 * NAUTICAL_MILE
    idle, everything = found().values("highest")[[0, -1], 1, 1]
    assert not idle > path - 500.0 * FOOT
    assert everything > path + 500.0 * FOOT


def test_a_file_of_it_opens_as_it_was(tmp_path: Path) -> None:
    found().to_netcdf(tmp_path / "corridor.nc")
    again = Corridor.from_netcdf(tmp_path / "corridor.nc")
    assert again.dataset.equals(found().dataset)
    assert (again.mass, again.marks, again.provenance) == (found().mass, found().marks, found().provenance)
    found().to_csv(tmp_path / "corridor.csv")
    lines = (tmp_path / "corridor.csv").read_text(encoding="utf-8").splitlines()
    assert lines[1].startswith("# Training analysis")
    assert lines[2].startswith("devices,distance_nm,speed_kt,highest_ft,lowest_ft")
    assert len(lines) == 3 + 5 * 3 * 2


def test_a_file_of_another_kind_is_refused(tmp_path: Path) -> None:
    flown("three-to-one").to_netcdf(tmp_path / "flight.nc")
    with pytest.raises(InputFault, match="does not hold a corridor"):
        Corridor.from_netcdf(tmp_path / "flight.nc")


def test_json_has_every_point_with_its_units() -> None:
    points = corridor_plain(found())["points"]
    assert len(points) == 30
    first = points[0]
    assert (first["devices"], first["distance_nm"], first["speed_kt"]) == ("idle and schedule", 12.0, 200.0)
    assert set(first) > {"highest_ft", "lowest_ft", "excess_again_ft"}


def test_a_set_that_does_not_reach_the_gate_from_the_lowest_height_has_none_in_the_table() -> None:
    """The gate cannot be met with one set, and with another only from below the lowest height of all."""
    own = found().dataset
    highest = own["highest"].copy()
    highest[0], highest[1] = np.nan, float(own["lowest"].min()) - 1.0
    plain = corridor_plain(replace(found(), dataset=own.assign(highest=highest)))
    lows = {name: [one["lowest_ft"] for one in plain["points"] if one["devices"] == name] for name in found().devices}
    assert set(lows["idle and schedule"]) == set(lows["speed brake"]) == {None}
    told = [None if np.isnan(low) else round(low / FOOT) for low in own["lowest"].to_numpy().ravel()]
    assert lows["everything"] == told
    assert any(low is not None for low in told)


def test_what_cannot_be_asked_is_named() -> None:
    wrong = Grid((5.0 * NAUTICAL_MILE, 500.0 * NAUTICAL_MILE), (60.0 * KNOT, 500.0 * KNOT))
    with pytest.raises(InputFault) as caught:
        edges_for(scenario(), wrong, (SCHEDULE,), lambda _: None)
    told = str(caught.value)
    assert all(part in told for part in ("5 nm", "500 nm", "60 kt", "500 kt", "farthest capture", "160 nm, the start"))
    with pytest.raises(InputFault, match="is empty"):
        edges_for(scenario(), Grid((), ()), (SCHEDULE,), lambda _: None)


def test_the_usual_grid_is_one_that_can_be_asked() -> None:
    grid = usual_grid(scenario())
    assert len(grid.distances) == 20
    assert len(grid.speeds) == 5
    assert max(grid.distances) < scenario().start.distance


def test_a_stable_flight_needs_nothing_at_its_end() -> None:
    told = last_actions(edges(), flown("mile-per-ten-knots"))
    assert flown("mile-per-ten-knots").summary.gate.stable
    assert told.of("everything").is_kept
    with pytest.raises(KeyError):
        told.of("anchor")


def test_more_devices_are_of_use_for_longer() -> None:
    """A rule without corrections in a tailwind: the more is allowed, the later it still helps."""
    flight = flown("three-to-one-alone")
    assert not flight.summary.gate.stable
    told = last_actions(edges(), flight)
    assert not any(action.is_kept for action in told.actions)

    def until(name: str) -> float:
        action = told.of(name)
        return action.distance_to_go if action.is_of_use else np.inf

    for devices in ALL_SETS:
        for other in ALL_SETS:
            if devices.holds(other):
                assert until(devices.name) <= until(other.name) + 1e-6
    assert until("everything") < until("speed brake") - 0.5 * NAUTICAL_MILE


def test_last_useful_points_are_told_with_units() -> None:
    told = [last_actions(edges(), flown(name)) for name in ("mile-per-ten-knots", "three-to-one-alone")]
    rows = last_actions_plain(told[1])["last_useful"]
    late = next(row for row in rows if row["devices"] == "everything")
    assert f"{late['distance_nm']:.1f} nm to go" in late["sentence"]
    assert late["height_ft"] > 0
    table = last_actions_csv(told).splitlines()
    assert table[1].startswith("# Training analysis")
    assert table[2].startswith("flight,devices,of_use,enough_to_the_gate,distance_nm")
    lost = told[1].lost
    assert lost is not None
    before = told[1].of("everything")
    assert 0.0 < before.distance_to_go - lost.distance_to_go <= 0.5 * NAUTICAL_MILE
    assert lost.time > before.time
    assert "nothing saves it" in told[1].sentences[-1]
    assert len(table) == 3 + 16 + sum(one.lost is not None for one in told)
    assert table[-1].startswith(
        f"three-to-one-alone,nothing,False,False,{lost.distance_to_go / NAUTICAL_MILE:.2f}"[:-1]
    )
