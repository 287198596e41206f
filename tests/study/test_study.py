"""A study file: what is read from it, what is wrong with it, and what a resumed sweep compares."""

from __future__ import annotations

import json
import pickle
import re
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from optdescent.corridor import CorridorQuestion
from optdescent.inputs import Fault, InputFault
from optdescent.optimum.question import OptimumQuestion
from optdescent.results import CAUTION
from optdescent.rules import RulesQuestion
from optdescent.rules.fleet import AT_A_TIME
from optdescent.scenario.declared_axes import AxisDeclaration
from optdescent.study import KEPT, Study
from optdescent.sweep.plan import MOST_CASES
from optdescent.sweep.question import Together
from optdescent.units import KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY as SCENARIO
from tests.study.files import MASSES, TAILWINDS, WIND_STUDY, write_study

AXIS = "[[conditions.axes]]\n"
ROOT = SCENARIO.parents[2]
SOUNDING = ROOT / "optdescent" / "air" / "wind" / "data" / "nashville-2014-02-21.csv"


def values(key: str, levels: str) -> str:
    return f"{AXIS}kind = 'values'\nkey = '{key}'\nvalues = {levels}\n"


def span(key: str, first: float, last: float, count: int = 3) -> str:
    return f"{AXIS}kind = 'range'\nkey = '{key}'\nfrom = {first}\nto = {last}\ncount = {count}\n"


def faults(path: Path, *settings: str) -> list[Fault]:
    with pytest.raises(InputFault) as caught:
        Study.from_toml(path, settings)
    return list(caught.value.faults)


def fault(path: Path, *settings: str) -> Fault:
    (only,) = faults(path, *settings)
    return only


def test_the_study_of_the_package_is_read() -> None:
    study = Study.from_toml(WIND_STUDY)
    assert [axis.name for axis in study.plan.conditions.axes] == [
        "added_tailwind_kt",
        "mass_kg",
        "temperature_offset_k",
    ]
    assert study.plan.conditions.size == 84
    assert study.scenario.start.mass == 62000.0
    assert study.question == OptimumQuestion(1e-4, True, (), (), 10)


def test_the_study_of_the_readme_is_valid(tmp_path: Path) -> None:
    (text,) = re.findall(
        r"<!-- study -->\n```toml\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL
    )
    path = tmp_path / "study.toml"
    path.write_text(text.replace("studies/first_descent", str(SCENARIO.parent)), encoding="utf-8")
    study = Study.from_toml(path)
    assert study.plan.shape == (7, 5)
    assert study.scenario.start.distance == pytest.approx(150.0 * NAUTICAL_MILE)
    assert len(study.rules) == 1


