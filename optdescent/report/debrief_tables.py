"""Tables of a debrief: findings in order of time, other actions from a moment on, last useful points."""

from __future__ import annotations

from optdescent.report.flight_tables import DISTANCE
from optdescent.report.map_tables import last_useful_table
from optdescent.results.debrief import Debrief
from optdescent.results.tables import Heading, Table, Value

TIME = Heading("time", "time", "min")


def debrief_tables(found: Debrief) -> tuple[Table, ...]:
    """Findings, what other actions would have made of the flight, and last useful points, where there are any."""
    made = [_findings(found)]
    if found.what_ifs:
        made.append(_what_ifs(found))
    return (*made, last_useful_table((found.last,))) if found.last.actions else tuple(made)


def _findings(found: Debrief) -> Table:
    headings = (
        Heading("number", "number"),
        TIME,
        DISTANCE,
        Heading("height", "height above the threshold", "ft"),
        Heading("speed", "calibrated airspeed", "kt"),
        Heading("severity", "severity", is_text=True),
        Heading("subject", "subject", is_text=True),
        Heading("evidence", "what is seen", is_text=True),
        Heading("instead", "what would have been made of it", is_text=True),
    )
    rows: list[tuple[Value, ...]] = [
        (
            float(number), one.time, one.distance_to_go, one.height, one.speed, one.severity.value, one.subject.value,
            one.evidence, one.instead,
        )
        for number, one in enumerate(found.findings, start=1)
    ]  # fmt: skip
    title = f"Findings of {found.flight.name}"
    return Table("findings", title, headings, tuple(rows), source=found.flight.provenance.source)


def _what_ifs(found: Debrief) -> Table:
    headings = (
        TIME,
        Heading("action", "other action", is_text=True),
        Heading("fuel", "fuel", "kg"),
        Heading("stable", "stable at the gate"),
        Heading("stable_low", "stable lower down"),
        Heading("why_not", "why not", is_text=True),
    )
    rows: list[tuple[Value, ...]] = []
    for one in found.what_ifs:
        gate = one.flight.summary.gate
        why = "; ".join(dict.fromkeys((*gate.reasons, *one.low.reasons)))
        rows.append((one.time, one.action, one.flight.summary.fuel, gate.stable, one.low.stable, why))
    title = f"Flown on from a moment of {found.flight.name}"
    return Table("what-if", title, headings, tuple(rows), source=found.flight.provenance.source)
