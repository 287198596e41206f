"""A better mesh from a solution and its local errors: higher degree where smooth, splits at kinks, merging where idle.

An element is smooth when the Legendre coefficients of its rates fall fast enough for a few more points to reach
the error asked for. In other elements the controls of the neighbours are continued into the element from both
sides: where a jump between the two explains the mean control, or where the two cross, is where it is split.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from optdescent.ocp.basis import Array, Family, basis, interpolation
from optdescent.ocp.error import PhaseError
from optdescent.ocp.mesh import Mesh, PhaseMesh
from optdescent.ocp.solution import PhaseSolution, Round, Solution

_LOWEST_DEGREE = 3
_FAST = 0.6
_SMOOTH = 1.0
_EDGE = 0.05
_FAR = 10.0
_GUARD = 0.2
_MARGIN = 0.02
_STRONG = 0.2
_ALIKE = 1e-6
"""Controls that differ by less, in units of what they can differ by, are the same."""
_NARROW = 1e-7
_REACH = 1e3
"""How many of its own lengths an element's polynomials are continued beyond it: farther off rounding has the say."""
_WORST = 0.01


@dataclass(frozen=True)
class RefineSettings:
    """When a mesh is good enough, and how it may grow.

    local_error : largest state error per element in units of the state's scale. excess : largest violation of a
    limit between points in units of its scale. cost_change : how much the cost may still move from the mesh before,
    as a fraction of the cost plus its scale. largest_degree : of an element. rounds : how many new meshes.
    calming : how many times a quarter of the error is asked for where controls swing on a mesh that is good enough.
    """

    local_error: float = 1e-6
    excess: float = 1e-4
    cost_change: float = 1e-6
    largest_degree: int = 10
    rounds: int = 15
    calming: int = 2


def stricter(settings: RefineSettings) -> RefineSettings:
    """What is asked for where controls swing on a mesh that is good enough."""
    return replace(settings, local_error=settings.local_error / 4)


def is_good(errors: dict[str, PhaseError], settings: RefineSettings) -> bool:
    """Whether every element is within the errors asked for."""
    return largest_need(errors, settings) <= 1.0


def largest_need(errors: dict[str, PhaseError], settings: RefineSettings) -> float:
    """Largest error of any element over what was asked for [-]."""
    return max(float(np.max(_need(e, settings))) for e in errors.values())


def has_settled(history: tuple[Round, ...], found: Solution, settings: RefineSettings) -> bool:
    """Whether the cost has stopped moving from one mesh to the next."""
    if len(history) < 2:
        return False
    return abs(found.cost - history[-2].cost) <= settings.cost_change * (abs(found.cost) + found.scales["cost"])


def enriched(mesh: Mesh, settings: RefineSettings) -> Mesh:
    """The same elements with one more point each, or halved at the largest degree.

    Dynamics that the polynomials obey whatever the control show no local error; a cost that moves on this mesh does.
    """
    return Mesh({name: _enriched_phase(own, settings.largest_degree) for name, own in mesh.phases.items()})


def _enriched_phase(mesh: PhaseMesh, largest: int) -> PhaseMesh:
    fractions: list[float] = []
    degrees: list[int] = []
    for fraction, degree in zip(mesh.fractions, mesh.degrees, strict=True):
        halves = 1 if degree < largest else 2
        fractions += [fraction / halves] * halves
        degrees += [min(degree + 1, max(degree, largest))] * halves
    return PhaseMesh(tuple(fractions), tuple(degrees), mesh.family)


def _need(error: PhaseError, settings: RefineSettings) -> Array:
    """(elements,) error over what was asked for."""
    return np.maximum(error.state / settings.local_error, error.violation / settings.excess)


def refine(solution: Solution, errors: dict[str, PhaseError], settings: RefineSettings) -> Mesh:
    """The next mesh for ``solution``."""
    return Mesh(
        {
            name: _refine_phase(
                own,
                _need(errors[name], settings),
                {n: settings.local_error * solution.scales[f"{name}.{n}"] for n in own.states},
                settings,
            )
            for name, own in solution.phases.items()
        }
    )


