"""When no descent meets the demands: which of them conflict, and by how much.

An elastic problem lets every demand of the arrival give way, weighted so that amounts read in feet, knots and miles,
and finds the smallest relaxation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from optdescent.airframe.speeds import devices
from optdescent.ocp import Demand, Guess, Kind, Problem, Relaxation, Solution, SolverSettings, Span, relax
from optdescent.optimum.boundaries import HEIGHT_MET
from optdescent.optimum.events import COLLAPSED, Event, EventKind
from optdescent.optimum.pose import Pose, overlap
from optdescent.optimum.quantities import altitude_of_hold
from optdescent.optimum.words import hold_down_named, limit_named
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

_ALTITUDE_WEIGHT = 1.0 / (100.0 * FOOT)
_SPEED_WEIGHT = 1.0 / (3.0 * KNOT)
_SINK_WEIGHT = 1.0 / (100.0 * FOOT_PER_MINUTE)
_BANK_WEIGHT = 1.0 / (2.0 * DEGREE)
_PLACE_WEIGHT = 1.0 / NAUTICAL_MILE
"""A mile is worth 100 ft, so that the start gives way rather than most demands."""
_LARGE = 10.0
"""Size [-] from which a conflict is told with how much farther out a descent would begin: 1000 ft, or 30 kt."""
_FARTHER = 0.1 * NAUTICAL_MILE
_ORDER_WEIGHT = 1.0
_FUEL_WEIGHT = 1e-3
"""Of all descents with the smallest relaxation the one with the least fuel: far too little to change the relaxation."""
_SMALLEST = 0.05
_HARD = 0.05
_MOST_NAMED = 4
_NOTHING_ELSE = "; none of the other demands that may give way stands against it"
_FIRST = SolverSettings(tolerance=1e-7, iterations=300, push=1e-2, barrier=1e-2)
_ELASTIC = (_FIRST, replace(_FIRST, push=1e-1, barrier=None))
"""How the smallest relaxation is sought, then sought again: what ends takes up to 270 iterations."""
_BUILT = 5.0
"""How much rather any other height gives way than the glide path, which is built into the ground."""


@dataclass(frozen=True)
class Shortfall:
    """One demand that gives way in the smallest relaxation: its sentence and the largest amount in `unit`."""

    demand: str
    amount: float
    unit: str

    def __str__(self) -> str:
        return f"{self.demand} by {self.amount:.{0 if self.amount >= 10 else 1}f} {self.unit}"


class DemandsConflict(Exception):
    """The demands cannot all be met (exit status 3).

    `shortfalls` is the smallest relaxation that mends it, found in so many `iterations`, and `size` the weighted sum
    [-] of its amounts, each demand's largest; `opposing` names the demands that hold but stand against it.
    `farther_out` is how much farther out [m] the descent would have to begin instead, if that alone mends it; it may be
    looked for with what the relaxation was `sought` with.
    """

    def __init__(
        self,
        shortfalls: tuple[Shortfall, ...],
        opposing: tuple[str, ...] = (),
        iterations: int = 0,
        size: float = math.nan,
        farther_out: float | None = None,
        sought: tuple[Pose, Problem, Guess, Solution] | None = None,
    ) -> None:
        self.shortfalls, self.opposing, self.iterations, self.size = shortfalls, opposing, iterations, size
        self.farther_out, self.sought = farther_out, sought
        given = "; ".join(str(shortfall) for shortfall in shortfalls)
        alone = _NOTHING_ELSE if len(shortfalls) == 1 else ""
        against = f"; what stands against: {', '.join(opposing)}" if opposing else alone
        instead = f"; or the descent begins {farther_out / NAUTICAL_MILE:.1f} nm farther out" if farther_out else ""
        super().__init__(f"the demands conflict; the least that mends it is to relax {given}{against}{instead}")


class NotConverged(Exception):
    """The solver found neither an optimum nor a conflict of demands (exit status 4).

    `ending` is how it stopped, after so many `iterations` of its last solve. `is_feasible` : a relaxation that relaxes
    nothing says that there is a descent.
    """

    def __init__(self, ending: str, iterations: int = 0, is_feasible: bool = False) -> None:
        self.iterations, self.is_feasible = iterations, is_feasible
        super().__init__(
            f"neither a descent nor a conflict of its demands was found (solver: {ending}); "
            "try other windows, capture heights or speeds near these: what changes between them shows the cause"
        )


def telling(*failures: DemandsConflict | NotConverged) -> DemandsConflict | NotConverged:
    """The failure to tell of several searches: that there is a descent, else the smallest conflict, if there is one."""
    feasible = [failure for failure in failures if isinstance(failure, NotConverged) and failure.is_feasible]
    conflicts = [failure for failure in failures if isinstance(failure, DemandsConflict)]
    return next(iter(feasible), min(conflicts, key=lambda conflict: conflict.size, default=failures[0]))


def least_size(scenario: Scenario) -> float:
    """Size [-] that a conflict has at least in any order: that of a gate off the glide path, on which it is passed."""
    arrival = scenario.arrival
    placed = [(gate.height, -gate.distance) for gate in arrival.gates if gate.distance is not None]
    off = [abs(height - arrival.glide_path.height(x)) - HEIGHT_MET for height, x in placed]
    return _ALTITUDE_WEIGHT * max([0.0, *off])


@dataclass(frozen=True)
class _Soft:
    """A demand of the engine, and how to say it: sentence, unit, SI size of one unit."""

    demand: Demand
    sentence: str
    unit: str
    factor: float


def _soft_demands(pose: Pose, problem: Problem) -> tuple[_Soft, ...]:
    found: list[_Soft] = []
    for boundary in problem.boundaries:
        sentence = _boundary_sentence(pose.scenario, boundary.name)
        if sentence is None:
            continue
        is_speed = "speed" in boundary.name and not boundary.name.startswith("altitude of")
        weight, unit, factor = (_SPEED_WEIGHT, "kt", KNOT) if is_speed else (_ALTITUDE_WEIGHT, "ft", FOOT)
        if boundary.name == "on the glide path":
            weight *= _BUILT
        found.append(_Soft(Demand(Kind.BOUNDARY, boundary.name, weight=weight), sentence, unit, factor))
    for leg in pose.legs:
        phase = problem.phase(leg.name)
        for path in phase.path:
            entry = _path_entry(pose.scenario, path.name)
            if entry is not None:
                found.append(_Soft(Demand(Kind.PATH, path.name, leg.name, entry[1]), entry[0], entry[2], entry[3]))
    return tuple(found)


def _boundary_sentence(scenario: Scenario, name: str) -> str | None:
    return _placed_sentence(scenario, name) or _other_sentence(scenario, name)


def _placed_sentence(scenario: Scenario, name: str) -> str | None:
    """A demand at a place: of a window, a hold-down or a gate."""
    for index, window in enumerate(scenario.arrival.windows):
        label = Event(EventKind.WINDOW, index).label
        if name.endswith(f" at {label}"):
            what = name.removesuffix(f" at {label}").removeprefix("exact ")
            return f"the {what} of window {window.name!r}"
    for index, hold in enumerate(scenario.arrival.hold_downs):
        if name == altitude_of_hold(index):
            return f"the level of {hold_down_named(hold)}"
    for index, gate in enumerate(scenario.arrival.gates):
        label = Event(EventKind.GATE, index).label
        if name == f"speed at the {label}":
            return f"the speed at the gate ({gate.height / FOOT:.0f} ft above the threshold)"
        if name == f"height at the {label}":
            where = f" at {gate.distance / NAUTICAL_MILE:.2f} nm to go" if gate.distance is not None else ""
            return f"the height of the gate ({gate.height / FOOT:.0f} ft{where})"
    return None


def _other_sentence(scenario: Scenario, name: str) -> str | None:
    """The schedule's speeds, and the capture of the glide path."""
    for device in devices(scenario.airframe):
        if name == f"speed at {Event(EventKind.SELECTED, device.number).label}":
            return f"the speed at which the schedule selects {device.name}"
    path = scenario.arrival.glide_path
    match name:
        case "capture height":
            low, high = path.capture_at_least / FOOT, path.capture_at_most / FOOT
            return f"the capture of the glide path between {low:.0f} and {high:.0f} ft"
        case "on the glide path":
            return "the height of the glide path at capture"
        case "speed at capture":
            return "the largest speed at capture"
        case _:
            return None


