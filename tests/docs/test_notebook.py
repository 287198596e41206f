"""The tutorial notebook runs from the first cell to the last, and shows scenario, flights and tables as such."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from optdescent.results import CAUTION
from tests.docs.page import DOCS

nbformat = pytest.importorskip("nbformat", reason="nbformat: install the `tests` extra")
nbclient = pytest.importorskip("nbclient", reason="nbclient: install the `tests` extra")
pytest.importorskip("ipykernel", reason="ipykernel: install the `tests` extra")
NOTEBOOK = DOCS / "tutorial.ipynb"


@pytest.fixture(scope="module")
def stored() -> Any:
    return nbformat.read(NOTEBOOK, as_version=4)


@pytest.fixture(scope="module")
def cells(stored: Any, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Outputs of each cell of code by its source, run in a folder of its own."""
    folder: Path = tmp_path_factory.mktemp("notebook")
    nbclient.NotebookClient(stored.copy(), timeout=300, resources={"metadata": {"path": str(folder)}}).execute()
    return {cell.source: cell.outputs for cell in stored.cells if cell.cell_type == "code"}


def shown(cells: dict[str, Any], last_line: str) -> str:
    """What the cell that ends with a line shows as HTML."""
    (outputs,) = [found for source, found in cells.items() if source.splitlines()[-1] == last_line]
    return outputs[-1].data["text/html"]


def test_it_is_stored_without_outputs() -> None:
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    nbformat.validate(notebook)
    assert all(not cell.get("outputs") and not cell.get("execution_count") for cell in notebook.cells)
    assert CAUTION in notebook.cells[0].source


@pytest.mark.slow
def test_scenario_rule_flight_and_margins_show_themselves(cells: dict[str, Any]) -> None:
    for last_line, words in {
        "scenario": ("A short descent with a tailwind", "100 nm", "60000 kg", "250 kt"),
        "rules[0]": ("three-to-one", "common practice"),
        "flown": ("three-to-one", "kg", "stable"),
        "found": ("optimum", "300-feet-per-mile", "fuel used above the optimum [kg]"),
        "found.optimum.solver": ("largest local error", "re-flight"),
    }.items():
        html = shown(cells, last_line)
        assert all(word in html for word in words), (last_line, html[:2000])
        assert CAUTION in html


@pytest.mark.slow
def test_more_tailwind_costs_less_fuel(cells: dict[str, Any]) -> None:
    (found,) = [found for source, found in cells.items() if source.startswith("for knots")]
    text = "".join(output.text for output in found)
    fuel = [float(line.split("kg")[0].split()[-1]) for line in text.splitlines() if "three-to-one" in line]
    assert len(fuel) == 3
    assert fuel == sorted(fuel, reverse=True)