def test_paths_are_relative_to_the_study(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    (tmp_path / "a" / "base.toml").write_text(SCENARIO.read_text(encoding="utf-8"), encoding="utf-8")
    rules = (SCENARIO.parent / "rules.toml").read_text(encoding="utf-8")
    (tmp_path / "b" / "own.toml").write_text(rules, encoding="utf-8")
    path = write_study(tmp_path / "b", rest="[compute]\nrules = 'own.toml'\n", scenario=Path("../a/base.toml"))
    study = Study.from_toml(path)
    assert study.asked.folder == tmp_path / "a"
    assert len(study.rules) == 3


def test_settings_of_the_study_come_before_those_of_the_command_line(tmp_path: Path) -> None:
    path = write_study(tmp_path, top="set = ['start.distance_nm=150', 'air.qnh_hpa=1000', 'air.wind.kind=none']\n")
    study = Study.from_toml(path, ["start.distance_nm=140", "conditions.axes[0].values=[61000, 62000, 63000]"])
    assert study.scenario.start.distance == pytest.approx(140.0 * NAUTICAL_MILE)
    assert study.scenario.qnh == pytest.approx(100000.0)
    assert study.asked.data["air"]["wind"] == {"kind": "none"}
    assert study.plan.shape == (3,)


def test_each_case_is_the_scenario_with_its_levels(tmp_path: Path) -> None:
    study = Study.from_toml(write_study(tmp_path, axes=MASSES + TAILWINDS))
    conditions = study.asked.conditions
    scenarios = [study.asked.scenario(conditions.levels(number)) for number in range(conditions.size)]
    assert [scenario.start.mass for scenario in scenarios] == [60000.0, 60000.0, 62000.0, 62000.0]
    assert len({scenario.digest for scenario in scenarios}) == 4


def test_a_sample_is_numbered_alike_in_the_plan_and_in_what_is_asked(tmp_path: Path) -> None:
    sampling = "[conditions.sampling]\nkind = 'latin-hypercube'\ncount = 100\nseed = 4\n"
    sweep = Study.from_toml(write_study(tmp_path, axes=MASSES + TAILWINDS, rest=sampling)).sweep()
    assert sweep.asked.conditions is sweep.plan.conditions
    assert sweep.plan.conditions.draw is not None
    assert sorted(sweep.plan.conditions.draw.tolist()) == list(range(100))
    assert np.any(np.diff(sweep.plan.conditions.draw) < 0)


def test_rules_are_asked_beside_the_optimum(tmp_path: Path) -> None:
    rest = "[compute]\nlocal_error = 1e-3\nslopes = false\nrefly_one_in = 0\nrules = 'three_rules'\n"
    study = Study.from_toml(write_study(tmp_path, rest=rest + "rule_names = ['three-degrees', 'three-to-one']\n"))
    assert isinstance(study.question, Together)
    optimum, rules = study.question.questions
    assert optimum == OptimumQuestion(1e-3, False, (), (), 0)
    assert isinstance(rules, RulesQuestion)
    assert [rule.name for rule in rules.rules] == ["three-to-one", "three-degrees"]


CORRIDOR = "[compute.corridor]\ndistances_nm = [20, 12]\nspeeds_kt = [210, 210, 250]\n"


def test_a_corridor_is_asked_beside_the_rest_or_alone(tmp_path: Path) -> None:
    study = Study.from_toml(write_study(tmp_path, rest=f"[compute]\nrules = 'three_rules'\n{CORRIDOR}"))
    assert isinstance(study.question, Together)
    *others, asked = study.question.questions
    assert [type(one) for one in others] == [OptimumQuestion, RulesQuestion]
    assert isinstance(asked, CorridorQuestion)
    assert np.array(asked.grid.distances) / NAUTICAL_MILE == pytest.approx([12.0, 20.0])
    assert np.array(asked.grid.speeds) / KNOT == pytest.approx([210.0, 250.0])
    alone = Study.from_toml(write_study(tmp_path, rest=f"[compute]\noptimum = false\n{CORRIDOR}"))
    assert alone.question == asked
    (lowest,) = (own for own in asked.layout(alone.asked).columns if own.name == "corridor_lowest")
    assert lowest.dims == ("corridor_distance", "corridor_speed")


def test_a_study_without_a_corridor_is_the_same_as_before_there_was_one(tmp_path: Path) -> None:
    without = json.loads(Study.from_toml(write_study(tmp_path)).text)
    assert "corridor" not in without["compute"]
    held = json.loads(Study.from_toml(write_study(tmp_path, rest=CORRIDOR)).text)
    assert held["compute"]["corridor"] == {"distances_nm": [20, 12], "speeds_kt": [210, 210, 250]}
    del held["compute"]["corridor"]
    assert held == without


def test_points_that_a_scenario_cannot_have_are_named(tmp_path: Path) -> None:
    rest = "[compute.corridor]\ndistances_nm = [2, 155]\nspeeds_kt = [90, 210]\n"
    path = write_study(tmp_path, axes=span("start.distance_nm", 150, 164), rest=rest)
    near, far, slow = faults(path)
    assert (near.key, near.given) == ("compute.corridor.distances_nm", "got 2 nm")
    assert "the farthest capture of the glide path" in near.allowed
    assert (far.given, far.allowed[-20:]) == ("got 155 nm", "to 150 nm, the start")
    assert (slow.key, slow.given) == ("compute.corridor.speeds_kt", "got 90 kt")


def test_flights_are_kept_at_common_distances_from_the_farthest_start(tmp_path: Path) -> None:
    rest = "[keep]\nflights = ['altitude', 'speed_brake']\nspacing_nm = 10\n"
    study = Study.from_toml(write_study(tmp_path, axes=span("start.distance_nm", 150, 164), rest=rest))
    assert np.array(study.distances) / NAUTICAL_MILE == pytest.approx([164.0, *range(160, -1, -10)])
    layout = study.question.layout(study.asked)
    assert {column.name for column in layout.columns if column.dims == ("distance_to_go",)} == {
        "flown_altitude",
        "flown_speed_brake",
    }


def test_whole_flights_are_every_column_with_a_value_between_points(tmp_path: Path) -> None:
    study = Study.from_toml(write_study(tmp_path, rest="[keep]\nflights = true\n"))
    assert study.flights == KEPT
    assert "configuration" not in KEPT
    assert {"altitude", "flaps", "fuel_used"} < set(KEPT)
    assert len(study.distances) == 161


def test_no_flights_are_kept_unless_asked_for(tmp_path: Path) -> None:
    study = Study.from_toml(write_study(tmp_path))
    assert study.flights == study.distances == ()


def test_what_is_asked_travels_to_other_processes(tmp_path: Path) -> None:
    sweep = Study.from_toml(write_study(tmp_path, rest="[compute]\nrules = 'three_rules'\n")).sweep()
    question, asked = pickle.loads(pickle.dumps((sweep.question, sweep.asked)))
    assert question == sweep.question
    levels = asked.conditions.levels(1)
    assert asked.scenario(levels).digest == sweep.asked.scenario(levels).digest


def test_the_dataset_says_where_it_is_from(tmp_path: Path) -> None:
    study = Study.from_toml(write_study(tmp_path))
    attributes = study.sweep().attributes
    assert attributes["title"] == "A small study"
    assert attributes["scenario"] == study.scenario.text
    assert attributes["scenario_digest"] == study.scenario.digest
    assert attributes["caution"] == CAUTION


# What is wrong with it


@pytest.mark.parametrize(
    ("axes", "rest", "key", "given", "allowed"),
    [
        ("", "", "conditions", "missing", "required"),
        (MASSES, "[keeep]\n", "keeep", "unknown key", "'keep'"),
        (MASSES, "[compute]\nlocal_error = 1\n", "compute.local_error", "got 1", "1e-08 to 0.01"),
        (MASSES, "[compute]\nslopes = 1\n", "compute.slopes", "got 1", "true or false"),
        (MASSES, "[compute]\ncorridor.speeds_kt = [200]\n", "compute.corridor.distances_nm", "missing", "required"),
        (
            MASSES,
            "[compute]\noptimum = false\ncorridor.distances_nm = [20]\ncorridor.speeds_kt = [20]\n",
            "compute.corridor.speeds_kt",
            "got [20]",
            "50 to 500 kt",
        ),
        (
            MASSES,
            "[compute]\ncorridor.distances_nm = []\ncorridor.speeds_kt = [200]\n",
            "compute.corridor",
            "is empty",
            "at least one distance and one speed",
        ),
        (MASSES, "[compute]\nrefly_one_in = -1\n", "compute.refly_one_in", "got -1", "0 or more"),
        (MASSES, "[compute]\nrules = 'no.toml'\n", "compute.rules", "got 'no.toml': cannot be read", "text file"),
        (MASSES, "[compute]\nrule_names = ['a']\n", "compute.rules", "missing", "where the rules named are from"),
        (
            MASSES,
            "[compute]\nrules = 'three_rules'\nrule_names = ['three-to-on']\n",
            "compute.rule_names[0]",
            "got 'three-to-on'",
            "nearest is 'three-to-one'",
        ),
        (
            MASSES,
            "[compute]\nrules = 'three_rules'\nrule_names = []\n",
            "compute.rule_names",
            "is empty",
            "one or more",
        ),
        (MASSES, "[keep]\nflights = ['mack']\n", "keep.flights[0]", "got 'mack'", "nearest is 'mach'"),
        (MASSES, "[keep]\nflights = ['mach', 'mach']\n", "keep.flights[1]", "got 'mach' twice", "differ"),
        (MASSES, "[keep]\nflights = ['configuration']\n", "keep.flights[0]", "got 'configuration'", "flaps"),
        (MASSES, "[keep]\nflights = 3\n", "keep.flights", "got 3", "true, false, or a list"),
        (MASSES, "[keep]\nspacing_nm = 0.01\n", "keep.spacing_nm", "got 0.01", "0.1 to 50 nm"),
        (values("start.mass_kg", "[]"), "", "conditions.axes[0].values", "is empty", "at least one"),
        (values("start.mass_kg", "[1]").replace("key", "kye"), "", "conditions.axes[0].key", "missing", "required"),
    ],
)
def test_a_fault_of_the_file_is_named(tmp_path: Path, axes: str, rest: str, key: str, given: str, allowed: str) -> None:
    path = write_study(tmp_path, axes=axes, rest=rest)
    found = {one.key: one for one in faults(path)}
    assert found[key].file == str(path)
    assert given in found[key].given
    assert allowed in found[key].allowed


RANGE = f"{AXIS}kind = 'range'\nkey = 'start.mass_kg'\nfrom = 60000\nto = 62000\n"
TABLES = get_args(get_args(AxisDeclaration)[0])
KINDS = f"one of {', '.join(repr(*get_args(table.model_fields['kind'].annotation)) for table in TABLES)}"


@pytest.mark.parametrize(
    ("axes", "key", "given", "allowed"),
    [
        ("[conditions]\naxes = 3\n", "conditions.axes", "got 3", "a list"),
        ("[conditions]\naxes = [3]\n", "conditions.axes[0]", "got 3", f"a table whose key 'kind' is {KINDS}"),
        (
            f"[conditions]\nsampling = 'grid'\n{MASSES}",
            "conditions.sampling",
            "got 'grid'",
            "a table whose key 'kind' is one of 'grid', 'random', 'latin-hypercube', 'sobol', 'saltelli'",
        ),
        (MASSES.replace("kind = 'values'\n", ""), "conditions.axes[0].kind", "missing", KINDS),
        (MASSES.replace("'values'", "'valeus'"), "conditions.axes[0].kind", "got 'valeus'", KINDS),
        (
            f"{RANGE}count = 2\nstep = 3\n",
            "conditions.axes[0].step",
            "unknown key (value 3)",
            "keys of this table: key, name, kind, from, to, count",
        ),
        (f"{RANGE}count = 2.5\n", "conditions.axes[0].count", "got 2.5", "a whole number"),
        (f"{RANGE}count = 1\n", "conditions.axes[0].count", "got 1", "2 or more"),
        (
            RANGE.replace("start.mass_kg", "start") + "count = 2\n",
            "conditions.axes[0].key",
            "got 'start', which is a table",
            "a quantity below it, by one of its keys: distance_nm, altitude_ft, mach, mass_kg",
        ),
        (
            RANGE.replace("start.mass_kg", "handling") + "count = 2\n",
            "conditions.axes[0].key",
            "got 'handling', which is a table",
            "a quantity below it, by one of its keys: steepest_path_deg, most_bank_deg, speed_brake_above_ft, "
            "configuration, anti_ice",
        ),
    ],
)
def test_a_fault_of_the_axes_is_told_in_plain_words(
    tmp_path: Path, axes: str, key: str, given: str, allowed: str
) -> None:
    path = write_study(tmp_path, axes=axes)
    assert fault(path) == Fault(str(path), key, given, allowed)


@pytest.mark.parametrize(
    ("axes", "rest", "top", "keys"),
    [
        (MASSES, "local_error = 1\n", "", {"compute.local_error"}),
        (MASSES, "slopes = 1\nlocl_error = 1\n", "", {"compute.slopes", "compute.locl_error"}),
        (RANGE.replace("60000", "'a'"), "", "", {"conditions.axes[0].from"}),
        ("", "", "", {"conditions"}),
        (MASSES, "", "set = 3\n", {"set"}),
        (values("start.mas_kg", "[60000]"), "", "", {"conditions.axes[0]"}),
    ],
)
def test_rules_and_flights_are_looked_at_whatever_else_is_wrong(
    tmp_path: Path, axes: str, rest: str, top: str, keys: set[str]
) -> None:
    compute = f"[compute]\nrules = 'none.toml'\n{rest}[keep]\nflights = ['mack']\nspacing_nm = 0\n"
    found = {one.key for one in faults(write_study(tmp_path, axes=axes, rest=compute, top=top))}
    assert found == {"compute.rules", "keep.flights[0]", "keep.spacing_nm"} | keys


def test_rules_that_are_no_name_are_told_once(tmp_path: Path) -> None:
    found = faults(write_study(tmp_path, rest="[compute]\nrules = 3\nrule_names = ['a']\n"))
    assert [(one.key, one.allowed) for one in found] == [("compute.rules", "a text in quotes")]


@pytest.mark.parametrize("other", ["compute = 3\n", "keep = 3\n", "title = 3\n"])
def test_a_scenario_is_looked_at_whatever_else_is_wrong(tmp_path: Path, other: str) -> None:
    path = write_study(tmp_path, top=f"set = ['air.qnh_hpa=29.92']\n{other}")
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("title = 'A small study'\n", "") if "title" in other else text, encoding="utf-8")
    assert {one.key for one in faults(path)} == {"air.qnh_hpa", other.partition(" ")[0]}


