"""Floor, hold-downs, limits by distance, exact windows, several gates: what contradicts what, with the amount."""

from __future__ import annotations

from typing import Any

import pytest

from optdescent.arrival import Arrival, arrival_faults, floor_at, highest_floor
from optdescent.inputs import InputFault, validated, with_settings
from optdescent.units import FOOT, NAUTICAL_MILE
from tests.arrival.test_declaration import BASE, faults

FLOOR = "floor=[{distance_nm=60,altitude_ft=15000},{distance_nm=20,altitude_ft=5000},{distance_nm=10,altitude_ft=2500}]"
LEVEL = "hold_downs=[{altitude_ft=8000,from_nm=40,to_nm=30}]"


def arrival(*settings: str) -> Arrival:
    return validated(Arrival, with_settings(BASE, settings), "x")


def made(**tables: Any) -> dict[str, str]:
    found = arrival_faults(validated(Arrival, {**BASE, **tables}, "x"))
    return {key: f"{given}; {allowed}" for key, given, allowed in found}


@pytest.mark.parametrize(
    "settings",
    [
        ("windows[0].altitude_at_least_ft=16000",),
        (FLOOR,),
        (LEVEL,),
        (FLOOR, LEVEL, "hold_downs[0].altitude_ft=9000", "hold_downs[0].from_nm=32"),
        ('glide_path.capture="above"',),
        ("speed_limits=[{below_altitude_ft=10000,speed_kt=250},{within_nm=20,speed_kt=210}]",),
        ("more_gates=[{height_ft=500},{height_ft=1500,speed_over_kt=30}]",),
    ],
)
def test_demands_that_go_together_have_none(settings: tuple[str, ...]) -> None:
    assert faults(*settings) == {}


# windows


@pytest.mark.parametrize(("what", "unit", "value"), [("altitude", "ft", 18000), ("speed", "kt", 250)])
@pytest.mark.parametrize("bound", ["at_least", "at_most"])
def test_at_together_with_a_bound_is_named(what: str, unit: str, value: int, bound: str) -> None:
    window = {"name": "FAR", "distance_nm": 60.0, f"{what}_at_{unit}": value, f"{what}_{bound}_{unit}": value}
    message = made(windows=[window])[f"arrival.windows[0].{what}_at_{unit}"]
    assert f"at {value} {unit} and {bound.replace('_', ' ')} {value}" in message
    assert f"{what}_at_{unit} alone" in message


@pytest.mark.parametrize("far", [{"altitude_at_ft": 6000}, {"altitude_at_most_ft": 6000}])
@pytest.mark.parametrize("near", [{"altitude_at_ft": 7000}, {"altitude_at_least_ft": 7000}])
def test_exact_windows_need_no_climb_either(far: dict[str, int], near: dict[str, int]) -> None:
    windows = [{"name": "FAR", "distance_nm": 60.0, **far}, {"name": "NEAR", "distance_nm": 30.0, **near}]
    assert "these need 1000 ft" in made(windows=windows)["arrival.windows"]


def test_at_is_both_bounds_and_without_demands_a_window_is_free() -> None:
    exact, free = (
        arrival("windows=[]", f'windows=[{{name="A",distance_nm=9{more}}}]').windows[0]
        for more in (",altitude_at_ft=5000,speed_at_kt=200", "")
    )
    assert exact.lowest == exact.highest == pytest.approx(5000.0 * FOOT)
    assert exact.slowest == exact.fastest
    assert (free.lowest, free.highest, free.slowest, free.fastest) == (None,) * 4


# speed limits


@pytest.mark.parametrize(
    ("limit", "given"),
    [
        ({"speed_kt": 210}, "neither"),
        ({"speed_kt": 210, "below_altitude_ft": 9000, "within_nm": 20}, "both below_altitude_ft and within_nm"),
    ],
)
def test_a_limit_is_below_an_altitude_or_from_a_distance_on(limit: dict[str, int], given: str) -> None:
    message = made(speed_limits=[limit])["arrival.speed_limits[0]"]
    assert given in message
    assert "exactly one" in message


@pytest.mark.parametrize("limit", [{"within_nm": 30}, {"below_altitude_ft": 10001}])
def test_a_window_that_asks_for_more_speed_than_a_limit_allows(limit: dict[str, int]) -> None:
    windows = [{**BASE["windows"][1], "speed_at_least_kt": 230}]
    found = made(windows=windows, speed_limits=[{**limit, "speed_kt": 210}])
    assert "20 kt more" in found["arrival.speed_limits[0].speed_kt"]
    farther = made(windows=[{**windows[0], "distance_nm": 31.0}], speed_limits=[{"within_nm": 30, "speed_kt": 210}])
    assert farther == {}


# floor


def test_the_floor_is_straight_between_points_and_level_outside_in_any_order() -> None:
    for order in (1, -1):
        distances, altitudes = [60.0, 20.0][::order], [15000.0, 5000.0][::order]
        assert floor_at(distances, altitudes, [80.0, 60.0, 40.0, 20.0, 0.0]).tolist() == [
            15000.0,
            15000.0,
            10000.0,
            5000.0,
            5000.0,
        ]


