"""What was asked, on the page: its title, in short, every value, and the full text as stored."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, cast

from optdescent.markup import Markup, escaped
from optdescent.report.table_html import table_html
from optdescent.report.template import NOTHING, bullets, joined, paragraph, tag
from optdescent.results import Provenance
from optdescent.results.line import one_line
from optdescent.results.provenance import rules_declared
from optdescent.results.tables import Heading, Table
from optdescent.units import FOOT, NAUTICAL_MILE

RULES, CONDITIONS = "Rules", "Conditions"
"""What the texts that are read beside a scenario are."""
_LONG = 120
"""Letters of a value that the list of inputs shows; the full text has all."""
_HEADINGS = (Heading("key", "key", is_text=True), Heading("value", "value, in SI units", is_text=True))


def asked_html(own: Provenance, beside: tuple[tuple[str, str], ...] = ()) -> Markup:
    """What was asked: in short, then folded every value that is set, in SI, and the text that the digest is of.

    `beside` are further texts that were read, each after what it is; of rules, what their files note stands open.
    """
    title = tag("h3", {"dir": "auto"}, escaped(own.title))
    digest = tag("p", {"class": "quiet"}, escaped(f"{own.of.capitalize()} {own.scenario_digest}."))
    notes = bullets(dict.fromkeys(note for what, words in beside if what == RULES for note in _notes(words)))
    read = tuple((f"{what}: the text of the file that was read", words) for what, words in beside)
    if not own.scenario_text:
        return joined([title, digest, paragraph("Its text is not stored with these results."), notes, *_texts(read)])
    values = _values(own.scenario_text)
    short = _short(values)
    listed = [(key, value) for key, value in values.items() if not key.startswith("airframe.")]
    rows = tuple((key, _cut(value)) for key, value in listed)
    inputs = Table("inputs", f"Inputs of {one_line(own.title)}", _HEADINGS, rows, "What is not set is left out.")
    return joined(
        [
            title,
            paragraph(short) if short else NOTHING,
            digest,
            notes,
            _folded(f"The {len(rows)} values that are set", table_html(inputs)) if rows else NOTHING,
            *_texts((("Full text as stored, airframe and wind included, in SI units", own.scenario_text),)),
            *_texts(read),
        ]
    )


def _notes(rules: str) -> Iterator[str]:
    """What a file of rules notes of each: what it is for, and where it does not hold; of no TOML, nothing."""
    for rule in rules_declared(rules):
        if note := rule.get("note"):
            yield f"Note of the rule {rule.get('name')}: {one_line(str(note))}"


def _texts(named: tuple[tuple[str, str], ...]) -> Iterator[Markup]:
    """Texts as they are stored, each folded under what it is."""
    for summary, words in named:
        yield _folded(summary, tag("pre", {"tabindex": "0"}, tag("code", {}, escaped(words))))


def _folded(summary: str, inside: Markup) -> Markup:
    return tag("details", {}, tag("summary", {}, escaped(summary)), inside)


def _cut(value: str) -> str:
    return value if len(value) <= _LONG else f"{value[:_LONG]}… ({len(value)} letters)"


def _values(stored: str) -> dict[str, str]:
    """Each value of a stored text by its dotted key; those of a scenario without the scenario's own name before them.

    A text that is no JSON has none.
    """
    try:
        whole: Any = json.loads(stored)
    except ValueError:
        return {}
    return {
        key.removeprefix("scenario."): value for key, value in _leaves("", whole) if value not in ("null", "[]", "")
    }


def _leaves(key: str, value: Any) -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        named = cast(dict[str, Any], value)  # JSON has no other keys
        for name, part in named.items():
            yield from _leaves(f"{key}.{name}" if key else name, part)
    elif isinstance(value, list) and any(isinstance(part, dict | list) for part in cast(list[Any], value)):
        for place, part in enumerate(cast(list[Any], value)):
            yield from _leaves(f"{key}[{place}]", part)
    elif isinstance(value, str):
        yield key, value
    else:
        yield key, f"{value:.7g}" if isinstance(value, float) else json.dumps(value, ensure_ascii=False)


def _short(values: dict[str, str]) -> str:
    """A scenario in one sentence; empty of anything else."""
    keys = ("start.mass", "start.altitude", "start.distance", "arrival.airport", "air.wind.kind")
    if any(key not in values for key in keys):
        return ""
    try:
        mass, altitude, distance = (float(values[key]) for key in keys[:3])
    except ValueError:
        return ""
    aircraft = values.get("airframe.title", "the airframe")
    return (
        f"{aircraft}, {mass / 1000.0:.1f} t, from {altitude / FOOT:.0f} ft at {distance / NAUTICAL_MILE:.0f} nm to go, "
        f"to {values['arrival.airport']}; wind: {values['air.wind.kind']}."
    )