@pytest.mark.parametrize(
    ("axes", "rest", "given"),
    [
        (values("start.mass_kg", "[60000, 61000]\nname = 'fuel'"), "", "got 'fuel'"),
        (values("start.mass_kg", "[60000, 61000]\nname = 'axis_unit'"), "", "got 'axis_unit'"),
        (values("start.mass_kg", "[60000, 61000]\nname = 'case'"), "", "got 'case'"),
        (
            values("start.mass_kg", "[60000, 61000]\nname = 'rule'"),
            "[compute]\nrules = 'three_rules'\n",
            "got 'rule'",
        ),
        (
            values("start.mass_kg", "[60000, 61000]\nname = 'flown_mach'"),
            "[keep]\nflights = ['mach']\n",
            "got 'flown_mach'",
        ),
        (f"{AXIS}kind = 'values'\nkey = 'handling.order'\nvalues = [1, 2]\n", "", "got 'order', the end of"),
    ],
)
def test_an_axis_with_the_name_of_something_else_is_found_with_its_place(
    tmp_path: Path, axes: str, rest: str, given: str
) -> None:
    path = write_study(tmp_path, axes=TAILWINDS + axes, rest=rest)
    found = {one.key: one for one in faults(path)}
    own = found["conditions.axes[1].name"]
    assert own.file == str(path)
    assert own.given.startswith(given)
    assert own.allowed.startswith("another name: in the dataset")


