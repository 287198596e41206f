"""Python of the documentation and the README: every block compiles; what is not run with its page is run here."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from numpy.typing import NDArray

import optdescent as od
from tests.docs.page import DOCS, PAGES, ROOT, Block, blocks
from tests.docs.test_pages import run_code
from tests.figures.sweeps import of_corridor, with_stored_texts
from tests.sweep.test_analysis import MASS, TAILWIND, conditions, quadratic, stored, with_slopes

README = ROOT / "README.md"
SOURCES = [*PAGES, README]
DRAWN = "gallery-figure"


def python_of(page: Path) -> list[Block]:
    """Blocks of Python of a page, those that draw a figure of the gallery with them."""
    return [block for block in blocks(page) if block.language in {"python", DRAWN}]


@pytest.mark.parametrize("page", SOURCES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_every_block_of_python_compiles(page: Path) -> None:
    own = python_of(page)
    lines = page.read_text(encoding="utf-8").splitlines()
    fences = [line for line in lines if (line.startswith("```") and line.endswith("python")) or DRAWN in line[:20]]
    assert len(own) == len(fences), "a block that is not found is not checked"
    for block in own:
        compile(block.text, page.name, "exec")


def of_stored_sweep() -> tuple[dict[str, object], Callable[[dict[str, Any]], bool]]:
    """Of a toy sweep over wind and mass, stored where the README reads it."""
    grid = conditions([TAILWIND, MASS])
    toy = with_slopes(stored(grid, cost=quadratic, fuel=quadratic, top_of_descent=quadratic))
    with warnings.catch_warnings():  # one list of all arrays is no part yet of version 3 of the format
        warnings.simplefilter("ignore", category=UserWarning)
        with_stored_texts(toy).to_zarr("out.zarr", consolidated=True, zarr_format=3)
    return {}, lambda names: names["sweep"].sizes["added_tailwind_kt"] == 5


def of_corridor_sweep() -> tuple[dict[str, object], Callable[[dict[str, Any]], bool]]:
    """Of an invented sweep of corridors, in which the speed brake is worth a height."""

    def is_as_told(names: dict[str, Any]) -> bool:
        gained: NDArray[Any] = names["gained"].to_numpy()
        return names["gained"].dims == names["highest"].isel(devices=0).dims and bool((gained > 0.0).all())

    return {"sweep": of_corridor().dataset}, is_as_told


def of_first_descent() -> tuple[dict[str, object], Callable[[dict[str, Any]], bool]]:
    """Of the studies of the project, which the README names from its top."""
    Path("studies").symlink_to(ROOT / "studies")

    def is_as_told(names: dict[str, Any]) -> bool:
        kinds = [names[name].kind.value for name in ("optimum", "flown")]
        return (
            kinds == ["optimum", "rule"] and len(names["table"].flights) == 4 and isinstance(names["study"], od.Study)
        )

    return {}, is_as_told


GIVEN = {
    "sobol_indices(sweep": of_stored_sweep,
    'sweep["corridor_highest"]': of_corridor_sweep,
    "od.margins(scenario, rules)": of_first_descent,
}
"""What a block that is not run with its page needs, by words of it; made in the folder in which it is run."""
APART = [
    block
    for page in SOURCES
    for block in python_of(page)
    if block.language == "python" and (page == README or block.mark == "elsewhere")
]


@pytest.mark.slow
@pytest.mark.parametrize("block", APART, ids=lambda block: block.text.splitlines()[-1][:40])
def test_a_block_that_is_not_run_with_its_page_runs_here(
    block: Block, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert block.mark == "" or (ROOT / block.marked) == Path(__file__).resolve()
    monkeypatch.chdir(tmp_path)
    (make,) = (own for words, own in GIVEN.items() if words in block.text)
    names, is_as_told = make()
    run_code(block, names)
    assert is_as_told(names)


def test_every_block_is_known() -> None:
    assert len(APART) == len(GIVEN)
    assert {DOCS / "gallery.md", DOCS / "howto" / "researcher.md"} <= {page for page in SOURCES if python_of(page)}
