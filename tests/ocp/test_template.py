"""Expressions formed once and written again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import casadi as ca
import numpy as np
import pytest

from optdescent.ocp import Point, Template
from optdescent.ocp.template import Looked


@dataclass(frozen=True)
class Pair:
    one: ca.SX
    two: float | ca.SX


@dataclass(frozen=True)
class Made:
    pair: Pair
    column: tuple[ca.SX, ...]


def form(point: Looked, more: Sequence[ca.SX]) -> Made:
    x, q = point["x"], point["q"]
    return Made(Pair(x * q[1] + more[0], 2.5), (point.independent**2, ca.sin(x) * more[1]))


def point(name: str) -> tuple[Point, ca.SX, ca.SX, ca.SX]:
    s, x, q = ca.SX.sym("s"), ca.SX.sym("x"), ca.SX.sym("q", 2)
    return Point(s, {"x": x, "q": q, "unused": ca.SX.sym("unused")}, name), s, x, q


def scalars(made: Made) -> ca.SX:
    return ca.vertcat(made.pair.one, made.pair.two, *made.column)


def test_it_gives_what_forming_it_gives() -> None:
    first, *_ = point("first")
    template = Template.of(form, first, 2)
    assert set(template.names) == {"x", "q"}
    other, s, x, q = point("other")
    more = [s + 1.0, 3.0]
    made = template.at(other, more)
    direct = form(other, [ca.SX(value) for value in more])
    assert isinstance(made.pair, Pair)
    functions = [ca.Function("f", [s, x, q], [scalars(one)]) for one in (made, direct)]
    numbers = (0.3, 0.7, np.array([2.0, -1.5]))
    again, formed = (np.asarray(f(*numbers).full()).ravel() for f in functions)
    assert again == pytest.approx(formed, rel=1e-14)
    assert formed == pytest.approx([0.7 * -1.5 + 1.3, 2.5, 0.09, 3.0 * np.sin(0.7)], rel=1e-14)


def test_numbers_fold() -> None:
    """A device that is in leaves nothing of its drag behind."""
    first, *_ = point("first")
    template = Template.of(form, first, 2)
    other, *_ = point("other")
    assert template.at(other, [0.0, 0.0]).column[1].is_zero()
