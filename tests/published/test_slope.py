"""Decelerations on a slope against bands of the trade, and signs that every pilot of the class knows.

Bands: Flight Safety Foundation, ALAR briefing notes 4.2 and 7.2, from memory (as `motion.plausibility` has them; it
flies whole stretches, the chart says what holds at one speed). Signs: common practice, no source.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from optdescent.airframe import BUILT_IN, read_airframe
from optdescent.airframe.speeds import gear_speed, manoeuvre_speed
from optdescent.corridor import Slope, slope_chart
from optdescent.motion.plausibility import (
    KT_PER_NM,
    LEVEL_APPROACH,
    LEVEL_RUNNING_OUT,
    PATH_CLEAN,
    PATH_GEAR,
    plausibility,
)
from optdescent.results.plausibility import Standing
from optdescent.results.slope import SlopeChart
from optdescent.units import DEGREE, FOOT, KNOT

WINDS = (0.0, 40.0 * KNOT)


@cache
def chart(built_in: str, angle: float) -> SlopeChart:
    airframe = read_airframe(built_in)
    return slope_chart(airframe, Slope(angle * DEGREE, 2000.0 * FOOT, (airframe.masses.most_landing,), WINDS))


def slowing(found: SlopeChart, configuration: str, tailwind: int = 0) -> np.ndarray:
    """Fall of speed (speed,) [1/s] in still air (0) or in 40 kt of tailwind (1)."""
    return found.values("deceleration")[found.names("configuration").index(configuration), 0, tailwind]


@pytest.mark.parametrize("built_in", BUILT_IN)
def test_on_three_degrees_approach_flaps_and_gear_slow_by_10_to_20_kt_per_nm(built_in: str) -> None:
    """At every speed from the limit of the second step down to its manoeuvring speed."""
    own = slowing(chart(built_in, 3.0), "step 2, gear")
    assert PATH_GEAR[0] < np.nanmin(own)
    assert np.nanmax(own) < PATH_GEAR[1]


@pytest.mark.parametrize("built_in", BUILT_IN)
def test_on_three_degrees_a_clean_aircraft_slows_by_about_none(built_in: str) -> None:
    own = slowing(chart(built_in, 3.0), "clean")
    assert PATH_CLEAN[0] < np.nanmin(own)
    assert np.nanmax(own) < PATH_CLEAN[1]


@pytest.mark.parametrize("built_in", BUILT_IN)
def test_level_it_slows_as_the_plausibility_sheet_has_flown_it(built_in: str) -> None:
    """The mean of a stretch that the sheet flies lies between what the chart has at its ends.

    Of 10 to 15 kt/nm with approach flaps the sheet shows that no airframe can keep them together with the bands of
    lift over drag; the chart says the same of these: more. The 20 to 30 kt/nm of gear and flaps running out are kept.
    """
    airframe = read_airframe(built_in)
    lines = {one.what: one for one in plausibility(airframe).lines}
    flaps, rest = (
        lines[f"slowing in level flight, {what}"] for what in ("approach flaps", "gear and landing flaps running out")
    )
    found = chart(built_in, 0.0)
    own = slowing(found, "step 2")
    stretch = found.values("speed") >= float(gear_speed(airframe, airframe.masses.most_landing)) - 5.0 * KNOT
    inside = own[stretch & np.isfinite(own)]
    assert inside.size >= 4
    assert inside.min() - 0.2 * KT_PER_NM < flaps.value < inside.max() + 0.2 * KT_PER_NM
    assert flaps.standing is Standing.AT_ODDS
    assert LEVEL_APPROACH[1] < inside.min()
    assert inside.min() < rest.value < np.nanmax(slowing(found, "landing, gear"))
    assert LEVEL_RUNNING_OUT[0] < rest.value < LEVEL_RUNNING_OUT[1]


def test_in_a_strong_tailwind_slats_alone_do_not_slow_and_gear_with_flaps_in_still_air_does() -> None:
    """On 3 degrees at idle, near 240 kt of ground speed; clean it does not slow in either."""
    found = chart("narrow-body-twin", 3.0)
    speeds = found.charted("speed")
    near = (speeds >= 190.0) & (speeds <= 200.0)  # 2000 ft: 195 to 205 kt true, 235 to 245 kt over the ground
    assert np.all(slowing(found, "step 1", 1)[near] < 0.0)
    assert np.all(slowing(found, "step 2, gear")[near] > 10.0 * KT_PER_NM)
    for wind in (0, 1):
        clean = slowing(found, "clean", wind)
        assert np.nanmax(clean) < 0.0


@pytest.mark.parametrize("built_in", BUILT_IN)
def test_heavy_there_is_less_room_for_each_step(built_in: str) -> None:
    """Common practice, no source: the manoeuvring speed rises with mass, limit speeds do not."""
    airframe = read_airframe(built_in)
    room = chart(built_in, 3.0).values("room")
    assert np.all(room[:, -1] < 0.5 * room[:, 0])
    light, heavy = (float(manoeuvre_speed(airframe, 0, mass)) for mass in (airframe.masses.least, airframe.masses.most))
    assert room[0, 0] - room[0, -1] == pytest.approx(heavy - light)
