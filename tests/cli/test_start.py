"""What the command line loads before it knows what is asked: only what its help needs."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

HEAVY = ("casadi", "matplotlib", "numpy", "pandas", "pydantic", "scipy", "xarray")
LOADED = """
import sys
from click.testing import CliRunner
from optdescent.cli import main
assert CliRunner().invoke(main, sys.argv[1:]).exit_code == 0
print(*sorted({name.partition(".")[0] for name in sys.modules}))
"""


MOST_TIMES = 3.0
"""How much longer than a bare Python that imports numpy the help may take."""


def seconds_of(code: str) -> float:
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
    return time.perf_counter() - begun


def test_help_starts_within_three_times_what_numpy_takes() -> None:
    """The least of five of each, in turn, so that what else the machine does slows both."""
    helped, bare = "from optdescent.cli import main; main(['--help'])", "import numpy"
    times = [(seconds_of(helped), seconds_of(bare)) for _ in range(5)]
    assert min(own for own, _ in times) <= MOST_TIMES * min(other for _, other in times)


@pytest.mark.parametrize("asked", [["--help"], ["--version"], ["margins", "--help"], ["sweep", "--help"]])
def test_help_loads_nothing_that_computes(asked: list[str]) -> None:
    """So that it starts about as fast as Python itself: what numpy alone takes is already more."""
    run = subprocess.run([sys.executable, "-c", LOADED, *asked], capture_output=True, text=True, check=True)
    assert not set(run.stdout.split()) & set(HEAVY)