@pytest.mark.parametrize("rest", ["", "[compute]\nrules = 'none.toml'\nlocal_error = 3\n"])
def test_a_name_that_is_taken_is_found_whatever_else_is_wrong(tmp_path: Path, rest: str) -> None:
    path = write_study(tmp_path, axes=values("start.mass_kg", "[60000, 61000]\nname = 'time'"), rest=rest)
    assert "conditions.axes[0].name" in {one.key for one in faults(path)}


@pytest.mark.parametrize("key", ["title", "arrival.airport", "arrival.windows[0].name"])
def test_an_axis_over_what_is_only_read_by_people_has_no_effect(tmp_path: Path, key: str) -> None:
    found = fault(write_study(tmp_path, axes=values(key, "['a', 'b']")))
    assert found.key == "conditions.axes[0]"
    assert found.given == f"{key} has no effect: the scenario is the same at 'a', 'b'"


def test_a_scenario_that_is_not_there_is_told_at_its_key(tmp_path: Path) -> None:
    found = fault(write_study(tmp_path, scenario=Path("absent.toml")))
    assert (found.file, found.key) == (str(tmp_path / "study.toml"), "scenario")
    assert "absent.toml" in found.given


def test_a_setting_without_a_value_is_told_with_its_place(tmp_path: Path) -> None:
    found = fault(write_study(tmp_path, top="set = ['air.qnh_hpa=1000', 'start.mass_kg']\n"))
    assert (found.key, found.given, found.allowed) == ("set[1]", "got 'start.mass_kg'", "KEY=VALUE")


