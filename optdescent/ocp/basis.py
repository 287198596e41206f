"""Gauss and Gauss-Radau points on [0, 1]: nodes, weights, differentiation and interpolation, any degree.

References
----------
Garg et al., A unified framework for the numerical solution of optimal control problems using
pseudospectral methods, Automatica 46 (2010). Berrut and Trefethen, Barycentric Lagrange interpolation,
SIAM Review 46 (2004).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import roots_jacobi

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Flags = NDArray[np.bool_]
Long = NDArray[np.longdouble]


class Family(Enum):
    """Which end of an element carries a collocation point."""

    FLIPPED = "Radau points with the end of every element collocated"
    STANDARD = "Radau points with the start of every element collocated"
    GAUSS = "Gauss points: neither end of an element is collocated"


@dataclass(frozen=True)
class Basis:
    """One element on [0, 1].

    collocation : (d,) abscissae where the dynamics hold.
    weights : (d,) quadrature weights, exact for polynomials to degree 2 d - 2 (Radau) or 2 d - 1 (Gauss).
    nodes : (d + 1,) state nodes: the collocation points and one end (the start, for Gauss).
    differentiation : (d, d + 1) derivative at the collocation points of the polynomial through ``nodes``.
    first : index in ``nodes`` of the first collocation point (0 standard, 1 otherwise).
    closure : (d + 1,) value at 1 of the polynomial through ``nodes``.
    """

    collocation: Array
    weights: Array
    nodes: Array
    differentiation: Array
    first: int
    closure: Array


def _long(values: object) -> Long:
    return np.asarray(values, dtype=np.longdouble)


def _legendre(degree: int, x: Long) -> tuple[Long, Long]:
    """P_degree and P_(degree-1) at x, in extended accuracy."""
    before, now = np.zeros_like(x), np.ones_like(x)
    for k in range(degree):
        before, now = now, ((2 * k + 1) * x * now - k * before) / (k + 1)
    return _long(now), _long(before)


def _radau(degree: int) -> tuple[Long, Long]:
    """Standard Radau points on [0, 1] (the first is 0) and weights, polished by Newton's method."""
    inner: Long = np.empty(0, dtype=np.longdouble)
    if degree > 1:
        inner = np.asarray(roots_jacobi(degree - 1, 0.0, 1.0)[0], dtype=np.longdouble)
    for _ in range(3):
        high, low = _legendre(degree, inner)
        _, lower = _legendre(degree - 1, inner)
        slope_high = degree * (low - inner * high) / (1 - inner**2)
        slope_low = (degree - 1) * (lower - inner * low) / (1 - inner**2)
        inner = inner - (high + low) / (slope_high + slope_low)
    x = np.concatenate([np.array([-1], dtype=np.longdouble), inner])
    _, low = _legendre(degree, x)
    return _long((1 + x) / 2), _long((1 - x) / (degree * low) ** 2 / 2)


def _gauss(degree: int) -> tuple[Long, Long]:
    """Gauss points and weights on [0, 1], polished by Newton's method."""
    x = np.asarray(np.polynomial.legendre.leggauss(degree)[0], dtype=np.longdouble)
    for _ in range(3):
        high, low = _legendre(degree, x)
        x = x - high * (1 - x**2) / (degree * (low - x * high))
    high, low = _legendre(degree, x)
    slope = degree * (low - x * high) / (1 - x**2)
    return _long((1 + x) / 2), _long(1 / ((1 - x**2) * slope**2))


def _barycentric(nodes: Long) -> Long:
    difference = nodes[:, None] - nodes[None, :] + np.eye(nodes.size, dtype=np.longdouble)
    return _long(1 / np.prod(4 * difference, axis=1))


@lru_cache(maxsize=256)
def basis(degree: int, family: Family) -> Basis:
    """The element of ``degree`` collocation points.

    Raises
    ------
    ValueError : degree below 1.
    """
    if degree < 1:
        raise ValueError(f"degree must be at least 1, not {degree}")
    zero, one = np.zeros(1, dtype=np.longdouble), np.ones(1, dtype=np.longdouble)
    if family is Family.GAUSS:
        points, weights = _gauss(degree)
        nodes, first = np.concatenate([zero, points]), 1
    elif family is Family.FLIPPED:
        points, weights = (part[::-1] for part in _radau(degree))
        points = 1 - points
        nodes, first = np.concatenate([zero, points]), 1
    else:
        points, weights = _radau(degree)
        nodes, first = np.concatenate([points, one]), 0
    factor = _barycentric(nodes)
    gap = nodes[:, None] - nodes[None, :] + np.eye(degree + 1, dtype=np.longdouble)
    matrix = factor[None, :] / factor[:, None] / gap
    np.fill_diagonal(matrix, 0)
    np.fill_diagonal(matrix, -matrix.sum(axis=1))
    return Basis(
        np.asarray(points, dtype=float),
        np.asarray(weights, dtype=float),
        np.asarray(nodes, dtype=float),
        np.asarray(matrix[first : first + degree], dtype=float),
        first,
        interpolation(np.asarray(nodes, dtype=float), np.ones(1))[0],
    )


@lru_cache(maxsize=1024)
def _factors(nodes: tuple[float, ...]) -> Array:
    return np.asarray(_barycentric(np.asarray(nodes, dtype=np.longdouble)), dtype=float)


def interpolation(nodes: Array, at: Array) -> Array:
    """Matrix (m, n) that maps values at ``nodes`` (n,) to the polynomial's values at ``at`` (m,)."""
    factor = _factors(tuple(nodes.tolist()))
    gap = at[:, None] - nodes[None, :]
    exact = gap == 0.0
    matrix = factor[None, :] / np.where(exact, 1.0, gap)
    hit = exact.any(axis=1)
    matrix[hit] = exact[hit].astype(float)
    return matrix / matrix.sum(axis=1, keepdims=True)


@lru_cache(maxsize=256)
def integration(degree: int, family: Family) -> Array:
    """Matrix (d + 1, d): integral from 0 to every node of the polynomial through the collocation points."""
    element = basis(degree, family)
    x, w = np.polynomial.legendre.leggauss(max(1, (degree + 1) // 2 + 1))
    rows = [
        (node / 2 * w) @ interpolation(element.collocation, node * (1 + x) / 2) if node > 0 else np.zeros(degree)
        for node in element.nodes
    ]
    return np.asarray(rows)
