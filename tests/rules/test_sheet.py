"""A rule worked out without flying it, against what is worked out by hand and what is flown."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from optdescent.airframe.speeds import reference_speed
from optdescent.inputs import validated
from optdescent.results.rule_sheet import RuleSheet
from optdescent.rules import Rule, fly, read_rules
from optdescent.rules.parts import RuleFile
from optdescent.rules.sheet import WINDS, rule_sheet, usual_scenario
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY

RULES = {rule.name: rule for rule in read_rules("library")}
STILL, TAIL, HEAD = range(3)
SPEEDS = {"descent_kt": 280.0, "by": [{"distance_nm": 20.0, "speed": "minimum clean"}]}


@cache
def sheet(name: str) -> RuleSheet:
    return rule_sheet(RULES[name])


def made(*terms: dict[str, object]) -> Rule:
    """Three miles per thousand feet and terms."""
    profile = {"kind": "distance", "terms": [{"kind": "height_to_lose", "distance_nm": 3.0}, *terms]}
    rule = {"name": "x", "title": "x", "source": "x", "profile": profile, "speeds": SPEEDS}
    return validated(RuleFile, {"rules": [rule]}, "x").rules[0]


def at(found: RuleSheet, name: str, distance: float, wind: int = STILL) -> float:
    """A number of a sheet at a distance to go [nm], in the unit of charts."""
    return float(np.interp(distance, found.charted("distance_to_go"), found.charted(name)[wind]))


def test_three_to_one_with_its_corrections_by_hand() -> None:
    """40 nm and 250 kt: (40 − (250 − approach)/10) / 3 thousand feet; 40 kt of tailwind are 4 nm."""
    scenario = usual_scenario()
    approach = float(reference_speed(scenario.airframe, 60000.0)) / KNOT + 5.0
    expected = (40.0 - (250.0 - approach) / 10.0) / 3.0 * 1000.0
    found = sheet("three-to-one")
    assert at(found, "planned_speed", 40.0) == pytest.approx(250.0)
    assert at(found, "height_to_have", 40.0) == pytest.approx(expected, abs=1.0)
    assert at(found, "height_to_have", 30.0, TAIL) == pytest.approx((30.0 - 4.0 - 12.0) / 3.0 * 1000.0, abs=40.0)
    starts = found.charted("start_down")
    assert starts[TAIL] - starts[STILL] == pytest.approx(4.0, abs=1e-6)
    assert starts[STILL] - starts[HEAD] == pytest.approx(4.0, abs=1e-6)


@pytest.mark.parametrize("name", RULES)
def test_heights_never_rise_towards_the_threshold_but_by_an_allowance_and_stay_below_the_cruise(name: str) -> None:
    heights = sheet(name).charted("height_to_have")
    known = np.nan_to_num(heights)
    assert known.max() <= 35000.0 + 1e-6
    assert np.nanmin(heights) >= 0.0
    steps = np.diff(known, axis=1)
    largest = 600.0 if RULES[name].profile.kind == "height" else 1e-3
    assert steps.min() >= -largest


def test_the_figures_of_300_ft_per_mile_with_allowances() -> None:
    found = sheet("300-with-allowances")
    heights = [at(found, "height_to_have", distance) for distance in (25.0, 20.0, 15.0, 10.0)]
    assert heights == pytest.approx([6500.0, 5500.0, 4500.0, 3000.0], abs=1.0)
    assert found.charted("start_down")[STILL] == pytest.approx((35000.0 + 1000.0) / 300.0, abs=0.1)


def test_a_sink_rate_rule_goes_down_by_its_sink_rate_from_where_the_profile_starts() -> None:
    found = sheet("five-times-ground-speed")
    start = float(found.charted("start_down")[STILL])
    assert at(found, "height_to_have", 40.0) == pytest.approx(35000.0 - 300.0 * (start - 40.0), abs=1.0)
    assert at(found, "sink_rate", 40.0, TAIL) - at(found, "sink_rate", 40.0) == pytest.approx(5.0 * 40.0, abs=0.5)
    rounded = sheet("half-ground-speed").worked("sink_rate")
    assert rounded == pytest.approx(100.0 * np.round(rounded / 100.0))


def test_a_rule_without_a_sink_rate_sets_none() -> None:
    assert not sheet("three-to-one").sets_sink_rate
    assert sheet("half-ground-speed").sets_sink_rate


def test_a_sheet_asks_for_what_a_flight_of_the_rule_is_asked_for() -> None:
    """On the way down in still air without windows, above the glide path."""
    scenario = Scenario.from_toml(STUDY, ("air.wind.kind=none", "arrival.windows=[]"))
    for name in ("three-to-one", "three-degrees", "9000-at-30"):
        flight, found = fly(scenario, RULES[name]), rule_sheet(RULES[name], scenario)
        for distance in (100.0, 60.0, 40.0):
            x = -flight.column("distance_to_go") / NAUTICAL_MILE
            asked = float(np.interp(-distance, x, flight.column("rule_height"))) / FOOT
            planned = float(np.interp(-distance, x, flight.column("rule_speed"))) / KNOT
            assert at(found, "height_to_have", distance) == pytest.approx(asked, abs=150.0)
            assert at(found, "planned_speed", distance) == pytest.approx(planned, abs=3.0)


def test_mass_temperature_and_devices_count_as_the_scenario_and_the_schedule_have_them() -> None:
    def height(rule: Rule, distance: float, *settings: str) -> float:
        scenario = Scenario.from_toml(STUDY, ("arrival.windows=[]", *settings))
        return at(rule_sheet(rule, scenario), "height_to_have", distance)

    heavy = made({"kind": "mass_above", "distance_nm": 3.0, "reference_t": 60.0, "per_mass_t": 2.0})
    assert height(heavy, 60.0, "start.mass_kg=60000") == pytest.approx(20000.0, abs=1.0)
    assert height(heavy, 60.0, "start.mass_kg=62000") == pytest.approx(19000.0, abs=1.0)
    warm = made({"kind": "temperature_offset", "distance_nm": 3.0})
    assert height(warm, 60.0, "air.temperature_offset_k=20") == pytest.approx(18000.0, abs=1.0)
    iced = made({"kind": "anti_ice", "distance_nm": 6.0})
    assert height(iced, 60.0, "handling.anti_ice.kind=on") == pytest.approx(18000.0, abs=1.0)
    assert height(iced, 60.0) == pytest.approx(20000.0, abs=1.0)
    stepped = made({"kind": "steps_out", "distance_nm": -3.0})
    assert height(stepped, 30.0) == pytest.approx(10000.0, abs=1.0), "clean at 250 kt"


def test_the_wind_of_a_band_counts_until_it_is_passed() -> None:
    band = {"above_height_ft": 15000.0, "below_height_ft": 20000.0}
    found = rule_sheet(made({"kind": "tailwind", "distance_nm": 1.0, **band}))
    assert at(found, "height_to_have", 70.0, TAIL) == pytest.approx((70.0 - 4.0) / 3.0 * 1000.0, abs=1.0)
    assert at(found, "height_to_have", 40.0, TAIL) == pytest.approx(40.0 / 3.0 * 1000.0, abs=1.0)


def test_the_scenario_s_wind_is_not_used_and_its_digest_is_kept() -> None:
    jet = Scenario.from_toml(STUDY)
    still = Scenario.from_toml(STUDY, ("air.wind.kind=none",))
    one, other = (rule_sheet(RULES["three-to-one"], scenario) for scenario in (jet, still))
    np.testing.assert_array_equal(one.charted("height_to_have"), other.charted("height_to_have"))
    assert one.provenance.scenario_digest == jet.digest
    assert one.winds == tuple(WINDS)


def test_a_start_farther_out_than_the_sheet_is_not_a_number() -> None:
    far = made({"kind": "always", "distance_nm": 60.0}, {"kind": "always", "distance_nm": 60.0},
               {"kind": "always", "distance_nm": 60.0})  # fmt: skip
    found = rule_sheet(far)
    assert np.isnan(found.charted("start_down")).all()


def test_the_words_title_and_source_are_the_rule_s() -> None:
    found = sheet("brake-kept")
    assert (found.name, found.title, found.source) == (
        "brake-kept",
        RULES["brake-kept"].title,
        RULES["brake-kept"].source,
    )
    assert found.note == RULES["brake-kept"].note != ""
    assert "from 25 nm on: speed brake when 1000 ft high, kept until nothing is left" in found.sentences