def test_a_scenario_that_is_wrong_before_anything_varies_is_told_with_the_study(tmp_path: Path) -> None:
    path = write_study(tmp_path, top="set = ['air.qnh_hpa=29.92']\n", rest="[compute]\nrules = 'none.toml'\n")
    found = {one.key: one for one in faults(path)}
    assert set(found) == {"compute.rules", "air.qnh_hpa"}
    assert found["air.qnh_hpa"].file == str(SCENARIO)


@pytest.mark.parametrize(
    ("axis", "given", "allowed"),
    [
        (values("start.mas_kg", "[60000]"), "at 60000 kg: start.mas_kg: unknown key", "'mass_kg'"),
        (values("start.mass_lb", "[130000]"), "start.mass_lb: unknown key", "'mass_kg'"),
        (values("strat.mass_kg", "[60000]"), "strat: unknown key", "'start'"),
        (values("start.mass_kg.x", "[60000]"), "start.mass_kg.x: does not lead to a table", "dotted key"),
        (span("start.mass_kg", 50, 70), "at 50 kg, 70 kg: start.mass_kg: got 50", "1000 to 600000 kg"),
        (span("start.mass_kg", 60000, 90000), "at 90000 kg: start.mass_kg: got 90000", "42000 to 76000 kg"),
        (span("start.mach", 0.7, 78), "at 78: start.mach: got 78", "0.2 to 0.95"),
        (span("added_tailwind_kt", -200, 0), "at -200 kt: air.wind.bias_kt: got 200", "0 to 150 kt"),
        (values("handling.configuration", "['free', 'fre']"), "at 'fre': handling.configuration: got 'fre'", "free"),
        (values("air.qnh_hpa", "[true]"), "at True: air.qnh_hpa: got True", "a number"),
        (
            f"{AXIS}kind = 'soundings'\nsoundings = ['nashville-2014-02-21', 'absent.csv']\n",
            "at 'absent.csv': air.wind.sounding: got 'absent.csv'",
            "",
        ),
        (
            f"{AXIS}kind = 'normal'\nkey = 'start.mass_kg'\nmean = 66000\nstandard_deviation = 9000\ncount = 20\n",
            "kg: start.mass_kg: got",
            "42000 to 76000 kg",
        ),
        (
            values("air.wind.wind_speed_kt", "[10, 20]"),
            "has no effect: the scenario is the same at 10 kt, 20 kt",
            "use",
        ),
        (
            span("handling.anti_ice.bottom_ft", 5000, 9000),
            "at 5000 ft, 9000 ft: handling.anti_ice.kind: missing",
            "one of 'off', 'on', 'layer'",
        ),
    ],
)
def test_a_fault_at_the_ends_of_an_axis_names_axis_level_and_what_is_allowed(
    tmp_path: Path, axis: str, given: str, allowed: str
) -> None:
    path = write_study(
        tmp_path, axes=MASSES.replace("start.mass_kg", "air.temperature_offset_k").replace("000.0", "e-4")
    )
    path.write_text(path.read_text(encoding="utf-8") + axis, encoding="utf-8")
    found = faults(path)
    assert {(one.file, one.key) for one in found} == {(str(path), "conditions.axes[1]")}
    assert any(given in one.given and allowed in one.allowed for one in found)


