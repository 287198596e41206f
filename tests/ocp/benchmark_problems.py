"""Optimal-control benchmark problems with known optima, posed for the engine; sources beside each."""

from __future__ import annotations

import math

import casadi as ca

from optdescent.ocp import (
    BoundaryConstraint,
    Guess,
    Link,
    Parameter,
    Phase,
    PhaseGuess,
    Problem,
    Span,
    Variable,
)


def ends(start: dict[str, float], end: dict[str, float], phase: str = "arc") -> tuple[BoundaryConstraint, ...]:
    """Fixed values of states at the start and end of a phase."""
    rows = [BoundaryConstraint(f"start {n}", lambda e, n=n: e[phase].start[n], v, v) for n, v in start.items()]
    rows += [BoundaryConstraint(f"end {n}", lambda e, n=n: e[phase].end[n], v, v) for n, v in end.items()]
    return tuple(rows)


def brachistochrone() -> tuple[Problem, Guess]:
    """Bernoulli 1696; optimum 1.8016031225 s from the cycloid."""
    phase = Phase(
        "arc",
        (Variable("x"), Variable("y"), Variable("v")),
        (Variable("theta", -math.pi, math.pi),),
        lambda p: {
            "x": p["v"] * ca.cos(p["theta"]),
            "y": p["v"] * ca.sin(p["theta"]),
            "v": p["gravity"] * ca.sin(p["theta"]),
        },
        Span(0, 0),
        Span(0, 10),
    )
    problem = Problem(
        "brachistochrone",
        (phase,),
        lambda e: e["arc"].end.independent,
        boundaries=ends({"x": 0, "y": 0, "v": 0}, {"x": 10, "y": 5}),
        parameters=(Parameter("gravity"),),
    )
    guess = PhaseGuess([0, 2], {"x": [0, 10], "y": [0, 5], "v": [0, 10]}, {"theta": [1.0, 1.0]})
    return problem, Guess({"arc": guess})


def bryson_denham() -> tuple[Problem, Guess]:
    """Bryson, Denham, Dreyfus 1963; optimum 4/(9 l) for l <= 1/6."""
    phase = Phase(
        "arc",
        (Variable("x", upper=lambda q: q["limit"]), Variable("v")),
        (Variable("u"),),
        lambda p: {"x": p["v"], "v": p["u"]},
        Span(0, 0),
        Span(1, 1),
        integrand=lambda p: p["u"] ** 2 / 2,
    )
    problem = Problem(
        "Bryson-Denham",
        (phase,),
        lambda e: e["arc"].integral,
        boundaries=ends({"x": 0, "v": 1}, {"x": 0, "v": -1}),
        parameters=(Parameter("limit"),),
    )
    guess = PhaseGuess([0, 1], {"x": [0, 0], "v": [1, -1]}, {"u": [0, 0]})
    return problem, Guess({"arc": guess})


def _rocket(p: ca.SX, thrust: ca.SX) -> dict[str, ca.SX]:
    drag = 310 * p["v"] ** 2 * ca.exp(-500 * (p["h"] - 1))
    return {"h": p["v"], "v": (thrust - drag) / p["m"] - 1 / p["h"] ** 2, "m": -thrust / 0.5}


_ROCKET_STATES = (Variable("h", 1, 2), Variable("v", 0, 1), Variable("m", 0.6, 1))


def goddard() -> tuple[Problem, Guess]:
    """COPS (Dolan, More, Munson 2004), one phase; optimum 1.01284."""
    phase = Phase(
        "arc",
        _ROCKET_STATES,
        (Variable("thrust", 0, 3.5),),
        lambda p: _rocket(p, p["thrust"]),
        Span(0, 0),
        Span(0.01, 1),
    )
    problem = Problem(
        "Goddard rocket",
        (phase,),
        lambda e: -e["arc"].end["h"],
        boundaries=ends({"h": 1, "v": 0, "m": 1}, {"m": 0.6}),
    )
    guess = PhaseGuess([0, 0.2], {"h": [1, 1.01], "v": [0, 0.05], "m": [1, 0.6]}, {"thrust": [1, 1]})
    return problem, Guess({"arc": guess})


