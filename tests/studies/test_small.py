"""Every study run by its own commands at reduced size: it ends, and what it says holds there too."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from click.testing import CliRunner

from optdescent.cli import main
from studies.__main__ import judged, rebuild
from studies.declared import Study, all_studies
from studies.run import answers_before, answers_of, made_of

STUDIES = all_studies()
CHARTED = {
    "first_descent": ("optimum.nc", "margins.nc"),
    "the_library": ("conditions.nc",),
    "last_gear_point": ("corridor.nc",),
    "slowing_on_the_slope": ("slope.nc",),
    "derived_rule": ("front.nc",),
    "recordings": ("debrief.nc",),
    "wind_sensitivity": ("grid.zarr",),
    "derived_or_library": ("library.zarr",),
}
"""Of each kind of result that studies leave, which are charted with all their figures in all formats."""


@pytest.mark.parametrize("study", STUDIES, ids=lambda study: study.name)
def test_a_study_runs_at_reduced_size(study: Study, tmp_path: Path) -> None:
    answers = answers_of(study, tmp_path, is_small=True)
    run = {command.label for command in study.commands} - set(study.small.left_out)
    assert set(answers) == run
    assert made_of(study, tmp_path)[1] == []
    assert answers_before(tmp_path) == answers
    assert judged(study, tmp_path, answers, is_small=True) == []
    for name in CHARTED.get(study.name, ()):
        path, drawn = next(tmp_path.rglob(name)), tmp_path / "charts" / name
        told = CliRunner().invoke(main, ["chart", str(path), "-o", str(drawn)])
        assert told.exit_code == 0, (path, told.output)
        formats = Counter(file.stem for file in drawn.iterdir())
        assert set(formats.values()) == {3}, path


def at_once(*_: object, **__: object) -> list[str]:
    return []


def test_what_takes_too_long_at_reduced_size_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("studies.__main__._rebuilt", at_once)
    arguments = ["rule_library", "--small", "-o", str(tmp_path)]
    assert CliRunner().invoke(rebuild, arguments).exit_code == 0
    monkeypatch.setattr("studies.__main__._MOST_SECONDS", -1.0)
    told = CliRunner().invoke(rebuild, arguments)
    assert told.exit_code == 1
    assert "at reduced size" in told.output


def test_a_figure_that_lacks_a_format_is_told(tmp_path: Path) -> None:
    study = next(study for study in STUDIES if study.images)
    for image in study.images:
        for kind in (".svg", ".pdf", ".png"):
            (tmp_path / image).with_suffix(kind).touch()
    assert made_of(study, tmp_path)[1] == []
    missing = (tmp_path / study.images[0]).with_suffix(".pdf")
    missing.unlink()
    assert made_of(study, tmp_path)[1] == [missing.name]
