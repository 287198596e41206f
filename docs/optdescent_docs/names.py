"""Names that may be imported: the public ones in full, those of the rooms with a sentence each."""

from __future__ import annotations

import inspect
import pkgutil
import re
from collections.abc import Iterator
from importlib import import_module
from types import ModuleType

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

import optdescent
from optdescent_docs.docstring import docstring_nodes, summary
from optdescent_docs.text import Cell, block, code, section, spoken, table

_LONGEST = 88
_ADDRESS = re.compile(r"<(?:object|function|factory)[^>]*>")


def signature(name: str, of: object) -> str:
    """How a function or class is called; a class that is not to be made by hand has no arguments."""
    try:
        shown = str(inspect.signature(of)) if callable(of) else ""
    except ValueError:
        shown = ""
    shown = shown.replace("'", "").replace("(self, ", "(").replace("(self)", "()").replace(" -> None", "")
    return _wrapped(f"{name}{_ADDRESS.sub('...', shown)}")


def _wrapped(call: str) -> str:
    """A long call with one argument on each line."""
    opened, closed = call.find("("), call.rfind(")")
    if len(call) <= _LONGEST or opened < 0:
        return call
    arguments, depth, begun = list[str](), 0, opened + 1
    for place in range(opened + 1, closed):
        depth += (call[place] in "([{") - (call[place] in ")]}")
        if call[place] == "," and depth == 0:
            arguments.append(call[begun:place].strip())
            begun = place + 1
    arguments.append(call[begun:closed].strip())
    return "\n".join([call[: opened + 1], *(f"    {argument}," for argument in arguments), call[closed:]])


def members(of: type) -> Iterator[tuple[str, object]]:
    """Public methods and properties that a class of this package adds, in the order of their declaration."""
    for name, value in vars(of).items():
        is_called = isinstance(value, property | classmethod | staticmethod) or inspect.isfunction(value)
        if is_called and not name.startswith("_"):
            yield name, value


def room_names() -> Iterator[tuple[ModuleType, tuple[str, ...]]]:
    """Each room of the package that says which names are for others, with these names."""
    for found in sorted(pkgutil.iter_modules(optdescent.__path__), key=lambda module: module.name):
        module = import_module(f"optdescent.{found.name}")
        names = tuple(getattr(module, "__all__", ()))
        if names and found.name != "cli":
            yield module, names


class NamesDirective(SphinxDirective):
    """A section for each public name of the package: signature, docstring, methods and properties."""

    def run(self) -> list[nodes.Node]:
        """Sections in the order of the alphabet."""
        return [self._section(name, getattr(optdescent, name)) for name in sorted(optdescent.__all__)]

    def _section(self, name: str, of: object) -> nodes.section:
        found = section(self.state.document, f"api {name}", [code(name)])
        found += block(signature(name, of), "python")
        found += docstring_nodes(inspect.getdoc(of) or "")
        if inspect.isclass(of):
            for member, value in members(of):
                found += self._member(name, member, value)
        return found

    def _member(self, name: str, member: str, value: object) -> nodes.definition_list:
        inner = getattr(value, "__func__", None) or getattr(value, "fget", None) or value
        shown = member if isinstance(value, property) else signature(member, inner).replace("(cls, ", "(")
        term = nodes.term("", "", code(f"{name}.{' '.join(shown.split())}"))
        term["ids"] = [nodes.make_id(f"api {name} {member}")]
        body = docstring_nodes(inspect.getdoc(inner) or "")
        return nodes.definition_list("", nodes.definition_list_item("", term, nodes.definition("", *body)))


class RoomsDirective(SphinxDirective):
    """A section for each room of the package: its names, each with the first sentence of its docstring."""

    def run(self) -> list[nodes.Node]:
        """Sections in the order of the alphabet."""
        return [self._section(module, names) for module, names in room_names()]

    def _section(self, module: ModuleType, names: tuple[str, ...]) -> nodes.section:
        found = section(self.state.document, f"room {module.__name__}", [code(module.__name__)])
        found += nodes.paragraph("", "", *spoken(summary(module.__doc__ or "")))
        rows: list[tuple[Cell, Cell]] = [([code(name)], _said(getattr(module, name))) for name in sorted(names)]
        found += table(("name", "what it is"), rows, (30, 70))
        return found


def _said(of: object) -> str:
    """What a function or class says of itself; a value, what it is."""
    if inspect.isclass(of) or inspect.isroutine(of):
        return summary(of.__doc__ or "")
    shown = re.sub(r"[\w.]+\.(\w+)", r"\1", str(of)) if not isinstance(of, str | int | float) else repr(of)
    return f"`{shown}`" if len(shown) < 160 else f"a {type(of).__name__}"
