"""Each rule flown in every condition of a set: how often it holds, by how much, what it costs, what breaks it."""

from __future__ import annotations

from optdescent.margins.attribution import ordering
from optdescent.margins.breaking import Break, Breaking
from optdescent.margins.flown import Flown, flown
from optdescent.margins.met import Met, check_flown
from optdescent.margins.optima import optima_of
from optdescent.margins.table import described, shares_by_driver, table_by_rule, table_of_cases, what_breaks
from optdescent.optimum.progress import Progress, silent
from optdescent.results import Provenance
from optdescent.results.over_conditions import OverConditions
from optdescent.rules.fleet import Fleet
from optdescent.scenario import Scenario


def margins_over(met: Met, optima: int, progress: Progress | None = None) -> OverConditions:
    """Rules flown in every condition, and optima in some of them, evenly spread [SI].

    A rule that cannot be flown in some conditions, or in none, says so in its row; it does not stop the others.

    Parameters
    ----------
    optima : int
        In how many conditions the optimum is computed to compare fuel and time with [-]: it takes seconds, a flown
        rule a millisecond.

    Raises
    ------
    InputFault
        No rule can be flown in any condition.
    """
    say = progress or silent
    asked, conditions = met.asked, met.asked.conditions
    say("optima of some conditions")
    best = optima_of(met, optima)
    breaking = Breaking(asked)
    each: list[Flown] = []
    breaks: list[Break] = []
    for rule, reasons in zip(met.rules, met.reasons, strict=True):
        say(f"flying {rule.name}")
        fleet = Fleet(rule)
        each.append(flown(fleet, met.scenarios, reasons))
        breaks.append(breaking.of(fleet) if each[-1].judged else breaking.unknown(each[-1].told))
    check_flown([one.reasons for one in each], met.name)
    base = Scenario.from_data(dict(asked.data), asked.name, asked.folder)
    table = table_by_rule(met, base.arrival.glide_path.gradient, each, best).assign(
        {
            **what_breaks(breaks, breaking),
            **shares_by_driver(each, conditions.axes, met.levels, ordering(conditions.axes, met.scenarios)),
        }
    )
    provenance = Provenance(base.title, base.text, base.digest)
    return OverConditions(described(table), table_of_cases(met, each, best), provenance)