def goddard_three() -> tuple[Problem, Guess]:
    """The Goddard rocket as full thrust, singular arc, coast, with free switches."""
    names = ("h", "v", "m")
    thrusts = {"full": (3.5, 3.5), "singular": (0.0, 3.5), "coast": (0.0, 0.0)}
    phases = tuple(
        Phase(
            name,
            _ROCKET_STATES,
            (Variable("thrust", low, high),),
            lambda p: _rocket(p, p["thrust"]),
            Span(0, 0) if name == "full" else Span(0, 1),
            Span(0, 1),
            kind="rocket",
        )
        for name, (low, high) in thrusts.items()
    )
    problem = Problem(
        "Goddard rocket, three phases",
        phases,
        lambda e: -e["coast"].end["h"],
        links=(Link("full", "singular", names), Link("singular", "coast", names)),
        boundaries=(
            *ends({"h": 1, "v": 0, "m": 1}, {}, "full"),
            *ends({}, {"m": 0.6}, "coast"),
        ),
    )
    return problem, Guess(
        {
            "full": PhaseGuess([0, 0.03], {"h": [1, 1.002], "v": [0, 0.07], "m": [1, 0.85]}, {"thrust": [3.5, 3.5]}),
            "singular": PhaseGuess(
                [0.03, 0.1], {"h": [1.002, 1.007], "v": [0.07, 0.1], "m": [0.85, 0.6]}, {"thrust": [1.5, 1.5]}
            ),
            "coast": PhaseGuess([0.1, 0.2], {"h": [1.007, 1.013], "v": [0.1, 0], "m": [0.6, 0.6]}, {"thrust": [0, 0]}),
        }
    )


def hang_glider() -> tuple[Problem, Guess]:
    """Bulirsch, Nerz, Pesch, von Stryk 1993; optimum 1248.0310 m."""

    def rates(p: ca.SX) -> dict[str, ca.SX]:
        x = (p["x"] / 100 - 2.5) ** 2
        rising = p["vy"] - 2.5 * (1 - x) * ca.exp(-x) * p["updraught"]
        speed = ca.sqrt(p["vx"] ** 2 + rising**2)
        pressure = 0.5 * 1.13 * 14 * speed**2
        lift, drag = pressure * p["cl"], pressure * (0.034 + 0.069662 * p["cl"] ** 2)
        return {
            "x": p["vx"],
            "y": p["vy"],
            "vx": (-lift * rising - drag * p["vx"]) / speed / 100,
            "vy": (lift * p["vx"] - drag * rising) / speed / 100 - 9.80665,
        }

    phase = Phase(
        "arc",
        (Variable("x", 0, 1500), Variable("y", 0, 1500), Variable("vx", 0, 50), Variable("vy", -20, 20)),
        (Variable("cl", 0, 1.4),),
        rates,
        Span(0, 0),
        Span(10, 200),
    )
    problem = Problem(
        "hang glider",
        (phase,),
        lambda e: -e["arc"].end["x"],
        boundaries=ends(
            {"x": 0, "y": 1000, "vx": 13.2275675, "vy": -1.28750052}, {"y": 900, "vx": 13.2275675, "vy": -1.28750052}
        ),
        parameters=(Parameter("updraught"),),
    )
    guess = PhaseGuess(
        [0, 100],
        {"x": [0, 1250], "y": [1000, 900], "vx": [13.23, 13.23], "vy": [-1.29, -1.29]},
        {"cl": [1, 1]},
    )
    return problem, Guess({"arc": guess})