def test_the_highest_floor_on_the_way_looks_ahead_but_not_beyond_the_capture() -> None:
    hill = (
        "floor=[{distance_nm=50,altitude_ft=6000},{distance_nm=20,altitude_ft=9000},{distance_nm=2,altitude_ft=9500}]"
    )
    assert highest_floor(arrival(hill), 50.0 * NAUTICAL_MILE) / FOOT == pytest.approx(9281.0, abs=3.0)  # at 9.9 nm
    assert highest_floor(arrival(FLOOR), 40.0 * NAUTICAL_MILE) / FOOT == pytest.approx(10000.0)


def test_a_floor_above_a_window_s_highest_altitude_is_named_with_the_amount() -> None:
    message = faults(
        "floor=[{distance_nm=60,altitude_ft=15000},{distance_nm=20,altitude_ft=12000},{distance_nm=10,altitude_ft=0}]"
    )["arrival.floor"]
    assert "2750 ft above the highest altitude of window 'NEAR', 10000 ft" in message  # 12 750 ft at 30 nm


def test_a_hill_after_a_window_counts_too() -> None:
    hill = (
        "floor=[{distance_nm=25,altitude_ft=5000},{distance_nm=20,altitude_ft=12000},{distance_nm=15,altitude_ft=3000}]"
    )
    assert "2000 ft above the highest altitude of window 'NEAR'" in faults(hill)["arrival.floor"]


def test_two_points_at_one_distance_are_named() -> None:
    assert (
        "60.0 nm"
        in faults("floor=[{distance_nm=60,altitude_ft=1},{distance_nm=60,altitude_ft=2}]")[
            "arrival.floor[1].distance_nm"
        ]
    )


def test_a_floor_above_the_glide_path_is_named() -> None:
    """At 9.26 nm to 8.64 nm the path has 3200 to 2800 ft; the floor, 4000 ft − 100 ft of elevation: 700 ft more."""
    message = faults("floor=[{distance_nm=20,altitude_ft=4000}]")["arrival.floor"]
    assert "700 ft or more above the glide path" in message


def test_a_floor_above_the_path_on_the_way_to_a_capture_from_below_is_named_and_from_above_is_not() -> None:
    """At 12 nm the path has 3871 ft; the floor 4400 − 100."""
    floor = "floor=[{distance_nm=12,altitude_ft=4400},{distance_nm=9.9,altitude_ft=2000}]"
    assert "429 ft above the glide path from 12.0 nm" in faults(floor)["arrival.floor"]
    assert faults(floor, 'glide_path.capture="above"') == {}


# hold-downs


@pytest.mark.parametrize(
    ("settings", "key", "words"),
    [
        (("hold_downs[0].from_nm=30",), "from_nm", "begins farther out than it ends"),
        (("hold_downs[0].altitude_ft=2000", "windows=[]"), "altitude_ft", "at least 2900 ft, the lowest capture"),
        (("hold_downs[0].to_nm=7",), "to_nm", "at least 8.6 nm"),
        (("hold_downs[0].to_nm=10",), "to_nm", "ft above the glide path"),
        ((FLOOR,), "altitude_ft", "2000 ft below the floor there or after it"),
        (("hold_downs[0].altitude_ft=6000",), "altitude_ft", "1000 ft below the lowest altitude of 'NEAR'"),
        (("hold_downs[0].altitude_ft=11000",), "altitude_ft", "1000 ft above the highest altitude of 'NEAR'"),
    ],
)
def test_each_fault_of_a_hold_down_names_its_key_and_the_amount(
    settings: tuple[str, ...], key: str, words: str
) -> None:
    assert words in faults(LEVEL, *settings)[f"arrival.hold_downs[0].{key}"]


@pytest.mark.parametrize(
    ("second", "key", "words"),
    [
        ({"altitude_ft": 7000, "from_nm": 35, "to_nm": 20}, "from_nm", "neither overlap nor touch"),
        ({"altitude_ft": 7000, "from_nm": 30, "to_nm": 20}, "from_nm", "neither overlap nor touch"),
        ({"altitude_ft": 8500, "from_nm": 25, "to_nm": 20}, "altitude_ft", "these need 500 ft"),
    ],
)
def test_two_hold_downs_neither_overlap_nor_climb(second: dict[str, float], key: str, words: str) -> None:
    first = {"altitude_ft": 8000, "from_nm": 40, "to_nm": 30}
    for order, index in (([first, second], 1), ([second, first], 0)):
        assert words in made(hold_downs=order)[f"arrival.hold_downs[{index}].{key}"]


# gates


@pytest.mark.parametrize(
    ("gate", "key", "words"),
    [
        ({"height_ft": 1000}, "height_ft", "two gates at 1000 ft"),
        ({"height_ft": 2900}, "height_ft", "capture from 2800 ft"),
        ({"height_ft": 500, "speed_above_reference_kt": 20}, "speed_above_reference_kt", "by 5 kt"),
        ({"height_ft": 500, "speed_above_reference_kt": 0, "speed_over_kt": 3}, "speed_over_kt", "at least + 5 kt"),
        ({"height_ft": 1500, "speed_above_reference_kt": 0, "speed_over_kt": 3}, "speed_over_kt", "at least + 5 kt"),
    ],
)
def test_gates_that_do_not_go_together_are_named(gate: dict[str, float], key: str, words: str) -> None:
    assert words in made(more_gates=[gate])[f"arrival.more_gates[0].{key}"]


def test_a_side_that_there_is_not_is_named() -> None:
    with pytest.raises(InputFault, match="'below' or 'above'"):
        arrival('glide_path.capture="sideways"')
