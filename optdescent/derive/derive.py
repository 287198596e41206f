"""Rules derived: searched in one set of conditions, judged and chosen in another, the prediction tested in a third."""

from __future__ import annotations

import math
import string
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optdescent.derive.declaration import DeriveDeclaration
from optdescent.derive.family import Candidate, Family, things_to_remember
from optdescent.derive.flown import Fly, flying
from optdescent.derive.front import Array, non_dominated, predicted_share, recommended, share_needed
from optdescent.derive.rule_file import rule_file_text
from optdescent.derive.search import Score, Search
from optdescent.derive.sets import Use, sets_of
from optdescent.inputs import Fault, InputFault
from optdescent.optimum.progress import Progress, silent
from optdescent.results import Provenance
from optdescent.results.front import Effort, Front, front_dataset
from optdescent.rules import Rule
from optdescent.rules.compared import Compared, mean_of, means_compared, share_interval
from optdescent.rules.judged import Judged
from optdescent.sweep.question import Asked
from optdescent.units import NAUTICAL_MILE


@dataclass(frozen=True)
class Library:
    """Rules that the derived ones stand beside, and where they are from."""

    name: str
    rules: tuple[Rule, ...]


@dataclass(frozen=True)
class Derived:
    """The front, and the derived rules on it as the text of a rule file."""

    front: Front
    rule_file: str

    @property
    def shortfall(self) -> float:
        """How far the low end of the best derived rule's interval is from the wanted share [-]; 0 where it has it."""
        front = self.front
        best = float(np.max(front.column("held_share_low")[front.flags("is_derived")]))
        return max(front.wanted - best, 0.0)


@dataclass(frozen=True)
class _Entry:
    """A rule to judge; `data` is what a rule file holds of a derived one [file units]."""

    rule: Rule
    trained: Score | None = None
    data: Mapping[str, Any] | None = None


def derive(
    asked: Asked,
    declared: DeriveDeclaration,
    library: Library,
    provenance: Provenance,
    name: str,
    workers: int = 1,
    progress: Progress | None = None,
) -> Derived:
    """Rules of thumb with least fuel for a wanted share of stable gates, beside those of a library [SI].

    Parameters
    ----------
    name : str
        The study's file, as messages show it.
    workers : int
        Processes that fly rules [-]; a script that asks for more than one does so under `if __name__ == "__main__"`,
        because each of them reads the script.

    Raises
    ------
    InputFault
        The conditions are no sample, or cannot be drawn three times without a common case; or the start is too near
        for any rule of the family.
    """
    say = progress or silent
    say("conditions")
    sets = sets_of(asked, declared, name)
    family = Family.of(sets.scenarios[Use.TRAIN], _knots(declared))
    if not family.is_sound(family.start):
        allowed = "a start from which a descent of 400 ft for each nm begins later"
        raise InputFault([Fault(name, "scenario", "begins too near: every rule would begin before it", allowed)])
    with flying(sets.scenarios, workers) as fly:
        search = _searched(family, declared, fly, say)
        source = f"derived by optdescent from {provenance.title} ({provenance.scenario_digest}), not published"
        entries = [*_derived(search, source, library), *(_Entry(rule) for rule in library.rules)]
        say(f"judging {len(entries)} rules")
        # together, because two sets take little longer than one
        judged = fly([entry.rule for entry in entries], (Use.CHECK, Use.UNSEEN))
    effort = Effort(
        declared.stable_share,
        declared.keep_limits,
        declared.alike,
        declared.train,
        declared.check,
        declared.unseen,
        len(search.scored),
        search.is_cut_short,
        library.name,
    )
    front = _front(entries, judged, declared, effort, provenance)
    told = [
        entry.data for entry, is_told in zip(entries, _told(front), strict=True) if entry.data is not None and is_told
    ]
    return Derived(front, rule_file_text(told, front))


def _searched(family: Family, declared: DeriveDeclaration, fly: Fly, say: Progress) -> Search:
    def scored(candidates: Sequence[Candidate]) -> list[Score]:
        return [
            Score.of(own, declared.held(own)) for own in fly([family.rule(one) for one in candidates], (Use.TRAIN,))
        ]

    search = Search(family, scored, asked_in_training(declared), declared.most_parts, declared.most_rules)
    search.run(say)
    return search


def asked_in_training(declared: DeriveDeclaration) -> float:
    """Share [-] that the search asks for: a standard error more than what a rule needs there, because it picks."""
    needed = share_needed(declared.stable_share, declared.check)
    return min(needed + math.sqrt(needed * (1.0 - needed) / declared.train), 1.0)