def double_integrator() -> tuple[Problem, Guess]:
    """Rest to rest over ``distance`` with |u| <= 1 in least time: 2 sqrt(distance)."""
    phase = Phase(
        "arc",
        (Variable("x"), Variable("v")),
        (Variable("u", -1, 1),),
        lambda p: {"x": p["v"], "v": p["u"]},
        Span(0, 0),
        Span(0.1, 100),
    )
    problem = Problem(
        "double integrator",
        (phase,),
        lambda e: e["arc"].end.independent,
        boundaries=(
            *ends({"x": 0, "v": 0}, {"v": 0}),
            BoundaryConstraint("end x", lambda e: e["arc"].end["x"], lambda q: q["distance"], lambda q: q["distance"]),
        ),
        parameters=(Parameter("distance"),),
    )
    guess = PhaseGuess([0, 5], {"x": [0, 1], "v": [0, 0]}, {"u": [0, 0]})
    return problem, Guess({"arc": guess})


def particle_steering() -> tuple[Problem, Guess]:
    """COPS (Dolan, More, Munson 2004); optimum 0.5545709."""
    phase = Phase(
        "arc",
        (Variable("x"), Variable("y"), Variable("vx"), Variable("vy")),
        (Variable("u", -math.pi / 2, math.pi / 2),),
        lambda p: {"x": p["vx"], "y": p["vy"], "vx": 100 * ca.cos(p["u"]), "vy": 100 * ca.sin(p["u"])},
        Span(0, 0),
        Span(0.01, 10),
    )
    problem = Problem(
        "particle steering",
        (phase,),
        lambda e: e["arc"].end.independent,
        boundaries=ends({"x": 0, "y": 0, "vx": 0, "vy": 0}, {"y": 5, "vx": 45, "vy": 0}),
    )
    states = {"x": [0, 1], "y": [0, 5], "vx": [0, 45], "vy": [0, 0]}
    return problem, Guess({"arc": PhaseGuess([0, 1], states, {"u": [0, 0]})})


def zermelo() -> tuple[Problem, Guess]:
    """Zermelo's boat in linear shear, Bryson and Ho 1975, section 2.7; optimum 5.264932."""
    phase = Phase(
        "arc",
        (Variable("x"), Variable("y")),
        (Variable("theta"),),
        lambda p: {"x": ca.cos(p["theta"]) - p["shear"] * p["y"], "y": ca.sin(p["theta"])},
        Span(0, 0),
        Span(0.1, 100),
    )
    problem = Problem(
        "Zermelo",
        (phase,),
        lambda e: e["arc"].end.independent,
        boundaries=ends({"x": 3.5, "y": -1.8}, {"x": 0, "y": 0}),
        parameters=(Parameter("shear"),),
    )
    guess = PhaseGuess([0, 5], {"x": [3.5, 0], "y": [-1.8, 0]}, {"theta": [math.pi / 2, math.pi]})
    return problem, Guess({"arc": guess})


def aly_chan() -> tuple[Problem, Guess]:
    """Aly and Chan 1973: singular from end to end; optimum 0 with u = -sin t."""
    phase = Phase(
        "arc",
        (Variable("x1"), Variable("x2")),
        (Variable("u", -1, 1),),
        lambda p: {"x1": p["x2"], "x2": p["u"]},
        Span(0, 0),
        Span(math.pi / 2, math.pi / 2),
        integrand=lambda p: (p["x2"] ** 2 - p["x1"] ** 2) / 2,
    )
    problem = Problem("Aly-Chan", (phase,), lambda e: e["arc"].integral, boundaries=ends({"x1": 0, "x2": 1}, {}))
    return problem, Guess({"arc": PhaseGuess([0, 1.5], {"x1": [0, 0], "x2": [1, 1]}, {"u": [0, 0]})})


def maximum_range() -> tuple[Problem, Guess]:
    """Bryson's maximum range (Dynamic Optimization, 1999); optimum 1.712315."""
    phase = Phase(
        "arc",
        (Variable("x"), Variable("y"), Variable("v")),
        (Variable("u", -math.pi, math.pi),),
        lambda p: {
            "x": p["v"] * ca.cos(p["u"]),
            "y": p["v"] * ca.sin(p["u"]),
            "v": 0.5 - ca.sin(p["u"]),
        },
        Span(0, 0),
        Span(2, 2),
    )
    problem = Problem(
        "maximum range",
        (phase,),
        lambda e: -e["arc"].end["x"],
        boundaries=ends({"x": 0, "y": 0, "v": 0}, {"y": 0.1}),
    )
    guess = PhaseGuess([0, 2], {"x": [0, 1], "y": [0, 0.1], "v": [0, 1]}, {"u": [0, 0]})
    return problem, Guess({"arc": guess})


