"""An optimum found cold: the best order of events on meshes fine enough, mended where a finer mesh shows overlaps."""

from __future__ import annotations

from optdescent.ocp import Memory, Outcome, Settings, find_chatter
from optdescent.optimum.conflict import DemandsConflict, NotConverged
from optdescent.optimum.events import COLLAPSED
from optdescent.optimum.first_trial import first_trial
from optdescent.optimum.progress import Progress
from optdescent.optimum.search import mended
from optdescent.optimum.trial import Trial
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import Selection

_MOST_MENDED = 3


def found_cold(scenario: Scenario, progress: Progress, memory: Memory, settings: Settings) -> Trial:
    """The best order of events, solved on a mesh fine enough [SI]; scenarios alike may share a `memory`.

    Where the speed hardly falls on the glide path, an optimum may pass a least speed by the room it has and let it rise
    again, so that a device comes miles later; to lose a little more it swings the load factor on any mesh. Then the
    least speeds are held without room; and so where no descent was found, since the room may lead astray there.

    Raises
    ------
    DemandsConflict
        No descent meets the demands.
    NotConverged
        Neither an optimum nor a conflict was found.
    """
    try:
        trial = _found(scenario, progress, memory, settings, is_firm=False)
    except (DemandsConflict, NotConverged):
        firm = _firm(scenario, progress, memory, settings)
        if firm is None:
            raise
        return firm
    swings = {swing.control for swing in find_chatter(trial.solution)}
    if trial.solution.outcome is not Outcome.COARSE or "load_factor" not in swings:
        return trial
    firm = _firm(scenario, progress, memory, settings)
    return trial if firm is None or firm.solution.outcome is Outcome.COARSE else firm


def _firm(scenario: Scenario, progress: Progress, memory: Memory, settings: Settings) -> Trial | None:
    """The same with least speeds held without room, on the schedule; None if nothing was found."""
    if scenario.handling.configuration is not Selection.SCHEDULED:
        return None
    progress("once more, least speeds held without room")
    try:
        return _found(scenario, progress, memory, settings, is_firm=True)
    except (DemandsConflict, NotConverged):
        return None


def _found(scenario: Scenario, progress: Progress, memory: Memory, settings: Settings, is_firm: bool) -> Trial:
    trial = first_trial(scenario, progress, memory, is_firm)
    for _ in range(_MOST_MENDED):
        progress("optimum on a finer mesh, events in the order " + trial.sentence)
        trial = trial.refined(settings)
        if trial.overlap < COLLAPSED:
            return trial
        trial = mended(scenario, trial, progress, memory)
    raise NotConverged(f"events overlap by {trial.overlap:.0f} m on a finer mesh", trial.solution.iterations)
