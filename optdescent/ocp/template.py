"""Expressions formed once, for symbols of their own, and written again for others: faster than forming them anew."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Generic, Protocol, TypeVar, cast

import casadi as ca

Made = TypeVar("Made")


class Looked(Protocol):
    """A point whose names can be looked up, like `Point`."""

    @property
    def independent(self) -> ca.SX:
        """The independent variable [any unit]."""
        ...

    def __getitem__(self, name: str) -> Any:
        """Expression of a name, or its value [any unit]."""
        ...


class _Asked:
    """A point of symbols: one for each name that is looked up, of the shape that it has at another point."""

    def __init__(self, like: Looked) -> None:
        self.independent = ca.SX.sym("independent")
        self.symbols: dict[str, ca.SX] = {}
        self._like = like

    def __getitem__(self, name: str) -> ca.SX:
        if name not in self.symbols:
            self.symbols[name] = ca.SX.sym(name, *ca.SX(self._like[name]).shape)
        return self.symbols[name]


@dataclass(frozen=True)
class Template(Generic[Made]):
    """What a function of a point and of some more scalars gives: dataclasses and tuples of scalar expressions.

    ``names`` are those that it looks up, ``function`` maps (independent, more, each of the names) to all
    scalars, common parts once.
    """

    made: Made
    names: tuple[str, ...]
    function: ca.Function

    @classmethod
    def of(cls, form: Callable[[Looked, Sequence[ca.SX]], Made], like: Looked, more: int) -> Template[Made]:
        """Call ``form`` with symbols [-], in the place of a point ``like`` this and of so many scalars."""
        asked, others = _Asked(like), ca.SX.sym("more", more)
        made = form(asked, [others[i] for i in range(more)])
        inputs = [asked.independent, others, *asked.symbols.values()]
        tidy = ca.cse([ca.vertcat(*_scalars(made))])
        return cls(made, tuple(asked.symbols), ca.Function("template", inputs, tidy))

    def at(self, point: Looked, more: Sequence[ca.SX | float]) -> Made:
        """The same for a point and these scalars [any unit]."""
        found = self.function(point.independent, ca.vertcat(*more), *(point[name] for name in self.names))
        return cast(Made, _again(self.made, iter(ca.vertsplit(found))))


def _scalars(made: Any) -> Iterator[ca.SX | float]:
    if is_dataclass(made):
        made = tuple(getattr(made, field.name) for field in fields(made))
    if isinstance(made, tuple):
        for part in cast("tuple[Any, ...]", made):
            yield from _scalars(part)
    else:
        yield made


def _again(made: Any, scalars: Iterator[ca.SX]) -> Any:
    if is_dataclass(made):
        return type(made)(*(_again(getattr(made, field.name), scalars) for field in fields(made)))
    if isinstance(made, tuple):
        return tuple(_again(part, scalars) for part in cast("tuple[Any, ...]", made))
    return next(scalars)
