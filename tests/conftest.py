"""Settings that hold for every test."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

os.environ["MPLBACKEND"] = "Agg"  # before anything imports matplotlib: no test needs a display

# The same examples on every machine and no time limit per example: a slow runner is not a fault of the code.
settings.register_profile("repeatable", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("repeatable")

# Files that take from a quarter of a minute to three minutes, the longest first, so that at the end of a run over
# several processes none waits for a long file that another has begun last. A name that is missing costs time only.
LONGEST = (
    "tests/studies/test_small.py",
    "tests/optimum/test_demands.py",
    "tests/sweep/test_interrupt.py",
    "tests/corridor/test_corridor.py",
    "tests/optimum/test_question.py",
    "tests/optimum/test_orders.py",
    "tests/cli/test_margins_over.py",
    "tests/docs/test_build.py",
    "tests/optimum/test_optimum.py",
    "tests/corridor/test_from_above.py",
    "tests/cli/test_debrief.py",
    "tests/sweep/test_cluster.py",
    "tests/cli/test_sweep.py",
    "tests/report/test_page.py",
    "tests/cli/test_chart.py",
    "tests/cli/test_commands.py",
    "tests/laws/test_own_profile.py",
    "tests/debrief/test_debrief.py",
    "tests/debrief/test_not_told.py",
    "tests/figures/test_figures.py",
    "tests/debrief/test_from_there.py",
    "tests/margins/test_over.py",
    "tests/optimum/test_airframe.py",
    "tests/corridor/test_collocation.py",
    "tests/docs/test_pages.py",
    "tests/sweep/test_run.py",
    "tests/optimum/test_midway.py",
    "tests/rules/test_many.py",
    "tests/optimum/test_beside.py",
    "tests/figures/test_every.py",
    "tests/figures/test_airframe.py",
    "tests/cli/test_derive.py",
    "tests/figures/test_fonts.py",
    "tests/report/test_browser.py",
    "tests/docs/test_python.py",
    "tests/optimum/test_global_optimum.py",
    "tests/identify/test_coefficients_back.py",
    "tests/identify/test_crew_flown.py",
    "tests/identify/test_least_squares.py",
    "tests/laws/test_turned_world.py",
    "tests/margins/test_margins.py",
    "tests/cli/test_rules.py",
    "tests/cli/test_identify.py",
    "tests/sweep/test_store.py",
    "tests/cli/test_corridor.py",
    "tests/derive/test_derive.py",
)


def pytest_configure(config: pytest.Config) -> None:
    """Files are handed to processes in the order below: left to itself pytest-xdist takes those of many tests first."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first, the others as they were found."""
    places = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(item.nodeid.partition("::")[0], len(places)))
