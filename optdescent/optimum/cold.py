"""An optimum found cold: the best order of events on meshes fine enough, mended where a finer mesh shows overlaps."""

from __future__ import annotations

from optdescent.ocp import Memory, Outcome, Settings, find_chatter
from optdescent.optimum.conflict import DemandsConflict, NotConverged, telling
from optdescent.optimum.events import COLLAPSED
from optdescent.optimum.first_trial import first_trial
from optdescent.optimum.progress import Progress
from optdescent.optimum.search import mended
from optdescent.optimum.trial import Trial
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import Selection

Found = Trial | DemandsConflict | NotConverged
_MOST_REFINED = 3


def found_cold(scenario: Scenario, progress: Progress, memory: Memory, settings: Settings) -> Trial:
    """The best order of events, solved on a mesh fine enough [SI]; scenarios alike may share a `memory`.

    Where the speed hardly falls on the glide path, an optimum may pass the speed of the next selection by the room it
    has and let it rise again, so that a device comes miles later; to lose a little more it swings the load factor on
    any mesh. Then these speeds are kept without room; and so where neither a descent nor a conflict was found, since
    the room may lead astray there.

    Raises
    ------
    DemandsConflict
        No descent meets the demands; the smallest conflict found.
    NotConverged
        Neither an optimum nor a conflict was found.
    """
    loose = _found(scenario, progress, memory, settings, is_firm=False)
    if isinstance(loose, Trial) and not (loose.lives_by_room or _swings(loose)):
        return loose
    if isinstance(loose, DemandsConflict):
        raise loose
    firm: Found = loose
    if scenario.handling.configuration is Selection.SCHEDULED:
        progress("once more, speeds of selections kept without room")
        firm = _found(scenario, progress, memory, settings, is_firm=True)
    if isinstance(firm, Trial) and not (isinstance(loose, Trial) and firm.solution.outcome is Outcome.COARSE):
        return firm
    if isinstance(loose, Trial):
        return loose
    raise telling(*(failure for failure in (loose, firm) if not isinstance(failure, Trial)))


def _swings(trial: Trial) -> bool:
    """Whether the load factor swings on any mesh, so that none was fine enough."""
    is_coarse = trial.solution.outcome is Outcome.COARSE
    return is_coarse and "load_factor" in {swing.control for swing in find_chatter(trial.solution)}


def _found(scenario: Scenario, progress: Progress, memory: Memory, settings: Settings, is_firm: bool) -> Found:
    """One search, or why it found nothing."""
    try:
        trial = first_trial(scenario, progress, memory, is_firm)
        for left in reversed(range(_MOST_REFINED)):
            progress("optimum on a finer mesh, events in the order " + trial.sentence)
            trial = trial.refined(settings)
            if trial.overlap < COLLAPSED:
                return trial
            if left:
                trial = mended(scenario, trial, progress, memory)
    except (DemandsConflict, NotConverged) as failure:
        return failure
    return NotConverged(f"events overlap by {trial.overlap:.0f} m on a finer mesh", trial.solution.iterations)
