"""What is public is a list, and importing the package costs next to nothing."""

from __future__ import annotations

import subprocess
import sys

import pytest

import optdescent
from tests.house.source import ROOT

STORED = (ROOT / "tests" / "house" / "public_names.txt").read_text(encoding="utf-8").split()


def test_public_names_equal_the_stored_list() -> None:
    assert sorted(optdescent.__all__) == STORED


@pytest.mark.parametrize("name", STORED)
def test_every_public_name_is_there(name: str) -> None:
    assert getattr(optdescent, name) is not None
    assert name in dir(optdescent)


def test_a_name_that_is_not_public_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no_such_name"):
        getattr(optdescent, "no_such_name")  # noqa: B009 - a type checker refuses the plain form


@pytest.mark.parametrize("module", ["optdescent", "optdescent.cli"])
def test_heavy_libraries_wait_until_they_are_needed(module: str) -> None:
    heavy = "{'casadi', 'matplotlib', 'pandas', 'pydantic', 'scipy', 'xarray'}"
    code = f"import sys, {module}; print(sorted({heavy} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
