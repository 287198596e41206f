"""Rules over conditions, against the same flights one by one."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr

from optdescent.cli.margins import say_over
from optdescent.inputs import InputFault, validated
from optdescent.margins.breaking import Breaking, drivers
from optdescent.margins.margins import DISTANCES
from optdescent.margins.met import asked_of, met
from optdescent.margins.over import margins_over
from optdescent.results.over_conditions import OverConditions, over_conditions_plain
from optdescent.rules import fly, read_rules
from optdescent.rules.fleet import Fleet
from optdescent.scenario import Conditions, ConditionsDeclaration, Scenario
from optdescent.sweep.question import Asked
from optdescent.units import FOOT, KNOT
from tests.scenario.files import STUDY

RULES = tuple(rule for rule in read_rules() if rule.name != "three-degrees")
CONDITIONS = """
[sampling]
kind = "sobol"
count = 64
seed = 5

[[axes]]
kind = "normal"
key = "added_tailwind_kt"
mean = 0.0
standard_deviation = 15.0

[[axes]]
kind = "range"
key = "start.mass_kg"
from = 54000.0
to = 66000.0

[[axes]]
kind = "values"
key = "handling.anti_ice.kind"
name = "anti_ice"
values = ["off", "on"]
"""
ONE_DRIVER = CONDITIONS[: CONDITIONS.index("[[axes]]", CONDITIONS.index("[[axes]]") + 1)]


def asked(folder: Path, text: str = CONDITIONS, *settings: str) -> Asked:
    path = folder / "conditions.toml"
    path.write_text(text, encoding="utf-8")
    return asked_of(STUDY, settings, path)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> OverConditions:
    return margins_over(met(asked(tmp_path_factory.mktemp("c")), RULES, "conditions.toml"), 0)


def test_each_case_is_the_flight_that_is_flown_alone(found: OverConditions, tmp_path: Path) -> None:
    own, selected = asked(tmp_path), 0
    for number in (0, 17, 40):
        scenario = own.scenario(own.conditions.levels(number))
        for rule in RULES:
            flight = fly(scenario, rule)
            summary, case = flight.summary, found.cases.sel(rule=rule.name, case=number)
            assert case["stable"].item() == float(summary.gate.stable)
            assert case["fuel"].item() == pytest.approx(summary.fuel, abs=1e-6)
            assert case["time"].item() == pytest.approx(summary.time, abs=1e-6)
            assert case["brake_distance"].item() == pytest.approx(summary.brake_distance, abs=1e-6)
            for device, what in (("gear", "gear"), ("landing_flaps", "landing")):
                taken = [one.distance_to_go for one in flight.actions if one.what == f"selects {what}"]
                place = case[f"{device}_distance"].item()
                assert [place] == pytest.approx(taken, abs=1e-6) if taken else np.isnan(place), (number, device)
                selected += len(taken)
            above = summary.gate.calibrated_airspeed - summary.gate.reference_speed
            assert case["gate_above_reference"].item() == pytest.approx(above, abs=1e-9)
            assert case["reason"].item() == "; ".join(summary.gate.reasons)
    assert selected > 6


def test_the_share_is_the_mean_of_the_cases_and_lies_in_its_interval(found: OverConditions) -> None:
    for name in found.table["rule"].to_numpy():
        row = found.table.sel(rule=name)
        share = float(found.cases["stable"].sel(rule=name).mean())
        assert row["stable_share"].item() == pytest.approx(share)
        assert row["stable_share_low"].item() < share + 1e-12
        assert row["stable_share_high"].item() > share - 1e-12


def test_the_interval_is_wilsons(found: OverConditions) -> None:
    """Wilson, Probable inference, JASA 22 (1927) 209-212 (published; the formula from memory), with z = 1.959964."""
    z, n = 1.959963985, 64.0
    for name in found.table["rule"].to_numpy():
        row = found.table.sel(rule=name)
        p = row["stable_share"].item()
        middle, half = p + z**2 / (2.0 * n), z * np.sqrt(p * (1.0 - p) / n + z**2 / (4.0 * n**2))
        assert row["stable_share_low"].item() == pytest.approx((middle - half) / (1.0 + z**2 / n), abs=1e-9)
        assert row["stable_share_high"].item() == pytest.approx((middle + half) / (1.0 + z**2 / n), abs=1e-9)


def test_the_tailwind_explains_what_it_explains(found: OverConditions) -> None:
    shares = found.table["energy_share"].sel(rule="three-to-one")
    assert float(shares.sel(driver="added_tailwind_kt")) > float(shares.sel(driver="mass_kg"))
    assert float(shares.sum()) < 1.2


def test_shares_are_those_of_a_curve_through_the_cases_and_the_remainder_is_what_it_leaves(
    found: OverConditions,
) -> None:
    """Energy fitted by least squares with a parabola in tailwind and in mass, and a step for anti-ice."""
    cases = found.cases.sel(rule="three-to-one")
    wind, mass = (cases[name].to_numpy().astype(float) for name in ("level_added_tailwind_kt", "level_mass_kg"))
    wind, mass, ice = (wind / 30.0, (mass - 60000.0) / 6000.0, (cases["level_anti_ice"] == "on").to_numpy() - 0.5)
    energy = cases["gate_energy"].to_numpy()

    def left(*terms: np.ndarray) -> float:
        given = np.column_stack([np.ones(energy.size), *terms])
        off = energy - given @ np.linalg.lstsq(given, energy)[0]
        return float(off @ off / np.sum((energy - energy.mean()) ** 2))

    row = found.table.sel(rule="three-to-one")
    shares = dict(zip(row["driver"].to_numpy(), row["energy_share"].to_numpy(), strict=True))
    assert shares["added_tailwind_kt"] == pytest.approx(1.0 - left(wind, wind**2), abs=0.12)
    assert shares["anti_ice"] == pytest.approx(1.0 - left(ice), abs=0.05)
    assert shares["mass_kg"] == pytest.approx(1.0 - left(mass), abs=0.05)
    assert row["energy_remainder"].item() == pytest.approx(left(wind, wind**2, mass, ice), abs=0.15)
    assert 0.1 < row["energy_remainder"].item() < 0.5
    assert row["energy_remainder_of"].item() == "drivers together"


def test_fuel_is_told_of_stable_flights_and_compared_over_the_same_conditions(found: OverConditions) -> None:
    """Of the 64 cases one rule misses 27, the other 6."""
    fuel, stable = (found.cases[name].to_numpy() for name in ("fuel", "stable"))
    both = (stable[0] > 0.5) & (stable[1] > 0.5)
    first, second = over_conditions_plain(found)["rules"]
    assert (first["stable_flights"], second["stable_flights"]) == (np.sum(stable[0]), np.sum(stable[1]))
    assert first["same_conditions"] == both.sum() < second["same_conditions"] < 64
    assert first["fuel_stable_mean_kg"] == pytest.approx(fuel[0][stable[0] > 0.5].mean(), abs=0.05)
    assert first["fuel_mean_kg"] - second["fuel_mean_kg"] == pytest.approx((fuel[0] - fuel[1])[both].mean(), abs=0.11)
    assert abs(first["fuel_mean_kg"] - fuel[0].mean()) > 1.0, "the mean with missed approaches is another"


def test_files_hold_the_table_and_the_cases(found: OverConditions, tmp_path: Path) -> None:
    found.to_csv(tmp_path / "c.csv")
    found.to_netcdf(tmp_path / "c.nc")
    text = (tmp_path / "c.csv").read_text(encoding="utf-8")
    assert "not for use in flight" in text
    assert "# conditions: 64" in text
    with xr.open_dataset(tmp_path / "c.nc") as dataset:
        assert dataset.sizes["case"] == 64
        assert dataset.attrs["caution"]
        assert dataset["fuel"].attrs["units"] == "kg"
        np.testing.assert_allclose(dataset["level_mass_kg"], found.cases["level_mass_kg"])
    again = over_conditions_plain(OverConditions.from_netcdf(tmp_path / "c.nc"))
    assert again == over_conditions_plain(found)


def leaves(table: dict[str, Any]) -> Iterator[object]:
    """What a table holds, in whatever tables within it."""
    for value in table.values():
        yield from leaves(value) if isinstance(value, dict) else (value,)


def test_a_row_of_the_csv_holds_all_that_json_tells_of_a_rule(found: OverConditions, tmp_path: Path) -> None:
    found.to_csv(tmp_path / "c.csv")
    lines = [line for line in (tmp_path / "c.csv").read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    for row, plain in zip(rows, over_conditions_plain(found)["rules"], strict=True):
        told = ["; ".join(one) if isinstance(one, list) else "" if one is None else str(one) for one in leaves(plain)]
        assert sorted(row.values()) == sorted(told)
        assert float(row["excess_energy_median_25_nm_ft"]) == plain["excess_energy_median_ft"]["25_nm"]
        assert float(row["miss_share_added_tailwind_kt"]) == plain["miss_share"]["added_tailwind_kt"]
        assert float(row["breaking_level_mass_kg"]) == plain["breaking_level"]["mass_kg"]
        assert row["levels_alone_anti_ice_tried"] == "2"


def test_what_is_printed_says_which_driver_explains_the_misses(
    found: OverConditions, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = over_conditions_plain(found)
    say_over({**plain, "figures_not_drawn": []})
    printed = capsys.readouterr().out
    for rule in plain["rules"]:
        wind, left = rule["miss_share"]["added_tailwind_kt"], rule["miss_remainder"]
        assert f"added_tailwind_kt {100.0 * wind:.0f} %" in printed
        assert f", drivers together {100.0 * left:.0f} %\n" in printed
        assert f"gear out at {rule['gear_distance_median_nm']:.1f} nm, landing flaps at " in printed


# what breaks a rule


def at_levels(own: Asked, levels: list[float]) -> Scenario:
    """The scenario at levels of tailwind [kt] and mass [kg], other axes as it has them."""
    axes = [
        {"kind": "values", "key": "added_tailwind_kt", "values": [0.0]},
        {"kind": "values", "key": "start.mass_kg", "values": [60000.0]},
    ]
    conditions = Conditions.of(validated(ConditionsDeclaration, {"axes": axes}, "x"), "x", key="")
    return Asked(own.data, own.name, own.folder, conditions).scenario(levels)


def told_tailwind(found: OverConditions, rule: str) -> float:
    """The added tailwind [kt] up to which a rule is said to hold."""
    told = re.match(r"holds up to (\d+) kt of added tailwind", found.table["breaking"].sel(rule=rule).item())
    assert told is not None
    return float(told.group(1))


def test_the_break_is_where_the_flight_turns_unstable(found: OverConditions, tmp_path: Path) -> None:
    own, rule = asked(tmp_path), RULES[0]
    row = found.table.sel(rule=rule.name)
    assert 0.0 < row["breaking_radius"].item() < 4.0
    assert row["disturbed_unit"].to_numpy().tolist() == ["kt", "kg"]
    middle = np.array([0.0, 60000.0])
    for share, stable in ((0.95, True), (1.0, False)):
        levels = middle + share * (row["breaking_level"].to_numpy() - middle)
        assert fly(at_levels(own, levels.tolist()), rule).summary.gate.stable is stable


def test_no_nearer_disturbance_breaks_it(found: OverConditions, tmp_path: Path) -> None:
    """Two dozen directions of wind and mass together, nine tenths of the way to the nearest break."""
    own, rule = asked(tmp_path), RULES[0]
    radius = found.table["breaking_radius"].sel(rule=rule.name).item()
    both = drivers(own)
    assert len(both) == 2
    cases = [
        at_levels(own, [one.middle + 0.9 * radius * share * one.spread for one, share in zip(both, way, strict=True)])
        for way in [(np.cos(angle), np.sin(angle)) for angle in np.arange(24) * np.pi / 12.0]
    ]
    assert np.all(Fleet(rule).judged(cases).stable)


def test_the_table_has_the_energy_room_and_thrust_of_the_flights(found: OverConditions, tmp_path: Path) -> None:
    own = asked(tmp_path)
    cases = [own.scenario(own.conditions.levels(number)) for number in range(64)]
    for rule in RULES:
        row, flights = found.table.sel(rule=rule.name), Fleet(rule).judged(cases, DISTANCES)
        gradient = np.tan(np.radians(3.0))
        for name, percentile in (("median", 50.0), ("high", 90.0)):
            expected = np.percentile(flights.excess, percentile, axis=1)
            assert row[f"excess_energy_{name}"].to_numpy() == pytest.approx(expected)
            assert row[f"excess_track_{name}"].to_numpy() == pytest.approx(expected / gradient)
        assert row["speed_room_low"].item() == pytest.approx(np.percentile(-flights.over_limit, 10.0))
        for name in ("thrust_distance", "thrust_fuel", "brake_distance"):
            assert row[f"{name}_mean"].item() == pytest.approx(np.mean(getattr(flights, name)))


def test_what_a_rule_is_said_to_hold_it_holds(found: OverConditions, tmp_path: Path) -> None:
    """The level told, rounded as it is told, is flown; a tenth of a spread more is not stable any longer."""
    own, rule = asked(tmp_path), RULES[0]
    knots = told_tailwind(found, rule.name)
    assert fly(at_levels(own, [knots, 60000.0]), rule).summary.gate.stable
    assert not fly(at_levels(own, [knots + 2.5, 60000.0]), rule).summary.gate.stable
    sentence = found.table["breaking"].sel(rule=rule.name).item()
    assert "breaks first at" in sentence
    assert sentence.endswith("at 60.0 t, anti-ice off")


def test_what_anti_ice_does_alone_is_flown_and_told(found: OverConditions, tmp_path: Path) -> None:
    own = asked(tmp_path)
    for rule in RULES:
        row = found.table.sel(rule=rule.name)
        breaks = [not fly(own.scenario([0.0, 60000.0, kind]), rule).summary.gate.stable for kind in ("off", "on")]
        assert row["tried_as"].to_numpy().tolist() == ["off", "on"]
        assert row["level_breaks"].to_numpy().tolist() == breaks
        assert row["levels_breaking"].item() == sum(breaks)
        words = "breaks with anti-ice on" if breaks[1] else "holds with anti-ice off and on"
        assert f"with the ordered drivers in the middle it {words}; at" in row["breaking"].item()
    assert len({float(found.table["levels_breaking"].sel(rule=rule.name).item()) for rule in RULES}) == 2


def test_a_rule_that_breaks_at_once_does_not_stop_the_search(tmp_path: Path) -> None:
    """A spread so wide that the first step of every ray is far beyond the border."""
    wide = ONE_DRIVER.replace("standard_deviation = 15.0", "standard_deviation = 400.0\nlowest = -60.0\nhighest = 60.0")
    broken = Breaking(asked(tmp_path, wide)).of(Fleet(RULES[0]))
    assert 0.0 < broken.radius < 0.25


def test_a_wind_that_the_crew_does_not_know_is_called_unforecast(tmp_path: Path) -> None:
    own = asked(tmp_path, ONE_DRIVER, "technique.wind=forecast")
    assert "unforecast" in Breaking(own).of(Fleet(RULES[0])).sentence


def test_a_rule_that_never_holds_says_so_and_why(tmp_path: Path) -> None:
    steep = next(rule for rule in read_rules() if rule.name == "three-degrees")
    broken = Breaking(asked(tmp_path)).of(Fleet(steep))
    assert broken.radius == 0.0
    assert broken.sentence.startswith("does not hold even without a disturbance")
    assert "too fast" in broken.sentence


# bad input


@pytest.mark.parametrize(
    ("old", "new", "key", "told"),
    [
        ("start.mass_kg", "start.mas_kg", "axes[1].key", "mas_kg"),
        ("to = 66000.0", "to = 20000.0", "axes[1]", "start.mass_kg: got"),
        ("count = 64", "count = 63", "sampling.count", "63"),
        ('kind = "sobol"', 'kind = "sobel"', "sampling.kind", "sobel"),
    ],
)
def test_a_wrong_condition_is_named(old: str, new: str, key: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(InputFault) as error:
        asked(tmp_path, CONDITIONS.replace(old, new))
    fault = error.value.faults[0]
    assert fault.file.endswith("conditions.toml")
    assert fault.key.startswith(key.removesuffix(".key"))
    assert told in f"{fault.key} {fault.given}"


def test_crews_that_all_fly_alike_are_refused(tmp_path: Path) -> None:
    text = CONDITIONS + '\n[[axes]]\nkind = "crews"\nmembers = 10\n'
    with pytest.raises(InputFault, match="all crews fly alike"):
        asked(tmp_path, text)
    asked(tmp_path, text, "technique.wind_error_kt=5")


def test_limits_of_many_are_those_of_one(tmp_path: Path) -> None:
    """With a hold-down that some of the flights do not hold closely enough."""
    hold = "arrival.hold_downs=[{altitude_ft=8000,from_nm=36,to_nm=22,allowance_ft=20}]"
    own = asked(tmp_path, CONDITIONS, hold)
    scenarios = [own.scenario(own.conditions.levels(number)) for number in range(0, 64, 12)]
    rule = next(rule for rule in read_rules("library") if rule.name == "300-with-allowances")
    many = Fleet(rule).judged(scenarios).limits_kept
    alone = [fly(scenario, rule).summary for scenario in scenarios]
    assert many.tolist() == [one.keeps_every_limit for one in alone]
    assert any(breach.demand.startswith("hold-down") for one in alone for breach in one.breaches)


def test_gate_energy_is_that_of_the_speed_told_as_too_fast(found: OverConditions) -> None:
    """Of 145 kt or more a knot too fast is 12 ft of height or more; a flight may be 75 ft off the path besides."""
    cases = found.cases.sel(rule=RULES[0].name)
    seen = 0
    for energy, reason in zip(cases["gate_energy"].to_numpy() / FOOT, cases["reason"].to_numpy(), strict=True):
        told = re.search(r"(\d+) kt too fast", str(reason))
        if told is None:
            assert energy < 75.0
            continue
        seen += 1
        over = float(told.group(1))
        slowest, fastest = (145.0 + 0.5 * over) * KNOT, (170.0 + 0.5 * over) * KNOT
        assert over * KNOT * slowest / 9.81 / FOOT - 85.0 < energy < over * KNOT * fastest / 9.81 / FOOT + 85.0
    assert seen > 10
