"""Every study run by its own commands at reduced size: it ends, and what it says holds there too."""

from __future__ import annotations

from pathlib import Path

import pytest

from studies.__main__ import judged
from studies.declared import Study, all_studies
from studies.run import answers_before, answers_of

RUN = [study for study in all_studies() if set(study.small.left_out) != {command.label for command in study.commands}]


@pytest.mark.parametrize("study", RUN, ids=lambda study: study.name)
def test_a_study_runs_at_reduced_size(study: Study, tmp_path: Path) -> None:
    answers = answers_of(study, tmp_path, is_small=True)
    assert set(answers) == {command.label for command in study.commands} - set(study.small.left_out)
    assert answers_before(tmp_path) == answers
    assert judged(study, tmp_path, answers, is_small=True) == []
