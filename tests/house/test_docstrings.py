"""Every public function says what it does, in which units, and what it raises."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

import pytest

from tests.house.source import PACKAGE, Function, files, parsed, public_functions, shown

NUMERIC = {"float", "Value", "NDArray", "ndarray", "ArrayLike", "SX", "MX", "DM"}
UNIT = re.compile(r"(?<![\w\])])\[[^\[\]\n]+\]")


def numeric_aliases(trees: list[ast.Module]) -> set[str]:
    """Names of the package that stand for numbers: NUMERIC and each `X: TypeAlias = ...` made of them."""
    known = set(NUMERIC)
    aliases = [
        (node.target.id, node.value)
        for tree in trees
        for node in tree.body
        if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) and node.value is not None
        if "TypeAlias" in ast.unparse(node.annotation)
    ]
    while fresh := {name for name, value in aliases if name not in known and words(value) & known}:
        known |= fresh
    return known


def words(node: ast.AST | None) -> set[str]:
    """Identifiers of an annotation."""
    return set(re.findall(r"\w+", ast.unparse(node))) if node is not None else set()


def own_statements(function: Function) -> Iterator[ast.AST]:
    """Nodes of a body, those of inner functions and classes left out."""
    waiting: list[ast.AST] = list(function.body)
    while waiting:
        node = waiting.pop()
        yield node
        if not isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)):
            waiting.extend(ast.iter_child_nodes(node))


def complaints(function: Function, numeric: set[str]) -> list[str]:
    """What a docstring lacks."""
    if any("overload" in words(decorator) for decorator in function.decorator_list):
        return []
    docstring = ast.get_docstring(function)
    if docstring is None:
        return ["no docstring"]
    found: list[str] = []
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    annotations = [function.returns, *(argument.annotation for argument in arguments)]
    if any(words(annotation) & numeric for annotation in annotations) and not UNIT.search(docstring):
        found.append("numbers go in or out, but no unit in square brackets, as in [m] or [-]")
    if any(isinstance(node, ast.Raise) for node in own_statements(function)) and "Raises" not in docstring:
        found.append("it raises, but has no Raises section")
    return found


def test_every_public_function_says_units_and_raises() -> None:
    paths = [
        path
        for path in files(PACKAGE, "*.py")
        if PACKAGE / "cli" not in path.parents and (path.stem == "__init__" or not path.stem.startswith("_"))
    ]
    trees = [parsed(path) for path in paths]
    numeric = numeric_aliases(trees)
    faults = [
        f"{shown(path)}:{function.lineno}: {name}: {complaint}"
        for path, tree in zip(paths, trees, strict=True)
        for name, function in public_functions(tree)
        for complaint in complaints(function, numeric)
    ]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    ("source", "number"),
    [
        ("def f(x: float) -> None:\n    pass", 1),
        ("def f(x: float) -> None:\n    '''Do it.'''", 1),
        ("def f(x: float) -> None:\n    '''Do it with x [m].'''", 0),
        ("def f(x: str) -> list[float]:\n    '''A list[float] of it.'''", 1),
        ("def f(x: 'Height') -> None:\n    '''Do it.'''", 1),
        ("def f(x: str) -> None:\n    '''Do it.'''", 0),
        ("def f(x: str) -> None:\n    '''Do it.'''\n    raise ValueError(x)", 1),
        (
            "def f() -> None:\n    '''Do.\n\n    Raises\n    ------\n    E\n    '''\n    raise E",
            0,
        ),
        ("def f(x: str) -> None:\n    '''Do it.'''\n    def g():\n        raise ValueError(x)", 0),
        ("class C:\n    def f(self) -> float:\n        '''Mass.'''", 1),
        ("class _C:\n    def f(self) -> float:\n        '''Mass.'''", 0),
        ("def _f(x: float) -> None:\n    pass", 0),
    ],
)
def test_what_is_asked_of_a_docstring(source: str, number: int) -> None:
    tree = ast.parse(f"Height: TypeAlias = NDArray\n{source}")
    numeric = numeric_aliases([tree])
    assert sum(len(complaints(function, numeric)) for _, function in public_functions(tree)) == number
