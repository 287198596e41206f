"""Rules asked of the cases of a sweep: what `fly` gives, whatever else becomes of the case."""

from __future__ import annotations

import json
import pickle
from collections.abc import Sequence

import numpy as np
import pytest

from optdescent.results.sweep import Status
from optdescent.rules import Rule, RulesQuestion, fly, read_rules
from optdescent.rules.fly import pilot_of
from optdescent.scenario import Conditions, ConditionsDeclaration
from optdescent.sweep.block import Answers, answer_block, case_of
from optdescent.sweep.plan import plan_of
from optdescent.sweep.question import (
    Asked,
    PreparedHere,
    Question,
    Together,
)
from optdescent.units import NAUTICAL_MILE
from tests.scenario.files import DATA, STUDY, scenario
from tests.sweep.toy import Broken, Never

RULES = read_rules()
THREE_TO_ONE, _, THREE_DEGREES = RULES
MASSES = (58000.0, 64000.0)


def asked(key: str = "start.mass_kg", levels: Sequence[object] = MASSES) -> Asked:
    axis = {"kind": "values", "key": key, "values": list(levels)}
    conditions = Conditions.of(ConditionsDeclaration.model_validate({"axes": [axis]}), "test")
    return Asked(DATA, "scenario.toml", STUDY.parent, conditions)


def answered(question: Question, of: Asked) -> Answers:
    """The one block of a small sweep."""
    plan = plan_of(of.conditions)
    (block,) = plan.blocks
    held = question.hold(question.prepare((case_of(of, 0),), PreparedHere(lambda _: None)))
    return answer_block(block, plan, of, question.layout(of), held)


KEPT, AT = ("altitude", "calibrated_airspeed"), (90.0 * NAUTICAL_MILE, 20.0 * NAUTICAL_MILE, 0.0)
QUESTION = RulesQuestion((THREE_TO_ONE, THREE_DEGREES), flights=KEPT, distances=AT)


@pytest.fixture(scope="module")
def found() -> Answers:
    return answered(QUESTION, asked())


def test_each_rule_answers_what_its_flight_says(found: Answers) -> None:
    arrays = found.arrays
    for number, mass in enumerate(MASSES):
        for index, rule in enumerate((THREE_TO_ONE, THREE_DEGREES)):
            flight = fly(scenario(f"start.mass_kg={mass}"), rule)
            summary, at = flight.summary, (number, index)
            for name in KEPT:
                along = np.interp(-np.array(AT), -flight.column("distance_to_go"), flight.column(name))
                assert arrays[f"rule_flown_{name}"][at].tolist() == along.tolist()
            assert arrays["rule_fuel"][at] == summary.fuel
            assert arrays["rule_time"][at] == summary.time
            assert arrays["rule_top_of_descent"][at] == summary.top_of_descent
            assert arrays["rule_thrust_fuel"][at] == summary.thrust_fuel
            assert arrays["rule_brake_distance"][at] == summary.brake_distance
            assert arrays["rule_gate_speed"][at] == summary.gate.calibrated_airspeed
            assert arrays["rule_gate_sink"][at] == summary.gate.sink
            assert arrays["rule_stable"][at] == summary.gate.stable
            assert arrays["rule_limits_kept"][at] == summary.keeps_every_limit
            sentences = [*summary.gate.reasons, *(breach.sentence for breach in summary.breaches)]
            assert arrays["rule_reasons"][at] == "; ".join(sentences)


def test_the_answers_tell_the_rules_apart(found: Answers) -> None:
    assert np.all(found.arrays["rule_fuel"][:, 0] > found.arrays["rule_fuel"][:, 1])
    assert found.arrays["rule_stable"].tolist() == [[1, 0], [1, 0]]
    assert all("too fast" in reasons for reasons in found.arrays["rule_reasons"][:, 1])


def test_the_rules_of_a_dataset_say_what_they_are() -> None:
    names, attributes = RulesQuestion(RULES).layout(asked()).coordinates["rule"]
    assert names.tolist() == [rule.name for rule in RULES]
    assert json.loads(attributes["titles"]) == [rule.title for rule in RULES]
    assert json.loads(attributes["sources"]) == [rule.source for rule in RULES]


def test_the_column_of_limits_says_which_are_judged() -> None:
    """Flights judged together leave out the brake's limits and what a crew's orders keep by themselves."""
    alone, together = (RulesQuestion(RULES, together=together).layout(asked()).columns for together in (False, True))
    assert [one.column.name for one in alone] == [one.column.name for one in together]
    words = [{one.column.name: one.column.long_name for one in columns} for columns in (alone, together)]
    assert words[0].pop("rule_limits_kept") == "every limit and demand kept by the rule"
    assert "every" not in words[1]["rule_limits_kept"]
    assert "sink rates, windows, hold-downs" in words[1].pop("rule_limits_kept")
    assert words[0] == words[1]


def test_a_question_travels_to_other_processes() -> None:
    assert pickle.loads(pickle.dumps(RulesQuestion(RULES))) == RulesQuestion(RULES)


