"""The cases: problems of the engine's tests with a parameter to change, meshes, and optima known from outside.

Optima and their sources stand in the docstrings of ``tests.ocp.benchmark_problems``. Where an optimum is known in
closed form it is used for both values of the parameter. Elsewhere the reference is the engine's own solution refined
to a local error of 1e-7, which must agree with the published number to the digits printed there.
"""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import casadi as ca

from benchmarks.peers.descent import descent
from optdescent.ocp import BoundaryConstraint, Guess, Parameter, Problem


def _test_problems() -> Any:
    """The module ``tests.ocp.benchmark_problems``, by its path: a peer installs a package called ``tests`` too."""
    path = Path(__file__).resolve().parents[2] / "tests" / "ocp" / "benchmark_problems.py"
    spec = importlib.util.spec_from_file_location("benchmark_problems", path)
    if spec is None or spec.loader is None:
        raise FileNotFoundError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


posed = _test_problems()


@dataclass(frozen=True)
class Case:
    """A problem, the parameter that is changed, and what is known of its optimum.

    ``pose`` makes a fresh problem and its straight guess. ``exact`` maps the parameter's value to the optimal cost.
    ``published`` is the optimal cost in print for the nominal value and ``digits`` half its last digit. ``size``
    is what errors are divided by. ``elements`` per phase, of ``degree`` points each. ``refer`` is another form of
    the problem to take the reference from.
    """

    name: str
    pose: Callable[[], tuple[Problem, Guess]]
    parameter: str
    nominal: float
    changed: float
    elements: int
    degree: int
    size: float
    exact: Callable[[float], float] | None = None
    refer: Callable[[], tuple[Problem, Guess]] | None = None
    published: float = math.nan
    digits: float = math.inf

    @cached_property
    def shared(self) -> tuple[Problem, Guess]:
        """One posed problem for the peers to read: making the engine's own objects must not count as their time."""
        return self.pose()


def _with_dry_mass(make: Callable[[], tuple[Problem, Guess]], last: str) -> Callable[[], tuple[Problem, Guess]]:
    """The rocket with its mass at burn-out as a parameter.

    The mass is then free to fall below 0.6 on the way: with that limit left in place the nominal value, and no other,
    would meet it in every point of the coast.
    """

    def pose() -> tuple[Problem, Guess]:
        problem, guess = make()
        phases = tuple(
            replace(p, states=tuple(replace(v, lower=0.5) if v.name == "m" else v for v in p.states))
            for p in problem.phases
        )
        kept = tuple(b for b in problem.boundaries if b.name != "end m")
        dry = BoundaryConstraint("end m", lambda e: e[last].end["m"], lambda q: q["dry mass"], lambda q: q["dry mass"])
        return replace(problem, phases=phases, boundaries=(*kept, dry), parameters=(Parameter("dry mass"),)), guess

    return pose


Rates = Callable[[Any], dict[str, Any]]


def _with_parameter(
    make: Callable[[], tuple[Problem, Guess]], name: str, rates: Rates | None = None, start: str = ""
) -> Callable[[], tuple[Problem, Guess]]:
    """A problem of one phase with a number of its rates, or the state it has at the ``start``, as a parameter."""

    def pose() -> tuple[Problem, Guess]:
        problem, guess = make()
        (phase,) = problem.phases
        held = f"start {start}"
        own = BoundaryConstraint(held, lambda e: e["arc"].start[start], lambda q: q[name], lambda q: q[name])
        rows = tuple(own if b.name == held else b for b in problem.boundaries)
        moved = replace(phase, rates=rates or phase.rates)
        return replace(problem, phases=(moved,), boundaries=rows, parameters=(Parameter(name),)), guess

    return pose


def _steered(p: Any) -> dict[str, Any]:
    return {"x": p["vx"], "y": p["vy"], "vx": p["pull"] * ca.cos(p["u"]), "vy": p["pull"] * ca.sin(p["u"])}


def _ranging(p: Any) -> dict[str, Any]:
    return {"x": p["v"] * ca.cos(p["u"]), "y": p["v"] * ca.sin(p["u"]), "v": p["push"] - ca.sin(p["u"])}


CASES = (
    Case(
        "brachistochrone", posed.brachistochrone, "gravity", 9.80665, 9.6, 12, 4, 1.8,
        exact=lambda g: 1.8016031225 * math.sqrt(9.80665 / g),
        published=1.8016031225, digits=5e-11,
    ),
    Case(
        "Bryson-Denham", posed.bryson_denham, "limit", 0.10, 0.102, 15, 4, 4.0,
        exact=lambda limit: 4.0 / (9.0 * limit),
        published=4.0 / 0.9, digits=1e-12,
    ),
    Case("Zermelo", posed.zermelo, "shear", 1.0, 1.02, 12, 4, 5.0, published=5.264932, digits=5e-7),
    Case("hang glider", posed.hang_glider, "updraught", 1.0, 1.02, 50, 5, 1248.0, published=-1248.0310, digits=5e-5),
    Case(
        "Goddard, one phase", _with_dry_mass(posed.goddard, "arc"), "dry mass", 0.6, 0.61, 40, 3, 0.01284,
        refer=_with_dry_mass(posed.goddard_three, "coast"), published=-1.01284, digits=5e-6,
    ),
    Case(
        "Goddard, three phases", _with_dry_mass(posed.goddard_three, "coast"), "dry mass", 0.6, 0.61, 4, 6, 0.01284,
        published=-1.01284, digits=5e-6,
    ),
    Case(
        "double integrator", posed.double_integrator, "distance", 1.0, 1.02, 20, 4, 2.0,
        exact=lambda distance: 2.0 * math.sqrt(distance),
        published=2.0, digits=1e-12,
    ),
    Case(
        "particle steering", _with_parameter(posed.particle_steering, "pull", _steered), "pull", 100.0, 101.0, 15, 4,
        0.5545709, published=0.5545709, digits=5e-8,
    ),
    Case(
        "maximum range", _with_parameter(posed.maximum_range, "push", _ranging), "push", 0.5, 0.51, 15, 4, 1.712315,
        published=-1.712315, digits=5e-7,
    ),
    Case(
        "Aly-Chan", _with_parameter(posed.aly_chan, "speed", start="x2"), "speed", 0.98, 0.96, 15, 4, 0.5,
        exact=lambda _: 0.0,
    ),
    Case("descent", descent, "mass at start", 60e3, 61e3, 40, 4, 359.0),
)  # fmt: skip
