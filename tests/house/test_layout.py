"""Names of files and the way modules of the package import each other."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.house.source import PACKAGE, ROOT, files, parsed, shown

FORBIDDEN_NAMES = {"utils", "helpers", "common", "misc", "core", "base", "manager", "handler", "tools"}


def forbidden_parts(path: Path) -> set[str]:
    """Parts of a path that say nothing about what is inside, in the singular or the plural."""
    parts = {Path(part).stem.strip("_").lower() for part in path.parts}
    return {part for part in parts if part in FORBIDDEN_NAMES or f"{part}s" in FORBIDDEN_NAMES}


def root_imports(tree: ast.AST, rooms: set[str]) -> list[int]:
    """Lines that import through the root package, which re-exports every room and so would close a circle."""
    lines: list[int] = []
    for node in ast.walk(tree):
        match node:
            case ast.Import(names=names):
                bare = any(n.name.split(".")[0] == "optdescent" and n.asname is None for n in names)
                bare = bare or any(n.name == "optdescent" for n in names)
            case ast.ImportFrom(module="optdescent", names=names):
                bare = any(n.name not in rooms for n in names)
            case _:
                bare = False
        if bare:
            lines.append(node.lineno)  # type: ignore[attr-defined]
    return lines


def test_no_file_or_folder_has_a_name_that_says_nothing() -> None:
    folders = [PACKAGE, ROOT / "tests", ROOT / "studies", ROOT / "benchmarks"]
    paths = [path.relative_to(ROOT) for folder in folders if folder.is_dir() for path in files(folder, "*")]
    faults = [f"{path.as_posix()}: {sorted(forbidden_parts(path))}" for path in paths if forbidden_parts(path)]
    assert not faults, "\n".join(faults)


def test_no_module_imports_the_root_package() -> None:
    rooms = {path.stem for path in PACKAGE.iterdir() if path.suffix in {"", ".py"}}
    faults = [
        f"{shown(path)}:{line}: import from the room itself, not through optdescent"
        for path in files(PACKAGE, "*.py")
        for line in root_imports(parsed(path), rooms)
    ]
    assert not faults, "\n".join(faults)


def test_every_folder_of_code_is_a_package() -> None:
    faults = sorted(
        {shown(path.parent) for path in files(PACKAGE, "*.py") if not (path.parent / "__init__.py").is_file()}
    )
    assert not faults, f"no __init__.py in {faults}"


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("optdescent/utils.py", {"utils"}),
        ("tests/ocp/helper.py", {"helper"}),
        ("optdescent/tools/_base.py", {"tools", "base"}),
        ("optdescent/ocp/basis.py", set()),
    ],
)
def test_a_name_is_judged_whole(path: str, expected: set[str]) -> None:
    assert forbidden_parts(Path(path)) == expected


@pytest.mark.parametrize(
    ("line", "bare"),
    [
        ("import optdescent", True),
        ("import optdescent as od", True),
        ("import optdescent.units", True),
        ("import optdescent.units as units", False),
        ("from optdescent import Flight", True),
        ("from optdescent import units", False),
        ("from optdescent.results import Flight", False),
        ("def f():\n    import optdescent", True),
    ],
)
def test_what_counts_as_importing_the_root(line: str, bare: bool) -> None:
    assert bool(root_imports(ast.parse(line), {"units", "results"})) is bare