def _path_entry(scenario: Scenario, name: str) -> tuple[str, float, str, float] | None:
    for index, limit in enumerate(scenario.arrival.speed_limits):
        if name == Event(EventKind.SPEED_LIMIT, index).label:
            return f"{limit.speed / KNOT:.0f} kt {limit_named(limit)}", _SPEED_WEIGHT, "kt", KNOT
    if name.startswith("floor "):
        return "the floor", _ALTITUDE_WEIGHT, "ft", FOOT
    if name.startswith("sink rate at the gate"):
        return "the sink limit of the gate", _SINK_WEIGHT, "ft/min", FOOT_PER_MINUTE
    match name:
        case "largest speed":
            return "the largest operating speed", _SPEED_WEIGHT, "kt", KNOT
        case "sink rate":
            return "the sink limit", _SINK_WEIGHT, "ft/min", FOOT_PER_MINUTE
        case "bank":
            return "the largest bank", _BANK_WEIGHT, "degrees", DEGREE
        case "capture from below" | "capture from above":
            return name, _ALTITUDE_WEIGHT, "ft", FOOT
        case _:
            return None


def _free_to_move(pose: Pose, problem: Problem) -> Problem:
    """The problem with events that are free to lie before where the descent was to start, if the start gives way."""

    def span(event: Event | None, given: Span) -> Span:
        is_held = event is None or event.is_fixed or event.kind is EventKind.THRESHOLD
        return given if is_held else Span(-math.inf, 0.0)

    phases = [(leg, problem.phase(leg.name)) for leg in pose.legs]
    freed = (replace(p, start=span(leg.begins, p.start), end=span(leg.ends, p.end)) for leg, p in phases)
    return replace(problem, phases=tuple(freed))