def _refine_phase(own: PhaseSolution, need: Array, floors: Mapping[str, float], settings: RefineSettings) -> PhaseMesh:
    mesh = own.mesh
    degrees = list(mesh.degrees)
    cuts: list[float] = []
    for k in np.flatnonzero(need > max(1.0, _WORST * float(np.max(need)))):
        rate = decay(own, int(k), floors)
        more = int(np.ceil(np.log10(need[k]) / max(rate, 1e-3))) + 1
        if rate >= _FAST and degrees[k] + more <= settings.largest_degree:
            degrees[k] += more
        elif mesh.fractions[k] > _NARROW:
            cut = _cut(own, int(k))
            cuts.append(cut)
            if need[k] > _FAR:
                room = _GUARD * mesh.fractions[k]
                cuts += [c for c in (cut - room, cut + room) if mesh.edges[k] + room < c < mesh.edges[k + 1] - room]
    merged = _idle(own, need, settings)
    if not cuts and not merged and tuple(degrees) == mesh.degrees:
        return mesh
    return _rebuild(mesh, degrees, cuts, merged)


def decay(own: PhaseSolution, element: int, floors: Mapping[str, float]) -> float:
    """How many decades [-] the Legendre coefficients of the slowest state's rate lose per degree.

    ``floors`` : per state, the change over the element that does not matter; smaller coefficients do not count, and
    a rate that falls below within the element's degree is as smooth as can be asked.
    """
    mesh = own.mesh
    degree = mesh.degrees[element]
    if degree < _LOWEST_DEGREE:
        return 1.0
    first = mesh.first_node[element]
    to_legendre = _to_legendre(degree, mesh.family)
    slowest = _SMOOTH
    for name, values in own.states.items():
        size = np.abs(to_legendre @ (mesh.bases[element].differentiation @ values[first : first + degree + 1]))
        tail = np.maximum.accumulate(size[::-1])[::-1][1:]
        above = tail[tail > floors[name]]
        if above.size < tail.size:
            continue
        slowest = min(slowest, -_slope(np.log10(above)))
    return slowest


@lru_cache(maxsize=64)
def _to_legendre(degree: int, family: Family) -> Array:
    """Matrix from values at the collocation points of an element to Legendre coefficients."""
    places = 2 * basis(degree, family).collocation - 1
    return np.asarray(np.linalg.inv(np.polynomial.legendre.legvander(places, degree - 1)), dtype=float)


def _slope(values: Array) -> float:
    """Slope of the straight line that fits equidistant values best."""
    away = np.arange(values.size) - (values.size - 1) / 2
    return float(away @ values / (away @ away))


def _continued(own: PhaseSolution, values: Array, element: int, at: Array, side: int) -> Array:
    """The control beside an element continued to ``at`` (fractions of the phase) from three points there.

    The points lie about as far apart as the element is wide, so that noise is not blown up.
    """
    mesh = own.mesh
    width = mesh.fractions[element]
    points = np.arange(mesh.points)
    if side < 0:
        points = points[: mesh.first_column[element]][::-1]
        away = mesh.edges[element] - mesh.collocation[points]
    else:
        points = points[mesh.first_column[element + 1] :]
        away = mesh.collocation[points] - mesh.edges[element + 1]
    chosen = sorted({int(np.argmin(np.abs(away - target * width))) for target in (0.0, 0.5, 1.0)})
    nodes = mesh.collocation[points[chosen]]
    matrix = interpolation((nodes - nodes[0]) / width, (at - nodes[0]) / width)
    return matrix @ values[points[chosen]]


