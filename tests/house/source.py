"""The project's own files, as the tests of this folder read them."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "optdescent"

Function = ast.FunctionDef | ast.AsyncFunctionDef


def files(folder: Path, *patterns: str) -> list[Path]:
    """Files under a folder that match one of the patterns, caches left out, in a fixed order."""
    found = {path for pattern in patterns for path in folder.rglob(pattern) if path.is_file()}
    return sorted(path for path in found if "__pycache__" not in path.parts)


def shown(path: Path) -> str:
    """Path as a message shows it."""
    return path.relative_to(ROOT).as_posix()


def project_files() -> list[Path]:
    """Every text file that people write here: code, data, documents and settings."""
    names = (".ci", "optdescent", "studies", "tests", "benchmarks")
    folders = [ROOT / name for name in names if (ROOT / name).is_dir()]
    text = ("*.py", "*.pyi", "*.toml", "*.md", "*.csv", "*.mplstyle", "*.txt", "*.yml", "run")
    inside = [path for folder in folders for path in files(folder, *text)]
    top = [path for path in ROOT.iterdir() if path.is_file() and path.suffix in {".md", ".toml", ".cff", ""}]
    return sorted({*inside, *top})


def parsed(path: Path) -> ast.Module:
    """Syntax tree of a source file."""
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def functions(tree: ast.AST) -> Iterator[Function]:
    """Every function of a tree, methods and inner functions too."""
    return (node for node in ast.walk(tree) if isinstance(node, Function))


def public_functions(tree: ast.Module) -> Iterator[tuple[str, Function]]:
    """Functions of a module and methods of its classes whose names are public, with dotted names."""
    yield from _public("", tree.body)


def _public(prefix: str, body: list[ast.stmt]) -> Iterator[tuple[str, Function]]:
    for node in body:
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
            if isinstance(node, ast.ClassDef):
                yield from _public(f"{prefix}{node.name}.", node.body)
            else:
                yield f"{prefix}{node.name}", node
