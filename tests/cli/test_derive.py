"""`optdescent derive` as a user meets it: files, table, JSON, messages, exit statuses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from optdescent.cli import main
from optdescent.results import CAUTION
from optdescent.rules import fly, read_rules
from optdescent.study import Study
from tests.derive.studies import AXES, DERIVE, study_file

FILES = ("rules.toml", "front.csv", "front.nc", "front.pdf", "front.svg", "front.png")
QUICK = ("--set", "derive.most_rules=1", "--set", "derive.most_parts=3", "--rules", "three_rules", "--workers", "1")
GRID = "[[conditions.axes]]\nkind = 'range'\nkey = 'start.mass_kg'\nfrom = 56000\nto = 64000\ncount = 3\n"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["derive", *(str(argument) for argument in arguments)])


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return study_file(tmp_path_factory.mktemp("study"))


@pytest.fixture(scope="module")
def job(study: Path) -> tuple[dict[str, Any], Path]:
    """A small run, made once."""
    output = study.parent / "out"
    result = run(study, "-o", output, "--rules", "three_rules", "--workers", "1", "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout), output


def test_it_writes_rules_table_dataset_and_figure(job: tuple[dict[str, Any], Path]) -> None:
    found, output = job
    assert found["files"] == [str(output / name) for name in FILES]
    assert sorted(path.name for path in output.iterdir()) == sorted(FILES), "and nothing half-written"
    assert all((output / name).stat().st_size > 500 for name in FILES)


def test_the_rules_can_be_flown_and_say_what_they_are_from(job: tuple[dict[str, Any], Path], study: Path) -> None:
    found, output = job
    text = (output / "rules.toml").read_text(encoding="utf-8")
    assert CAUTION in " ".join(text.replace("#", " ").split())
    digest = Study.from_toml(study).digest
    assert f"derived by optdescent from A small study ({digest}), not published" in text
    rules = read_rules(output / "rules.toml")
    assert found["recommended"] in {rule.name for rule in rules}
    flight = fly(Study.from_toml(study).scenario, rules[0])
    assert flight.summary.fuel > 0.0


def test_json_says_what_was_found(job: tuple[dict[str, Any], Path]) -> None:
    found, _ = job
    assert (found["train_conditions"], found["check_conditions"], found["unseen_conditions"]) == (16, 32, 32)
    assert 1 <= found["rules_flown"] <= 12
    assert found["library"] == "three_rules"
    assert found["caution"] == CAUTION
    recommended = next(rule for rule in found["rules"] if rule["rule"] == found["recommended"])
    assert recommended["held_share"] >= found["wanted_share"] == 0.8
    assert recommended["predicted_low"] <= recommended["predicted_high"]
    assert [rule["rule"] for rule in found["rules"]][-3:] == ["three-to-one", "300-feet-per-mile", "three-degrees"]


def test_the_recommended_rule_is_told_in_words(study: Path, tmp_path: Path) -> None:
    result = run(study, "-o", tmp_path / "out", *QUICK, "--set", "derive.most_rules=8")
    assert result.exit_code == 0, result.output
    for words in ("Recommended, derived-3a:", "300 ft for each nm to go", "250 kt in the descent", "approach speed by"):
        assert words in result.stdout
    assert "predicted for 32 unseen conditions" in result.stdout
    assert CAUTION in result.stdout


def test_a_grid_is_refused(tmp_path: Path) -> None:
    for derive in ("", DERIVE):
        result = run(study_file(tmp_path, GRID, derive), "-o", tmp_path / "out")
        assert result.exit_code == 2
        assert "conditions.sampling.kind: got 'grid'" in result.stderr
        assert "'random', 'latin-hypercube' or 'sobol'" in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("derive", "said"),
    [
        (DERIVE.replace("train = 16", "train = 17"), "derive.train: got 17; allowed: a power of two: 16 or 32"),
        (DERIVE.replace("stable_share = 0.8", "stable_share = 1.2"), "derive.stable_share: got 1.2"),
        (DERIVE + 'keep_limits = "yes"\n', "derive.keep_limits: got 'yes'; allowed: true or false"),
        (DERIVE + "most_part = 3\n", "nearest known key is 'most_parts'"),
    ],
)
def test_faults_of_the_table_are_told_before_anything_flies(tmp_path: Path, derive: str, said: str) -> None:
    result = run(study_file(tmp_path, AXES, derive), "-o", tmp_path / "out")
    assert result.exit_code == 2
    assert said in result.stderr


def test_a_share_that_no_rule_has_is_exit_status_3_with_how_far_the_best_falls_short(
    study: Path, tmp_path: Path
) -> None:
    output = tmp_path / "out"
    result = run(study, "-o", output, *QUICK, "--set", "arrival.gate.sink_ft_per_min=300", "--json")
    assert result.exit_code == 3
    assert "no derived rule is stable in 80 % of the conditions: the best falls 80.0 % short" in result.stderr
    assert json.loads(result.stdout)["recommended"] is None
    assert {path.name for path in output.iterdir()} == set(FILES), "what was found is there to look at"


def test_limits_that_are_to_be_kept_are_told_with_what_falls_short(study: Path, tmp_path: Path) -> None:
    settings = ("--set", "arrival.sink_limits=[{below_height_ft=3000,sink_ft_per_min=300}]", "--set")
    result = run(study, "-o", tmp_path / "out", *QUICK, *settings, "derive.keep_limits=true", "--json")
    assert result.exit_code == 3, result.output
    assert "no derived rule is stable and within every limit in 80 % of the conditions" in result.stderr
    found = json.loads(result.stdout)
    assert found["keep_limits"] is True
    assert all(rule["held_share"] == rule["limits_kept_share"] for rule in found["rules"])


def test_the_table_is_part_of_what_a_study_is_and_its_absence_is_not(tmp_path: Path) -> None:
    texts = [Study.from_toml(study_file(tmp_path, AXES, derive)).text for derive in ("", DERIVE)]
    assert "derive" not in json.loads(texts[0])
    with_table = json.loads(texts[1])
    assert with_table.pop("derive")["descent_kt"] == 250
    assert with_table == json.loads(texts[0])


def test_check_knows_such_a_study(study: Path) -> None:
    result = CliRunner().invoke(main, ["check", str(study)])
    assert result.exit_code == 0, result.output
    assert "A small study" in result.stdout
