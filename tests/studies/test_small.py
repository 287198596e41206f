"""Every study run by its own commands at reduced size: it ends, and what it says holds there too."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from studies.__main__ import judged, rebuild
from studies.declared import FIGURES, Study, all_studies
from studies.run import answers_before, answers_of, made_of

RUN = [study for study in all_studies() if study.is_run_small]


@pytest.mark.parametrize("study", RUN, ids=lambda study: study.name)
def test_a_study_runs_at_reduced_size(study: Study, tmp_path: Path) -> None:
    answers = answers_of(study, tmp_path, is_small=True)
    run = {command.label for command in study.commands} - set(study.small.left_out)
    assert set(answers) == run
    assert FIGURES in study.small.left_out or not made_of(study, tmp_path)[1]
    assert answers_before(tmp_path) == answers
    assert judged(study, tmp_path, answers, is_small=True) == []


def test_a_study_that_is_not_run_at_reduced_size_says_so(tmp_path: Path) -> None:
    left = [study.name for study in all_studies() if not study.is_run_small]
    told = CliRunner().invoke(rebuild, [*left, "--small", "-o", str(tmp_path)])
    assert told.output.splitlines() == [f"{name}: not run at reduced size" for name in left]
