"""The tables of a report: what each stored result says, in the words and the rounding of the field."""

from __future__ import annotations

from collections.abc import Iterator
from typing import assert_never

from optdescent.report.debrief_tables import debrief_tables
from optdescent.report.flight_tables import action_table, flight_table, miss_table, optimum_tables
from optdescent.report.given import Given
from optdescent.report.map_tables import corridor_tables, last_useful_table, sheet_table, slope_tables
from optdescent.report.rule_tables import condition_tables, fit_table, front_table, margin_tables, sweep_tables, texts
from optdescent.results import Fit, Flight
from optdescent.results.corridor import Corridor
from optdescent.results.debrief import Debrief
from optdescent.results.front import Front
from optdescent.results.kinds import Alone
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.results.rule_sheet import RuleSheet
from optdescent.results.slope import SlopeChart
from optdescent.results.sweep import Swept
from optdescent.results.tables import Table


def tables_of(given: tuple[Given, ...]) -> tuple[Table, ...]:
    """Every table of results; no two have one name."""
    found: list[Table] = []
    for digest in dict.fromkeys(one.provenance.scenario_digest for one in given):
        own = [one for one in given if one.provenance.scenario_digest == digest]
        flights = tuple(one.held for one in own if isinstance(one.held, Flight))
        for one in own:
            found += () if isinstance(one.held, Flight) else _of_one(one.held)
        if flights:
            found += [
                *flight_table(flights, _told(own)),
                *miss_table(flights),
                *optimum_tables(flights),
                *action_table(flights),
            ]
    return tuple(_renamed(found))


def _told(given: list[Given]) -> frozenset[str]:
    """Names of the flights that a table of margins tells already."""
    tables = [one.held.table for one in given if isinstance(one.held, Margins)]
    return frozenset(name for table in tables for name in texts(table, "flight"))


def _of_one(held: Alone) -> tuple[Table, ...]:
    """Tables of a result that stands alone."""
    match held:
        case Margins():
            return margin_tables(held)
        case OverConditions():
            return condition_tables(held)
        case Corridor():
            return corridor_tables(held)
        case SlopeChart():
            return slope_tables(held)
        case Swept():
            return sweep_tables(held)
        case Debrief():
            return debrief_tables(held)
        case tuple():
            return (last_useful_table(held),)
        case _:
            return (_table_of(held),)


def _table_of(held: Front | Fit | RuleSheet) -> Table:
    """The one table of a result that has one."""
    match held:
        case Front():
            return front_table(held)
        case Fit():
            return fit_table(held)
        case RuleSheet():
            return sheet_table(held)
        case _:
            assert_never(held)


def _renamed(tables: list[Table]) -> Iterator[Table]:
    """The tables, a number behind a name that another has already."""
    seen: dict[str, int] = {}
    for table in tables:
        seen[table.name] = seen.get(table.name, 0) + 1
        number = seen[table.name]
        name = table.name if number == 1 else f"{table.name}-{number}"
        yield Table(name, table.title, table.headings, table.rows, table.note, table.source)
