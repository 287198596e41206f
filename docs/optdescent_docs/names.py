"""Names that may be imported: the public ones, and those of the rooms, each in full."""

from __future__ import annotations

import inspect
import pkgutil
import re
from collections.abc import Iterator
from enum import EnumType
from importlib import import_module
from types import ModuleType

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

import optdescent
from optdescent_docs.docstring import docstring_nodes, summary
from optdescent_docs.text import Cell, block, code, section, spoken, table

_LONGEST = 88
_ADDRESS = re.compile(r"<(?:object|function|factory)[^>]*>")
_MODULE = re.compile(r"\b(?:optdescent|typing|pathlib)\.(?:\w+\.)*(\w+)")
_ENUM = re.compile(r"<(\w+\.\w+): [^>]*>")


def signature(name: str, of: object) -> str:
    """How a function or class is called; the members of an enumeration; a class not to be made by hand has nothing."""
    if isinstance(of, EnumType):
        return "\n".join(f"{name}.{member.name} = {member.value!r}" for member in of.__members__.values())
    try:
        shown = str(inspect.signature(of)) if callable(of) else ""
    except ValueError:
        shown = ""
    shown = _unannotated(shown).replace("'", "").replace("(self, ", "(").replace("(self)", "()")
    shown = _ENUM.sub(r"\1", _ADDRESS.sub("...", _MODULE.sub(r"\1", shown.replace(" -> None", ""))))
    return _wrapped(f"{name}{shown}")


def _unannotated(shown: str) -> str:
    """Types without the checks that a declared key adds to them: the page of the file tells its range."""
    opening = "typing.Annotated["
    while (begun := shown.find(opening)) >= 0:
        first, ended, depth = begun + len(opening), 0, 0
        for place in range(first, len(shown)):
            depth += (shown[place] in "([{") - (shown[place] in ")]}")
            if shown[place] == "," and depth == 0 and not ended:
                ended = place
            if depth < 0:
                shown = shown[:begun] + shown[first : ended or place] + shown[place + 1 :]
                break
        else:
            return shown
    return shown


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
        document = self.state.document
        names = sorted(optdescent.__all__)
        return [told(document, f"api {name}", name, getattr(optdescent, name)) for name in names]


class RoomsDirective(SphinxDirective):
    """A section for each room of the package, with its names; public names of the package are told elsewhere."""

    def run(self) -> list[nodes.Node]:
        """A table of the rooms, then their sections, in the order of the alphabet."""
        rooms = list(room_names())
        rows: list[tuple[Cell, Cell]] = [
            ([_link(_room(module), module.__name__)], summary(module.__doc__ or "")) for module, _ in rooms
        ]
        return [
            table(("room", "what it is"), rows, (30, 70)),
            *(self._section(module, names) for module, names in rooms),
        ]

    def _section(self, module: ModuleType, names: tuple[str, ...]) -> nodes.section:
        document = self.state.document
        found = section(document, _room(module), [code(module.__name__)])
        found += nodes.paragraph("", "", *spoken(summary(module.__doc__ or "")))
        values = list[tuple[Cell, Cell]]()
        own = list[nodes.section]()
        for name in sorted(names):
            of = getattr(module, name)
            if getattr(optdescent, name, None) is of:
                values.append(([code(name)], f"a public name: {summary(of.__doc__ or '')}"))
            elif (inspect.isclass(of) or inspect.isroutine(of)) and of.__module__.startswith(f"{optdescent.__name__}."):
                label = room_label(module, name)
                own.append(told(document, label, name, of))
                values.append(([_link(label, name)], summary(of.__doc__ or "")))
            else:
                values.append(([code(name)], _shown(of)))
        found += table(("name", "what it is"), values, (30, 70))
        found += own
        return found


def _room(module: ModuleType) -> str:
    return f"room {module.__name__}"


def _link(label: str, name: str) -> nodes.reference:
    """A name that leads to its section on the same page."""
    return nodes.reference("", "", code(name), refid=nodes.make_id(label), internal=True)


def room_label(module: ModuleType, name: str) -> str:
    """Label of a name of a room; labels have small letters only, so a function beside a class of its name says so."""
    of = getattr(module, name)
    alike = [other for other in getattr(module, "__all__", ()) if other.lower() == name.lower()]
    return " ".join([module.__name__, name, *(["function"] if len(alike) > 1 and inspect.isroutine(of) else [])])


def told(document: nodes.document, label: str, name: str, of: object) -> nodes.section:
    """Section of a name: signature, docstring, and the members of a class."""
    found = section(document, label, [code(name)])
    found += block(signature(name, of), "python")
    found += docstring_nodes(inspect.getdoc(of) or "")
    if inspect.isclass(of):
        for member, value in members(of):
            found += _member(label, name, member, value)
    return found


def _member(label: str, name: str, member: str, value: object) -> nodes.definition_list:
    inner = getattr(value, "__func__", None) or getattr(value, "fget", None) or value
    shown = member if isinstance(value, property) else signature(member, inner).replace("(cls, ", "(")
    term = nodes.term("", "", code(f"{name}.{' '.join(shown.split())}"))
    term["ids"] = [nodes.make_id(f"{label} {member}")]
    body = docstring_nodes(inspect.getdoc(inner) or "")
    return nodes.definition_list("", nodes.definition_list_item("", term, nodes.definition("", *body)))


def _shown(of: object) -> str:
    """What a value is."""
    shown = re.sub(r"[\w.]+\.(\w+)", r"\1", str(of)) if not isinstance(of, str | int | float) else repr(of)
    return f"`{shown}`" if len(shown) < 160 else f"a {type(of).__name__}"
