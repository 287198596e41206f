"""What the command line loads before it knows what is asked: only what its help needs."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("casadi", "matplotlib", "numpy", "pandas", "pydantic", "scipy", "xarray")
LOADED = """
import sys
from click.testing import CliRunner
from optdescent.cli import main
assert CliRunner().invoke(main, sys.argv[1:]).exit_code == 0
print(*sorted({name.partition(".")[0] for name in sys.modules}))
"""


@pytest.mark.parametrize("asked", [["--help"], ["--version"], ["margins", "--help"], ["sweep", "--help"]])
def test_help_loads_nothing_that_computes(asked: list[str]) -> None:
    """So that it starts about as fast as Python itself: what numpy alone takes is already more."""
    run = subprocess.run([sys.executable, "-c", LOADED, *asked], capture_output=True, text=True, check=True)
    assert not set(run.stdout.split()) & set(HEAVY)
