"""An airframe as the text of its TOML file, fitted coefficients each with its standard error in a comment."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, cast

from optdescent.airframe import Airframe
from optdescent.inputs import Declared, as_given
from optdescent.results import CAUTION, Fit
from optdescent.results.line import one_line

_DIGITS = 8


def airframe_text(airframe: Airframe, fit: Fit) -> str:
    """Text of an airframe file [units named by the keys] with the coefficients of a fit.

    Every number of the airframe is in it, so that the file can be used as it is.
    """
    notes = _notes(fit)
    named = ", ".join(fit.recordings)
    told = airframe.model_copy(
        update={
            "title": f"{airframe.title}, coefficients from recordings",
            "source": f"fitted to {named} where a standard error stands beside the number; else: {airframe.source}",
        }
    )
    head = [f"# {one_line(fit.provenance.title)}", f"# {fit.provenance.line}", f"# {CAUTION}"]
    return "\n".join([*head, *_table(told, "", "", notes), ""])


def _notes(fit: Fit) -> dict[str, str]:
    """Comment of each coefficient by its key."""
    errors, declared, fixed = (fit.column(name) for name in ("standard_error", "declared", "is_fixed"))
    return {
        key: f"held fixed; declared {declared[place]:.6g}"
        if fixed[place]
        else f"standard error {errors[place]:.2g}; declared {declared[place]:.6g}"
        for place, key in enumerate(fit.keys)
    }


def _table(table: Declared, heading: str, key: str, notes: Mapping[str, str]) -> list[str]:
    """Lines of a table: its own values first, then the tables inside it; `key` is how coefficients name it."""
    lines: list[str] = []
    inner: list[str] = []
    for name, value in as_given(table).items():
        path, place = (f"{one}.{name}" if one else name for one in (heading, key))
        if value is None:
            continue
        if isinstance(value, Declared):
            inner += ["", f"[{path}]", *_table(value, path, place, notes)]
        elif tables := _tables(value):
            for index, one in enumerate(tables):
                inner += ["", f"[[{path}]]", *_table(one, path, f"{place}[{index}]", notes)]
        else:
            note = f"  # {notes[place]}" if place in notes else ""
            lines.append(f"{name} = {_written(value)}{note}")
    return [*lines, *inner]


def _tables(value: Any) -> list[Declared]:
    """Tables of an array of them; nothing for any other value."""
    if not isinstance(value, tuple):
        return []
    return [one for one in cast(tuple[object, ...], value) if isinstance(one, Declared)]


def _written(value: Any) -> str:
    """Value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        text = f"{value:.{_DIGITS}g}"
        return text if any(mark in text for mark in ".en") else f"{text}.0"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, tuple | list):
        return f"[{', '.join(_written(one) for one in cast(tuple[object, ...], value))}]"
    return json.dumps(str(value), ensure_ascii=False)