def _knots(declared: DeriveDeclaration) -> float | None:
    """Descent speed held [kt]."""
    return None if declared.descent is None else round(declared.descent / NAUTICAL_MILE * 3600.0, 6)


def _derived(search: Search, source: str, library: Library) -> list[_Entry]:
    """The finalists of a search, named by how many things there are to remember."""
    taken = {rule.name for rule in library.rules}
    found: list[_Entry] = []
    for candidate in search.finalists():
        stem = f"derived-{candidate.simplicity}"
        name = next(one for one in _names(stem) if one not in taken)
        taken.add(name)
        data = search.family.data(candidate, name, source)
        rule = search.family.rule(candidate, name, source)
        found.append(_Entry(rule, search.scored[candidate], data))
    return found


def _names(stem: str) -> Sequence[str]:
    """Names in the order in which they are taken: a, b, ..."""
    return [f"{stem}{one}{other}" for one in ("", *string.ascii_lowercase) for other in string.ascii_lowercase]


def _front(
    entries: Sequence[_Entry],
    judged: Sequence[Judged],
    declared: DeriveDeclaration,
    effort: Effort,
    provenance: Provenance,
) -> Front:
    held = [declared.held(own) for own in judged]
    rows = [_row(entry, own, there, effort) for entry, own, there in zip(entries, judged, held, strict=True)]
    columns: dict[str, Array] = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    check, unseen = _fuel_compared(judged, held, effort.check)
    columns |= {"fuel_mean": check.mean, "same_conditions": check.conditions, "unseen_fuel_mean": unseen.mean}
    known = np.where(np.isfinite(check.mean), check.mean, np.inf)
    columns["is_on_front"] = non_dominated(columns["simplicity"], known, columns["held_share"]).astype(float)
    columns["is_recommended"] = recommended(columns, effort)
    rules = [entry.rule for entry in entries]
    names, titles, sources = ([getattr(rule, key) for rule in rules] for key in ("name", "title", "source"))
    told = replace(effort, compared_with=names[check.beside])
    return Front(front_dataset(names, titles, sources, columns, told), provenance)


def _fuel_compared(
    judged: Sequence[Judged], held: Sequence[NDArray[np.bool_]], checked: int
) -> tuple[Compared, Compared]:
    """Fuel over the same conditions of the check set, which come first, and of the unseen, beside one rule [SI].

    Where no rule holds in any condition there is nothing to compare but all flights: then it is of those, in no same
    conditions.
    """
    if not any(own[:checked].any() for own in held):
        found = [mean_of(own.fuel[part]) for part in _parts(checked) for own in judged]
        none, unknown = np.zeros(len(judged)), np.full(len(judged), np.nan)
        check, unseen = np.array(found[: none.size]), np.array(found[none.size :])
        return Compared(check, unknown, none, 0), Compared(unseen, unknown, none, 0)
    parts = [([own.fuel[part] for own in judged], [own[part] for own in held]) for part in _parts(checked)]
    compared = means_compared(*parts[0])
    return compared, means_compared(*parts[1], beside=compared.beside)


def _parts(checked: int) -> tuple[slice, slice]:
    """Where the check set stands among conditions [-], and where the unseen."""
    return slice(None, checked), slice(checked, None)


def _told(front: Front) -> NDArray[np.bool_]:
    """Which rules (rule,) go into the rule file: derived, and on the front or recommended; all, if none is [-]."""
    is_derived = front.flags("is_derived")
    told = is_derived & (front.flags("is_on_front") | front.flags("is_recommended"))
    return told if told.any() else is_derived


def _row(entry: _Entry, own: Judged, held: NDArray[np.bool_], effort: Effort) -> dict[str, float]:
    """Numbers of one rule by column [SI], those that compare rules left out; `held` (condition,) says where it does."""
    check, unseen = held[: effort.check], held[effort.check :]
    count = int(np.count_nonzero(check))
    low, high = share_interval(count, effort.check)
    predicted = predicted_share(count, effort.check, effort.unseen)
    return {
        "simplicity": float(things_to_remember(entry.rule)),
        "held_share": count / effort.check,
        "held_share_low": low,
        "held_share_high": high,
        "stable_share": float(np.mean(own.stable[: effort.check])),
        "limits_kept_share": float(np.mean((own.stable & own.limits_kept)[: effort.check])),
        "fuel_held_mean": mean_of(own.fuel[: effort.check][check]),
        "time_mean": mean_of(own.time[: effort.check][check]),
        "train_held_share": float("nan") if entry.trained is None else entry.trained.held_share,
        "predicted_low": predicted[0],
        "predicted_high": predicted[1],
        "unseen_held_share": float(np.mean(unseen)),
        "is_derived": float(entry.data is not None),
    }