@pytest.mark.parametrize(("standard_deviation", "leaves"), [(2000, False), (9000, True)])
def test_a_distribution_is_a_fault_where_a_level_that_is_drawn_leaves_what_is_allowed(
    tmp_path: Path, standard_deviation: int, leaves: bool
) -> None:
    axis = f"{AXIS}kind = 'normal'\nkey = 'start.mass_kg'\nmean = 60000\nstandard_deviation = {standard_deviation}\n"
    path = write_study(
        tmp_path, axes=axis, rest="[conditions.sampling]\nkind = 'latin-hypercube'\ncount = 100\nseed = 4\n"
    )
    if not leaves:
        assert Study.from_toml(path).plan.conditions.size == 100
        return
    (found,) = faults(path)
    assert found.key == "conditions.axes[0]"
    assert "kg: start.mass_kg: got" in found.given
    assert "42000 to 76000 kg" in found.allowed


def test_a_fault_is_told_once_of_the_axis_whose_key_it_names(tmp_path: Path) -> None:
    """The middle of the masses is wrong too, and so are all scenarios at the ends of the other axis."""
    found = fault(write_study(tmp_path, axes=TAILWINDS + span("start.mass_kg", 80000, 90000)))
    assert found.key == "conditions.axes[1]"
    assert found.given.startswith("at 80000 kg, 90000 kg: start.mass_kg: ")


def test_a_fault_of_levels_that_do_not_go_together_is_told_of_the_axis_that_was_moved(tmp_path: Path) -> None:
    axes = TAILWINDS + span("start.altitude_ft", 25000, 37000) + span("start.mach", 0.5, 0.78)
    found = faults(write_study(tmp_path, axes=axes))
    assert [(one.key, one.given.partition(": ")[0]) for one in found] == [
        ("conditions.axes[1]", "at 37000 ft"),
        ("conditions.axes[2]", "at 0.5"),
    ]


def test_a_normal_distribution_cut_within_the_range_is_right(tmp_path: Path) -> None:
    axis = f"{AXIS}kind = 'normal'\nkey = 'start.mass_kg'\nmean = 62000\nstandard_deviation = 9000\ncount = 20\n"
    study = Study.from_toml(write_study(tmp_path, axes=axis + "lowest = 50000\nhighest = 68000\n"))
    assert study.plan.shape == (20,)


