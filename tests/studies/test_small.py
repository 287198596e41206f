"""Every study run by its own commands at reduced size: it ends, and what it says holds there too."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from studies.__main__ import judged, rebuild
from studies.declared import Study, all_studies
from studies.run import answers_before, answers_of, made_of

RUN = [study for study in all_studies() if study.is_run_small]


@pytest.mark.parametrize("study", RUN, ids=lambda study: study.name)
def test_a_study_runs_at_reduced_size(study: Study, tmp_path: Path) -> None:
    answers = answers_of(study, tmp_path, is_small=True)
    run = {command.label for command in study.commands} - set(study.small.left_out)
    assert set(answers) == run
    assert made_of(study, tmp_path)[1] == []
    assert answers_before(tmp_path) == answers
    assert judged(study, tmp_path, answers, is_small=True) == []


def test_a_study_that_is_not_run_at_reduced_size_says_so(tmp_path: Path) -> None:
    left = [study.name for study in all_studies() if not study.is_run_small]
    told = CliRunner().invoke(rebuild, [*left, "--small", "-o", str(tmp_path)])
    assert told.output.splitlines() == [*(f"{name}: not run at reduced size" for name in left), "in all: 0 s"]


def test_a_figure_that_lacks_a_format_is_told(tmp_path: Path) -> None:
    study = next(study for study in RUN if study.images)
    for image in study.images:
        for kind in (".svg", ".pdf", ".png"):
            (tmp_path / image).with_suffix(kind).touch()
    assert made_of(study, tmp_path)[1] == []
    missing = (tmp_path / study.images[0]).with_suffix(".pdf")
    missing.unlink()
    assert made_of(study, tmp_path)[1] == [missing.name]