def _cut(own: PhaseSolution, element: int) -> float:
    """Where to split an element, as a fraction of the phase."""
    mesh = own.mesh
    low, high = float(mesh.edges[element]), float(mesh.edges[element + 1])
    middle = (low + high) / 2
    if element in (0, len(mesh.degrees) - 1):
        return middle
    grid = np.linspace(low, high, 65)
    best, where = 0.0, middle
    for name, values in own.controls.items():
        limits = own.control_limits[name]
        left = np.clip(_continued(own, values, element, grid, -1), *limits)
        right = np.clip(_continued(own, values, element, grid, 1), *limits)
        width = limits[1] - limits[0]
        span = width if np.isfinite(width) and width > 0.0 else (float(np.ptp(values)) or 1.0)
        inside = slice(mesh.first_column[element], mesh.first_column[element + 1])
        mean = float(mesh.bases[element].weights @ np.clip(values[inside], *limits))
        found = _jump(grid, left, right, mean, _ALIKE * span)
        strength = float(np.max(np.abs(left - right))) / span
        if found is not None and strength > max(best, 0.01):
            best, where = strength, found
    whole = high - low
    if best < _STRONG and not low + _EDGE * whole <= where <= high - _EDGE * whole:
        # A weak sign of a kink beside an existing boundary says no more than that the boundary is near it.
        return middle
    return float(np.clip(where, low + _MARGIN * whole, high - _MARGIN * whole))


def _jump(grid: Array, left: Array, right: Array, mean: float, alike: float) -> float | None:
    """Place in ``grid`` where ``left`` and ``right`` cross, else where switching from one to the other gives the mean.

    Where they lie no farther apart than ``alike``, as at a limit, rounding would say which of them is above.
    """
    step = np.diff(grid)
    before = np.concatenate([[0.0], np.cumsum(step * (left[1:] + left[:-1]) / 2)])
    after = np.concatenate([[0.0], np.cumsum(step * (right[1:] + right[:-1]) / 2)])
    for values, least in (
        (left - right, alike),
        (before + (after[-1] - after) - mean * (grid[-1] - grid[0]), alike * (grid[-1] - grid[0])),
    ):
        found = _roots(grid, values, least)
        if len(found) == 1:
            return found[0]
    return None


def _roots(grid: Array, values: Array, least: float) -> list[float]:
    """Where ``values`` change their sign, but for where they are smaller than ``least`` at several points."""
    large = np.flatnonzero(np.abs(values) > least)
    first, last = large[:-1], large[1:]
    turns = (np.sign(values[first]) * np.sign(values[last]) < 0) & (last - first <= 2)
    first, last = first[turns], last[turns]
    parts = values[first] / (values[first] - values[last])
    return (grid[first] + parts * (grid[last] - grid[first])).tolist()


def _idle(own: PhaseSolution, need: Array, settings: RefineSettings) -> set[int]:
    """Inner boundaries that can go: the polynomials of the left element hold in the right one too."""
    mesh = own.mesh
    gone: set[int] = set()
    for k in range(len(mesh.degrees) - 1):
        scale, other = mesh.fractions[k : k + 2]
        if max(need[k], need[k + 1]) > 1e-2 or k in gone or scale + other > 0.25 or other > _REACH * scale:
            continue
        ok = True
        for values, nodes, first in (
            *((v, mesh.nodes, mesh.first_node) for v in own.states.values()),
            *((v, mesh.collocation, mesh.first_column) for v in own.controls.values()),
        ):
            here, there = slice(first[k], first[k + 1]), slice(first[k + 1], first[k + 2])
            base = float(mesh.edges[k])
            matrix = interpolation((nodes[here] - base) / scale, (nodes[there] - base) / scale)
            bound = settings.local_error * (1e-300 + float(np.max(np.abs(values))))
            ok = ok and bool(np.max(np.abs(matrix @ values[here] - values[there])) <= bound)
        if ok:
            gone.add(k + 1)
    return gone


def _rebuild(mesh: PhaseMesh, degrees: list[int], cuts: list[float], merged: set[int]) -> PhaseMesh:
    """Insert ``cuts``, drop ``merged`` boundaries and those that crowd a cut; degrees follow their elements."""
    kept = [float(mesh.edges[0])]
    for k in range(1, len(degrees)):
        edge = float(mesh.edges[k])
        room = 0.25 * min(mesh.fractions[k - 1], mesh.fractions[k])
        if k not in merged and not any(abs(edge - cut) < room for cut in cuts):
            kept.append(edge)
    edges = np.asarray(sorted({*kept, *cuts, 1.0}))
    middles = (edges[1:] + edges[:-1]) / 2
    inherited = [degrees[int(k)] for k in mesh.locate(middles)]
    fractions = np.diff(edges)
    return PhaseMesh(tuple((fractions / fractions.sum()).tolist()), tuple(inherited), mesh.family)