def test_levels_that_only_together_make_a_scenario_are_right(tmp_path: Path) -> None:
    """A wind speed has no effect on a measured wind, and one on the constant wind that the other axis sets."""
    kinds = values("air.wind.kind", "['constant']")
    winds = values("air.wind.wind_speed_kt", "[10, 40]") + values("air.wind.wind_from_deg", "[30.0]")
    assert Study.from_toml(write_study(tmp_path, axes=kinds + winds)).plan.shape == (1, 2, 1)


# What a resumed sweep compares


def test_the_text_is_that_of_the_answers_not_of_the_file(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    copy = tmp_path / "other" / "base.toml"
    copy.write_text("# a copy\n" + SCENARIO.read_text(encoding="utf-8"), encoding="utf-8")
    rest = "[compute]\nlocal_error = 0.0001  # the default\n[keep]\nspacing_nm = 2\n"
    first = Study.from_toml(write_study(tmp_path))
    second = Study.from_toml(
        write_study(tmp_path / "other", axes=MASSES.replace("60000.0", "60_000"), rest=rest, scenario=copy)
    )
    assert first.text == second.text
    assert json.loads(first.text)["conditions"]["axes"][0]["values"] == [60000, 62000]


@pytest.mark.parametrize(
    "setting",
    [
        "conditions.axes[0].values=[60000.0, 62001.0]",
        "conditions.sampling={kind = 'random', count = 2}",
        "compute.local_error=2e-4",
        "compute.slopes=false",
        "compute.refly_one_in=7",
        "compute.rules=three_rules",
        "keep.flights=['mach']",
        "air.wind.kind=none",
        "air.temperature_offset_k=1",
    ],
)
def test_the_text_changes_with_what_the_answers_depend_on(tmp_path: Path, setting: str) -> None:
    path = write_study(tmp_path)
    before, changed = Study.from_toml(path), Study.from_toml(path, [setting])
    assert changed.text != before.text
    assert changed.digest != before.digest


def test_the_text_changes_with_a_file_that_is_only_a_level(tmp_path: Path) -> None:
    file = tmp_path / "own.csv"
    text = SOUNDING.read_text(encoding="utf-8")
    file.write_text(text, encoding="utf-8")
    axis = f"{AXIS}kind = 'soundings'\nsoundings = ['nashville-1999-05-04', '{file}']\n"
    path = write_study(tmp_path, axes=axis)
    before = Study.from_toml(path).text
    file.write_text(text.replace(",0.4,267,36", ",0.4,268,36"), encoding="utf-8")
    assert Study.from_toml(path).text != before


def test_a_study_without_an_optimum_flies_rules_in_large_blocks(tmp_path: Path) -> None:
    rest = "[conditions.sampling]\nkind = 'random'\ncount = 3000\n[compute]\nrules = 'three_rules'\noptimum = false\n"
    study = Study.from_toml(write_study(tmp_path, axes=span("start.mass_kg", 56000, 64000), rest=rest))
    assert isinstance(study.question, RulesQuestion)
    assert study.question.together
    assert 700 < max(block.size for block in study.plan.blocks) <= AT_A_TIME


def test_flights_of_rules_are_kept_beside_an_optimum_and_without(tmp_path: Path) -> None:
    """Flown one by one, in blocks as small as those of optima."""
    masses = span("start.mass_kg", 56000, 64000, 200)
    kept = "rules = 'three_rules'\n[keep]\nflights = ['altitude']\nspacing_nm = 10\n"
    study = Study.from_toml(write_study(tmp_path, axes=masses, rest=f"[compute]\noptimum = false\n{kept}"))
    assert isinstance(study.question, RulesQuestion)
    assert (study.question.together, study.question.flights) == (False, ("altitude",))
    assert study.question.distances == study.distances
    assert max(block.size for block in study.plan.blocks) <= MOST_CASES
    both = Study.from_toml(write_study(tmp_path, axes=masses, rest=f"[compute]\n{kept}"))
    names = {own.name for own in both.question.layout(both.asked).columns if "distance_to_go" in own.dims}
    assert names == {"flown_altitude", "rule_flown_altitude"}


@pytest.mark.parametrize(
    ("rest", "key"),
    [
        ("[compute]\noptimum = false\n", "compute.optimum"),
        (f"[compute]\noptimum = false\n{CORRIDOR}[keep]\nflights = true\n", "keep.flights"),
    ],
)
def test_without_an_optimum_something_else_must_be_asked(tmp_path: Path, rest: str, key: str) -> None:
    assert fault(write_study(tmp_path, rest=rest)).key == key