def bang_singular() -> tuple[Problem, Guess]:
    """Jacobson, Gershwin, Lele 1970, problem with x1^2 + x2^2, and the end cost that keeps the arc singular.

    u = -1 until x2 = -x1 at sqrt(2), then u = x1. The cost of the singular arc and of the end is x1(sqrt 2)^2 / 2.
    """
    phase = Phase(
        "arc",
        (Variable("x1"), Variable("x2")),
        (Variable("u", -1, 1),),
        lambda p: {"x1": p["x2"], "x2": p["u"]},
        Span(0, 0),
        Span(5, 5),
        integrand=lambda p: (p["x1"] ** 2 + p["x2"] ** 2) / 2,
    )
    problem = Problem(
        "bang-singular",
        (phase,),
        lambda e: e["arc"].integral + e["arc"].end["x1"] ** 2 / 2,
        boundaries=ends({"x1": 0, "x2": 1}, {}),
    )
    return problem, Guess({"arc": PhaseGuess([0, 5], {"x1": [0, 0], "x2": [1, 0]}, {"u": [0, 0]})})


def minimum_fuel() -> tuple[Problem, Guess]:
    """Double integrator rest to rest over 1 in time 3 with least |u| (Athans and Falb 1966): full, coast, brake.

    Free switches; the first arc lasts (T - sqrt(T^2 - 4 d)) / 2 and the fuel is twice that.
    """
    names = ("x", "v")
    phases = tuple(
        Phase(
            name,
            (Variable("x"), Variable("v")),
            (),
            lambda p, u=u: {"x": p["v"], "v": ca.SX(u)},
            Span(0, 0) if name == "push" else Span(0, 3),
            Span(3, 3) if name == "brake" else Span(0, 3),
            integrand=lambda p, u=u: ca.SX(abs(u)),
        )
        for name, u in (("push", 1.0), ("coast", 0.0), ("brake", -1.0))
    )
    problem = Problem(
        "minimum fuel",
        phases,
        lambda e: e["push"].integral + e["brake"].integral,
        links=(Link("push", "coast", names), Link("coast", "brake", names)),
        boundaries=(*ends({"x": 0, "v": 0}, {}, "push"), *ends({}, {"x": 1, "v": 0}, "brake")),
    )
    guess = {
        "push": PhaseGuess([0, 1], {"x": [0, 0.3], "v": [0, 0.5]}),
        "coast": PhaseGuess([1, 2], {"x": [0.3, 0.6], "v": [0.5, 0.5]}),
        "brake": PhaseGuess([2, 3], {"x": [0.6, 1], "v": [0.5, 0]}),
    }
    return problem, Guess(guess)


def third_order() -> tuple[Problem, Guess]:
    """A state constraint of order three (after Jacobson, Lele, Speyer 1971): x''' = u, x <= 0.1, least energy.

    Such a constraint is touched at isolated points only; here at the middle, by symmetry.
    """
    phase = Phase(
        "arc",
        (Variable("x", upper=lambda q: q["limit"]), Variable("v"), Variable("a")),
        (Variable("u"),),
        lambda p: {"x": p["v"], "v": p["a"], "a": p["u"]},
        Span(0, 0),
        Span(1, 1),
        integrand=lambda p: p["u"] ** 2 / 2,
    )
    problem = Problem(
        "third-order constraint",
        (phase,),
        lambda e: e["arc"].integral,
        boundaries=ends({"x": 0, "v": 1, "a": 0}, {"x": 0, "v": -1, "a": 0}),
        parameters=(Parameter("limit"),),
    )
    guess = PhaseGuess([0, 1], {"x": [0, 0], "v": [1, -1], "a": [0, 0]}, {"u": [0, 0]})
    return problem, Guess({"arc": guess})
