"""The engine against the fastest right peer on each case, and whether the targets are met."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchmarks.peers.contest import Result
from benchmarks.peers.engine import Engine

FIRST_EACH, FIRST_MEAN = 2.0, 3.0
AGAIN_EACH, AGAIN_MEAN = 4.0, 10.0
# Below this, errors say more about solvers' tolerances than about discretisations.
FLOOR = 1e-7


@dataclass(frozen=True)
class Duel:
    """Times of the fastest peer over the engine's on one case; who that is; whether the engine's error is no larger."""

    case: str
    first: float
    first_peer: str
    again: float
    again_peer: str
    is_as_exact: bool


def duels(results: Sequence[Result]) -> list[Duel]:
    """One for each case that the engine and at least one peer solved rightly."""
    found: list[Duel] = []
    for name in dict.fromkeys(r.case for r in results):
        own = next(r for r in results if r.case == name and r.library == Engine.name)
        peers = [r for r in results if r.case == name and r.library not in (Engine.name, "refined") and r.is_right]
        if not own.is_right or not peers:
            continue
        first = min(peers, key=lambda r: r.first)
        again = min(peers, key=lambda r: r.again)
        exact = _no_worse(_larger(own), min(_larger(first), _larger(again)))
        found.append(Duel(name, first.first / own.first, first.library, again.again / own.again, again.library, exact))
    return found


def _larger(result: Result) -> float:
    """The error on a case is the larger of its two solves.

    Along a singular arc a coarse mesh has optima beside each other, and the errors of one solve scatter.
    """
    return max(result.error, result.error_again)


def _no_worse(own: float, other: float) -> bool:
    return own <= max(1.02 * other, FLOOR)


def sentences(found: Sequence[Duel], results: Sequence[Result]) -> list[str]:
    """The targets, one a line, met or not, and what the engine itself got wrong."""
    wrong = [r.case for r in results if r.library == Engine.name and not r.is_right]
    lines = [f"solved rightly: {_met(not wrong)}" + (f" ({', '.join(wrong)} not)" if wrong else "")]
    if not found:
        return [*lines, "No peer solved anything: nothing to compare with."]
    for what, values, each, mean in (
        ("build + first solve", [d.first for d in found], FIRST_EACH, FIRST_MEAN),
        ("re-solve", [d.again for d in found], AGAIN_EACH, AGAIN_MEAN),
    ):
        least, middle = min(values), math.exp(sum(math.log(v) for v in values) / len(values))
        behind = [f"{d.case} {v:.1f}" for d, v in zip(found, values, strict=True) if v < each]
        lines.append(
            f"{what}: {least:.1f} times faster at least (target {each:g}: {_met(least >= each)}"
            + (f"; below it: {', '.join(behind)}" if behind else "")
            + f"), {middle:.1f} in the geometric mean (target {mean:g}: {_met(middle >= mean)})"
        )
    worse = [d.case for d in found if not d.is_as_exact]
    lines.append(f"error equal or better: {_met(not worse)}" + (f" ({', '.join(worse)} worse)" if worse else ""))
    return lines


def _met(is_met: bool) -> str:
    return "met" if is_met else "NOT met"