@dataclass(frozen=True)
class Relaxed:
    """The smallest relaxation found: the descent with it, and what gave way (None: nothing had to)."""

    solution: Solution
    conflict: DemandsConflict | None


def with_start(conflict: DemandsConflict) -> DemandsConflict:
    """A large conflict with how much farther out the descent would have to begin, if that alone mends it [SI]."""
    if conflict.sought is None or conflict.size <= _LARGE:
        return conflict
    pose, problem, guess, tried = conflict.sought
    start = Demand(Kind.START, phase=pose.legs[0].name, weight=_PLACE_WEIGHT)
    soft = {item.demand: item for item in _soft_demands(pose, problem)}
    found = _least(pose, _free_to_move(pose, problem), (start, *soft), guess, tried)
    others = (amount / soft[demand].factor for demand, amount in found.given.items() if demand != start)
    moved = -found.solution[start.phase].start - pose.scenario.start.distance
    overlaps = sum(found.solution.statics[overlap(leg)] for leg in pose.legs)
    is_descent = found.solution.is_usable and overlaps < COLLAPSED
    if not is_descent or moved < _FARTHER or any(amount > _SMALLEST for amount in others):
        return conflict
    return DemandsConflict(conflict.shortfalls, conflict.opposing, conflict.iterations, conflict.size, moved)


def _least(pose: Pose, problem: Problem, demands: tuple[Demand, ...], guess: Guess, tried: Solution) -> Relaxation:
    """The smallest relaxation of demands, of those the one with the least fuel."""
    return relax(
        problem,
        demands,
        Guess(guess.phases, dict.fromkeys(guess.statics, 0.0)),
        tried.values,
        tried.mesh,
        _ELASTIC,
        beside=lambda ends: _ORDER_WEIGHT * pose.overlap(ends) + _FUEL_WEIGHT * pose.cost(ends),
    )


def relaxed(pose: Pose, problem: Problem, guess: Guess, tried: Solution) -> Relaxed | None:
    """The smallest relaxation that makes a problem feasible in its order of events, or None if none was found [SI]."""
    soft = _soft_demands(pose, problem)
    found = _least(pose, problem, tuple(item.demand for item in soft), guess, tried)
    if not found.solution.is_usable:
        return None
    by_demand = {item.demand: item for item in soft}
    largest: dict[tuple[str, str], tuple[float, float]] = {}
    for demand, amount in found.given.items():
        item = by_demand[demand]
        name, told = (item.sentence, item.unit), (amount / item.factor, demand.weight * amount)
        largest[name] = max(largest.get(name, told), told)
    amounts = [(sentence, amount, unit) for (sentence, unit), (amount, _) in largest.items()]
    shortfalls = tuple(Shortfall(*told) for told in amounts if told[1] > _SMALLEST)
    # A demand gives way once it pushes with its weight: the share of that says how much it stands against the others.
    pushes = {demand: push / demand.weight for demand, push in found.opposing.items()}
    hardest = sorted((demand for demand in pushes if pushes[demand] > _HARD), key=lambda demand: -pushes[demand])
    opposing = dict.fromkeys(by_demand[demand].sentence for demand in hardest)
    against, spent = tuple(opposing)[:_MOST_NAMED], found.solution.iterations
    size = sum(weighted for _, weighted in largest.values())
    sought = pose, problem, guess, tried
    conflict = DemandsConflict(shortfalls, against, spent, size, sought=sought) if shortfalls else None
    return Relaxed(found.solution, conflict)