def test_kept_flights_are_labelled_by_rule_and_distance() -> None:
    layout = QUESTION.layout(asked())
    kept = {own.name: own for own in layout.columns if own.dims == ("rule", "distance_to_go")}
    assert list(kept) == ["rule_flown_altitude", "rule_flown_calibrated_airspeed"]
    assert kept["rule_flown_altitude"].attributes()["units"] == "m"
    values, attributes = layout.coordinates["distance_to_go"]
    assert (tuple(values.tolist()), attributes["units"]) == (AT, "m")
    with pytest.raises(ValueError, match="taken at once"):
        RulesQuestion(RULES, together=True, flights=KEPT, distances=AT)


def test_rules_are_flown_where_no_descent_meets_the_demands() -> None:
    arrays = answered(Together((Never(), RulesQuestion((THREE_TO_ONE,)))), asked(levels=MASSES[:1])).arrays
    assert arrays["status"].tolist() == [Status.INFEASIBLE]
    assert arrays["reason"].tolist() == ["never"]
    assert arrays["rule_fuel"][0, 0] > 400.0


@pytest.mark.parametrize("first", [True, False])
def test_a_question_that_fails_takes_nothing_from_the_others(first: bool) -> None:
    rules = RulesQuestion((THREE_TO_ONE,))
    questions = (Broken(), rules) if first else (rules, Broken())
    arrays = answered(Together(questions), asked(levels=MASSES[:1])).arrays
    assert arrays["status"].tolist() == [Status.FAILED]
    assert arrays["reason"].tolist() == ["ZeroDivisionError: a defect"]
    assert arrays["rule_fuel"][0, 0] > 400.0


def test_a_rule_that_cannot_be_flown_loses_no_other_answer() -> None:
    broken = Rule.model_construct(name="broken", title="Of no profile", source="", profile=None, speeds=None)
    question = RulesQuestion((broken, THREE_TO_ONE), flights=("altitude",), distances=(400.0 * NAUTICAL_MILE, 0.0))
    arrays = answered(question, asked(levels=MASSES[:1])).arrays
    assert arrays["status"].tolist() == [Status.SOLVED]
    assert np.isnan(arrays["rule_fuel"][0, 0])
    assert arrays["rule_stable"].tolist() == [[-1, 1]]
    assert arrays["rule_reasons"][0, 0].startswith("could not be flown: ")
    assert arrays["rule_fuel"][0, 1] > 400.0
    # nor has it a flight, nor another one where it was not flown
    assert np.isfinite(arrays["rule_flown_altitude"][0]).tolist() == [[False, False], [False, True]]
    alone = answered(RulesQuestion((broken,), flights=("altitude",), distances=AT), asked(levels=MASSES[:1])).arrays
    assert alone["rule_flown_altitude"].shape == (1, 1, len(AT))
    assert np.isnan(alone["rule_flown_altitude"]).all()


@pytest.mark.parametrize(
    ("settings", "is_shared"),
    [
        (("start.mass_kg=50000",), True),
        (("air.temperature_offset_k=12", "air.qnh_hpa=990"), True),
        (("start.altitude_ft=31000", "start.mach=0.74"), True),
        (("air.wind.sounding=nashville-1999-05-04",), True),
        (("cost.time_kg_per_min=20",), True),
        (("arrival.windows[0].altitude_at_most_ft=21000",), False),
        (("air.temperature_sounding=nashville-1999-05-04",), False),
    ],
)
def test_a_compiled_step_serves_what_differs_only_in_numbers(settings: tuple[str, ...], is_shared: bool) -> None:
    own, other = pilot_of(scenario(), THREE_TO_ONE), pilot_of(scenario(*settings), THREE_TO_ONE)
    assert (own == other and hash(own) == hash(other)) is is_shared


def test_a_step_that_was_dropped_is_compiled_again(found: Answers, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("optdescent.rules.question._MOST_PILOTS", 1)
    again = answered(QUESTION, asked())
    assert all(np.array_equal(again.arrays[name], found.arrays[name]) for name in found.arrays)


def test_flights_taken_together_are_those_taken_alone(found: Answers) -> None:
    together = answered(RulesQuestion((THREE_TO_ONE, THREE_DEGREES), together=True), asked()).arrays
    for name in ("rule_fuel", "rule_time", "rule_top_of_descent", "rule_gate_speed", "rule_gate_sink"):
        assert together[name] == pytest.approx(found.arrays[name], rel=1e-9)
    assert together["rule_stable"].tolist() == found.arrays["rule_stable"].tolist()
    for mine, theirs in zip(together["rule_reasons"].ravel(), found.arrays["rule_reasons"].ravel(), strict=True):
        assert theirs.startswith(mine)  # beyond the gate a flight alone is told every breach


def test_a_case_that_is_no_scenario_does_not_keep_the_others_from_being_flown_together() -> None:
    question = RulesQuestion((THREE_TO_ONE,), together=True)
    arrays = answered(question, asked(levels=(58000.0, 1.0, 64000.0))).arrays
    assert arrays["status"].tolist() == [Status.SOLVED, Status.BAD_INPUT, Status.SOLVED]
    assert arrays["rule_stable"].ravel().tolist() == [1, -1, 1]
