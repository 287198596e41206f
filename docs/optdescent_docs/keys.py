"""Keys of a file, from the tables that validate it: unit, range, default and sentence of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import Enum
from importlib import import_module
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, cast, get_args, get_origin

from docutils import nodes
from docutils.parsers.rst import directives
from sphinx.util.docutils import SphinxDirective

from optdescent.inputs import Declared
from optdescent.inputs.declare import declaration
from optdescent.units import UNITS
from optdescent_docs.docstring import docstring_nodes
from optdescent_docs.text import code, section, table

UNBOUNDED = 1e9
"""A bound of this size stands for none."""


@dataclass(frozen=True)
class Key:
    """One key of a table, in words: its name, what may stand there, default and sentence; and the tables below it."""

    name: str
    allowed: str
    default: str
    sentence: str
    tables: tuple[type[Declared], ...]
    is_list: bool
    is_named: bool


@dataclass(frozen=True)
class Place:
    """A table and where it stands in a file: its header, and what its key `kind` must be there."""

    model: type[Declared]
    path: str
    is_list: bool
    kind: str

    @property
    def header(self) -> str:
        """The header as the file has it."""
        return f"[[{self.path}]]" if self.is_list else f"[{self.path}]"

    @property
    def label(self) -> str:
        """What tells it from every other table of the file."""
        return f"{self.path} kind {self.kind}" if self.kind else self.path


def keys_of(model: type[Declared]) -> tuple[Key, ...]:
    """Every key of a table, in the order of its declaration."""
    return tuple(_key(name, info) for name, info in model.model_fields.items())


def places(model: type[Declared], path: str = "") -> Iterator[Place]:
    """Every table below a table, depth first, with its place in the file; a table's own keys come before those below.

    A table that may stand in several places is met in each of them.
    """
    for key in keys_of(model):
        below = ".".join(filter(None, (path, key.name)))
        below = f"{below}.NAME" if key.is_named else below
        for one in key.tables:
            kind = kind_of(one) if len(key.tables) > 1 else ""
            yield Place(one, below, key.is_list, kind)
            yield from places(one, below)


def kind_of(model: type[Declared]) -> str:
    """What the key `kind` of a table must be; empty if it has none."""
    info = model.model_fields.get("kind")
    return "" if info is None else str(get_args(info.annotation)[0])


def _key(name: str, info: Any) -> Key:
    tables = tuple(dict.fromkeys(_tables(info.annotation)))
    kinds = {get_origin(part) for part in _parts(info.annotation)}
    allowed = _allowed(info, tables)
    default = "" if info.is_required() else _default(info)
    return Key(info.alias or name, allowed, default, info.description or "", tables, tuple in kinds, dict in kinds)


def _parts(annotation: object) -> Iterator[object]:
    """An annotation without annotations of it and without None: the members of a union one by one."""
    if get_origin(annotation) is Annotated:
        yield from _parts(get_args(annotation)[0])
    elif get_origin(annotation) in (Union, UnionType):
        for part in get_args(annotation):
            yield from _parts(part)
    elif annotation is not NoneType:
        yield annotation


def _tables(annotation: object) -> Iterator[type[Declared]]:
    for part in _parts(annotation):
        if isinstance(part, type) and issubclass(part, Declared):
            yield part
        elif get_origin(part) in (tuple, dict):
            for inner in get_args(part):
                yield from _tables(inner)


_WORDS: Mapping[object, str] = {str: "text", bool: "true or false", int: "whole number", float: "number"}


def _allowed(info: Any, tables: tuple[type[Declared], ...]) -> str:
    """What may stand at a key: range and unit, choices or type."""
    declared = declaration(info)
    if declared is not None:
        of_many = any(get_origin(part) is tuple for part in _parts(info.annotation))
        return ("list: " if of_many else "") + _range(declared["low"], declared["high"], str(declared["unit"]))
    bounds = {type(item).__name__: item for item in info.metadata}
    if {"Ge", "Le"} <= set(bounds):
        return f"whole number, {bounds['Ge'].ge} to {bounds['Le'].le}"
    if tables:
        return _of_tables(info.annotation, tables)
    return " or ".join(dict.fromkeys(_words(part) for part in _parts(info.annotation)))


def _range(low: float, high: float, unit: str) -> str:
    symbol = UNITS[unit].symbol
    if low <= -UNBOUNDED and high >= UNBOUNDED:
        return f"any number {symbol}".strip()
    if high >= UNBOUNDED:
        return f"{low:g} {symbol} or more".replace("  ", " ")
    return f"{low:.10g} to {high:.10g} {symbol}".strip()


def _of_tables(annotation: object, tables: tuple[type[Declared], ...]) -> str:
    kinds = {get_origin(part) for part in _parts(annotation)}
    what = "tables" if tuple in kinds else "tables by name" if dict in kinds else "table"
    return f"{what}; `kind` decides" if len(tables) > 1 else what


def _words(part: object) -> str:
    if part in _WORDS:
        return _WORDS[part]
    if get_origin(part) is tuple:
        return f"list: {_words(next(_parts(get_args(part)[0])))}"
    if get_origin(part) is dict:
        return f"table: {_words(next(_parts(get_args(part)[1])))} by name"
    if get_origin(part) is Literal:
        return ", ".join(f'`"{choice}"`' for choice in get_args(part))
    if isinstance(part, type) and issubclass(part, Enum):
        return ", ".join(f'`"{member.value}"`' for member in part)
    return "text, number, flag or list"


def _default(info: Any) -> str:
    """The default as a file would write it."""
    declared = declaration(info)
    value = info.default if declared is None else declared["default_in_unit"]
    match value:
        case None:
            return "left out"
        case bool():
            return str(value).lower()
        case Enum():
            return f'`"{value.value}"`'
        case Declared():
            kind = kind_of(type(value))
            return f'kind `"{kind}"`' if kind else "its defaults"
        case tuple() | dict() if not value:
            return "none"
        case tuple():
            return ", ".join(f'`"{item}"`' for item in cast(tuple[object, ...], value))
        case str():
            return f'`"{value}"`'
        case _:
            return f"{value:.6g}"


@dataclass
class _Shown:
    """What a page has shown already: the label of each table by its declaration."""

    labels: dict[type[Declared], str] = field(default_factory=dict[type[Declared], str])


class KeysDirective(SphinxDirective):
    """Sections with the keys of a file: `declared-keys` with module and name of its declaration, and a `prefix`."""

    required_arguments = 1
    option_spec = {"prefix": directives.unchanged_required}  # noqa: RUF012 - the form that docutils asks for

    def run(self) -> list[nodes.Node]:
        """The table of the file's own keys, then a section for each table below."""
        module, _, name = self.arguments[0].rpartition(".")
        model: type[Declared] = getattr(import_module(module), name)
        shown = _Shown({model: self.options["prefix"]})
        top = section(self.state.document, f"{self.options['prefix']}", [nodes.Text("Top of the file")])
        top += self._keys(model, "", "")
        found: list[nodes.Node] = [top]
        for place in places(model):
            found += self._section(place, shown)
        return found

    def _section(self, place: Place, shown: _Shown) -> list[nodes.Node]:
        prefix = str(self.options["prefix"])
        if place.model in shown.labels:
            return []
        title: list[nodes.Node] = [code(place.header)]
        title += [nodes.Text(" with kind "), code(f'"{place.kind}"')] if place.kind else []
        shown.labels[place.model] = f"{prefix} {place.label}"
        found = section(self.state.document, f"{prefix} {place.label}", title)
        found += docstring_nodes(place.model.__doc__ or "")
        again = [other.header for other in self._all() if other.model is place.model and other.path != place.path]
        if again:
            also = nodes.paragraph("", "Also at ")
            for number, header in enumerate(dict.fromkeys(again)):
                also += [nodes.Text(", " if number else ""), code(header)]
            also += nodes.Text(".")
            found += also
        found += self._keys(place.model, place.path, place.kind)
        return [found]

    def _all(self) -> list[Place]:
        module, _, name = self.arguments[0].rpartition(".")
        return list(places(getattr(import_module(module), name)))

    def _keys(self, model: type[Declared], path: str, kind: str) -> nodes.table:
        rows = [
            (
                [self._anchored(key.name, path, kind)],
                key.allowed,
                key.default or "required",
                key.sentence,
            )
            for key in keys_of(model)
        ]
        return table(("key", "allowed", "default", "what it is"), rows, (24, 24, 14, 38))

    def _anchored(self, name: str, path: str, kind: str) -> nodes.literal:
        shown = code(name)
        shown["ids"] = [nodes.make_id(f"key {self.options['prefix']} {path} {kind} {name}")]
        return shown
