"""Slope chart: closed forms, the root and the integral each by another way, room by mass, files, bad input."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from optdescent.airframe import BUILT_IN, Airframe, read_airframe
from optdescent.airframe.speeds import GEAR, manoeuvre_speed
from optdescent.corridor import Slope, slope_chart, usual_slope
from optdescent.inputs import InputFault
from optdescent.motion.slowing import STEP, Slowing
from optdescent.results.slope import (
    SLOPE_COLUMNS,
    SlopeChart,
    decelerations_plain,
    room_plain,
    slope_dataset,
    slope_plain,
    stretches_plain,
)
from optdescent.units import DEGREE, FOOT, GRAVITY, KNOT, NAUTICAL_MILE
from tests.simulation import glider

NARROW = read_airframe("narrow-body-twin")
TEXTBOOK = glider(122.0, 0.020, 0.045)
MASS = 60000.0
LEVEL = Slope(0.0, 0.0, (MASS,), (0.0, 40.0 * KNOT))
THREE = Slope(3.0 * DEGREE, 2000.0 * FOOT, (66000.0,), (0.0, 40.0 * KNOT))
DENSITY = 1.225


@cache
def chart(airframe: Airframe = NARROW, slope: Slope = THREE) -> SlopeChart:
    return slope_chart(airframe, slope)


def at(found: SlopeChart, name: str) -> int:
    return found.names("configuration").index(name)


def test_level_deceleration_is_drag_over_mass_and_ground_speed() -> None:
    """By hand at sea level, where calibrated airspeed is true airspeed: dV/dx = D/(m (V + W))."""
    found = chart(TEXTBOOK, LEVEL)
    speed = found.values("speed")
    pressure_area = 0.5 * DENSITY * speed**2 * 122.0
    drag = pressure_area * (0.020 + 0.045 * (MASS * GRAVITY / pressure_area) ** 2)
    for index, wind in enumerate(LEVEL.tailwinds):
        own = found.values("deceleration")[at(found, "clean"), 0, index]
        flown = np.isfinite(own)
        assert np.count_nonzero(flown) > 5
        assert own[flown] == pytest.approx((drag / MASS / (speed + wind))[flown], rel=1e-4)


def test_the_stretch_between_limit_speeds_is_the_level_deceleration_of_the_textbook() -> None:
    """Parabolic polar, no thrust: s = ln[(aV₁⁴+b)/(aV₂⁴+b)]/(4ga) (Hull 2007, level deceleration), 250 to 228 kt."""
    found = chart(TEXTBOOK, LEVEL)
    a = DENSITY * 122.0 * 0.020 / (2.0 * MASS * GRAVITY)
    b = 2.0 * 0.045 * MASS * GRAVITY / (DENSITY * 122.0)
    fast, slow = 250.0 * KNOT, 228.0 * KNOT
    length = math.log((a * fast**4 + b) / (a * slow**4 + b)) / (4.0 * GRAVITY * a)
    own = at(found, "clean")
    assert found.charted("stretch_from")[own] == pytest.approx(250.0)
    assert found.charted("stretch_to")[own] == pytest.approx(228.0)
    assert found.values("stretch_distance")[own, 0, 0] == pytest.approx(length, rel=2e-4)
    assert found.values("stretch_height")[own, 0, 0] == 0.0


@pytest.mark.parametrize(("name", "out"), [("step 1, gear", (1, GEAR)), ("step 2", (1, 2)), ("step 3", (1, 2, 3))])
def test_a_stretch_is_as_long_as_when_it_is_flown_in_steps(name: str, out: tuple[int, ...]) -> None:
    """Integrated over speed here, over distance there, in still air: within one step, that of the last is not cut."""
    found = chart()
    own = at(found, name)
    begin, end = found.values("stretch_from")[own], found.values("stretch_to")[own]
    flown = Slowing(NARROW, 66000.0, 2000.0 * FOOT, begin, math.tan(3.0 * DEGREE), out)
    distance, _ = flown.until(lambda _flown, speed, _out: speed <= end)
    assert found.values("stretch_distance")[own, 0, 0] == pytest.approx(distance - 0.5 * STEP, abs=0.55 * STEP)
    assert found.values("stretch_height")[own, 0, 0] == pytest.approx(
        found.values("stretch_distance")[own, 0, 0] * math.tan(3.0 * DEGREE)
    )


def test_by_height_is_by_distance_over_the_gradient() -> None:
    found = chart()
    by_distance, by_height = found.charted("deceleration"), found.charted("deceleration_by_height")
    feet_per_mile = NAUTICAL_MILE * math.tan(3.0 * DEGREE) / FOOT
    assert by_height == pytest.approx(by_distance / feet_per_mile * 1000.0, nan_ok=True)


def test_slowing_ends_in_the_wind_that_is_said() -> None:
    """In that wind the speed stays, to 0.01 kt/nm; in 1 kt less it falls, in 1 kt more it rises."""
    stop = chart().values("stop_tailwind")[:, 0]
    places = [tuple(place) for place in np.argwhere(np.isfinite(stop))[::4]]
    assert len(places) >= 4
    winds = [float(stop[place]) + offset for place in places for offset in (-KNOT, 0.0, KNOT)]
    there = slope_chart(NARROW, replace(THREE, tailwinds=tuple(winds)))
    which = [int(np.argmin(np.abs(there.values("tailwind") - wind))) for wind in winds]
    for index, (own, speed) in enumerate(places):
        less, same, more = there.charted("deceleration")[own, 0, which[3 * index : 3 * index + 3], speed]
        assert abs(same) < 0.01
        assert less > 0.02
        assert more < -0.02


def test_no_wind_is_said_where_slowing_ends_in_none() -> None:
    found = chart()
    assert np.isnan(found.values("stop_tailwind")[at(found, "landing, gear")]).all()
    assert np.isnan(found.values("stop_tailwind")[at(found, "clean, speed brake")]).all()
    assert (found.charted("stop_tailwind")[at(found, "clean"), 0, -3:] < 0.0).all()


@pytest.mark.parametrize("built_in", BUILT_IN)
def test_more_drag_slows_more_and_tailwind_and_a_steeper_path_slow_less(built_in: str) -> None:
    airframe = read_airframe(built_in)
    usual = usual_slope(airframe)
    found, steep = chart(airframe, usual), chart(airframe, replace(usual, angle=3.5 * DEGREE))
    slowing = found.values("deceleration")
    table = np.array([found.values(name) for name in ("flaps", "gear", "speed_brake")]).T
    compared = 0
    for less, own in enumerate(table):
        for more, other in enumerate(table):
            difference = slowing[more] - slowing[less]
            if np.all(other >= own) and more != less and np.isfinite(difference).any():
                assert np.nanmin(difference) > 0.0
                compared += 1
    assert compared > 20
    # a steeper way down through the air outweighs the shorter time on each mile, and the other way round where it slows
    assert np.nanmax(steep.values("deceleration") - slowing) < 0.0
    slows = np.all(slowing > 0.0, axis=2)
    assert np.nanmax(np.where(slows, np.diff(slowing, axis=2).max(axis=2), np.nan)) < 0.0


def test_only_what_is_flown_has_a_number() -> None:
    found = chart()
    speed, slowing = found.values("speed"), found.values("deceleration")[:, 0, 0]
    for name, step, most in (
        ("clean", 0, 250.0),
        ("clean, gear", 0, 240.0),
        ("step 2", 2, 204.0),
        ("landing", 4, 176.0),
    ):
        flown = speed[np.isfinite(slowing[at(found, name)])]
        least = float(manoeuvre_speed(NARROW, step, 66000.0))
        assert least - 1e-6 <= flown.min() < least + 5.0 * KNOT
        assert (most - 5.0) * KNOT < flown.max() <= most * KNOT + 1e-6
    assert "step 3, speed brake" not in found.names("configuration")


def test_a_configuration_that_does_not_slow_has_no_distance() -> None:
    found = chart()
    distance = found.values("stretch_distance")[:, 0]
    assert np.isnan(distance[at(found, "clean")]).all()
    assert np.isfinite(distance[at(found, "step 2"), 0])
    assert np.isnan(distance[at(found, "step 2"), 1]) or distance[at(found, "step 2"), 1] > 10.0 * NAUTICAL_MILE
    assert np.isnan(distance[at(found, "landing, gear")]).all()


@pytest.mark.parametrize("built_in", BUILT_IN)
def test_the_room_shrinks_with_mass(built_in: str) -> None:
    airframe = read_airframe(built_in)
    found = chart(airframe, usual_slope(airframe))
    room, mass = found.values("room"), found.values("room_mass")
    assert np.all(np.diff(room, axis=1) < 0.0)
    for step, values in enumerate(room):
        limit = airframe.steps[step + 1].limit_speed
        assert limit is not None
        least = [float(manoeuvre_speed(airframe, step, one)) for one in mass]
        assert values == pytest.approx(limit - np.array(least))


def test_still_air_is_among_the_winds_and_masses_are_in_order() -> None:
    found = chart(NARROW, replace(THREE, masses=(66000.0, 50000.0, 66000.0), tailwinds=(30.0 * KNOT,)))
    assert found.charted("tailwind") == pytest.approx([0.0, 30.0])
    assert found.values("mass").tolist() == [50000.0, 66000.0]


def test_what_cannot_be_asked_is_named() -> None:
    with pytest.raises(InputFault) as caught:
        slope_chart(NARROW, Slope(9.0 * DEGREE, -1.0, (10000.0,), (float("nan"), 90.0 * KNOT)))
    told = str(caught.value).splitlines()
    assert len(told) == 5
    assert "angle_deg: got 9; allowed: 0 to 7 deg" in told[0]
    assert "allowed: 42000 to 76000 kg (Fictional narrow-body twin" in told[2]
    assert "tailwind_kt: got nan" in told[3]
    with pytest.raises(InputFault, match="at least one mass"):
        slope_chart(NARROW, replace(THREE, masses=()))


def test_the_chart_is_read_back_as_it_was_written(tmp_path: Path) -> None:
    found = chart()
    found.to_netcdf(tmp_path / "slope.nc")
    again = SlopeChart.from_netcdf(tmp_path / "slope.nc")
    assert again.provenance == found.provenance
    assert (again.angle, again.altitude) == (found.angle, found.altitude)
    for name in SLOPE_COLUMNS:
        assert np.array_equal(again.values(name), found.values(name), equal_nan=True)
        assert again.dataset[name].attrs["units"] == SLOPE_COLUMNS[name].unit
    assert again.names("configuration") == found.names("configuration")
    assert "3 deg" in repr(again)
    with pytest.raises(InputFault, match="a slope chart written by this package"):
        SlopeChart.from_netcdf(tmp_path / "absent.nc")


def test_rows_carry_their_units_and_only_what_is_known(tmp_path: Path) -> None:
    found = chart()
    plain = slope_plain(found)
    assert plain["angle_deg"] == 3.0
    assert len(decelerations_plain(found)) == np.count_nonzero(np.isfinite(found.values("deceleration")))
    first = plain["decelerations"][0]
    assert {"mass_kg", "tailwind_kt", "speed_kt", "deceleration_kt_per_nm", "stop_tailwind_kt"} < set(first)
    rows = [row for row in stretches_plain(found) if row["configuration"] == "step 2, gear" and not row["tailwind_kt"]]
    assert rows[0]["from_kt"] == 204.0
    assert rows[0]["to_kt"] == 188.0
    assert rows[0]["height_ft"] == pytest.approx(rows[0]["distance_nm"] * 318.4, rel=0.01)
    assert len(room_plain(found)) == found.values("room").size
    found.to_csv(tmp_path / "slope.csv")
    lines = (tmp_path / "slope.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("# Fictional narrow-body twin")
    assert lines[3].startswith("configuration,flaps,gear,speed_brake,mass_kg")
    assert len(lines) == 4 + len(plain["decelerations"])


def test_a_dataset_keeps_to_the_schema() -> None:
    with pytest.raises(ValueError, match="names differ from the schema"):
        slope_dataset({"deceleration": [1.0]}, {})
