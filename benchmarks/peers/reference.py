"""What each case's optimum is, for both values of its parameter."""

from __future__ import annotations

from dataclasses import dataclass

from benchmarks.peers.cases import Case
from optdescent.ocp import RefineSettings, Settings, SolverSettings, solve

_FINE = Settings(
    SolverSettings(tolerance=1e-11), RefineSettings(local_error=1e-7, excess=1e-6, cost_change=1e-10, rounds=30)
)


@dataclass(frozen=True)
class Reference:
    """The optimal costs, where they come from, and how far the nominal one is from the number in print."""

    nominal: float
    changed: float
    source: str
    agrees: bool


def reference(case: Case) -> Reference:
    """In closed form if there is one; otherwise the engine's refined solution, held against the published number."""
    if case.exact is not None:
        nominal, source = case.exact(case.nominal), "closed form"
        changed = case.exact(case.changed)
    else:
        nominal, changed = _refined(case, case.nominal), _refined(case, case.changed)
        source = "refined, published digits" if case.published == case.published else "refined, nothing published"
    gap = abs(nominal - case.published)
    return Reference(nominal, changed, source, not gap > 1.2 * case.digits)


def _refined(case: Case, value: float) -> float:
    problem, guess = (case.refer or case.pose)()
    return solve(problem, guess, {case.parameter: value}, settings=_FINE).cost
