"""Derived rules as the text of a rule file, with comments that say what they were derived from and how they did."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any, cast

from optdescent.results.front import Front
from optdescent.results.provenance import CAUTION, software_version

_WIDTH = 118


def rule_file_text(rules: Sequence[Mapping[str, Any]], front: Front) -> str:
    """Text of a rule file: rules as such files hold them [file units], and what the front says of each by its name."""
    attributes = front.table.attrs
    head = (
        f"Rules of thumb derived by optdescent {software_version()} from the study {front.provenance.title!r} "
        f"({front.provenance.scenario_digest}). Wanted: {_percent(front.wanted)} of gates {_held(front)} by the low "
        f"end of the 95 % interval, then least fuel; {attributes['rules_flown']} rules flown in "
        f"{attributes['train_conditions']} conditions, these judged in {attributes['check_conditions']} others. "
        "Distances are to the threshold, heights above it."
    )
    parts = [_comment(head), _comment(CAUTION)]
    for rule in rules:
        parts += ["", _comment(_said(front, front.names.index(str(rule["name"])))), _table(rule)]
    return "\n".join(parts) + "\n"


def _said(front: Front, place: int) -> str:
    """What a front says of a rule."""
    value = {name: float(front.column(name)[place]) for name in map(str, front.table.data_vars)}
    attributes = front.table.attrs
    recommended = " Recommended." if front.recommended == place else ""
    return (
        f"{front.names[place]}: {value['simplicity']:.0f} things to remember. "
        f"{_held(front).capitalize()} in {_percent(value['held_share'])} of {attributes['check_conditions']} "
        f"conditions ({_percent(value['held_share_low'])} to {_percent(value['held_share_high'])}), "
        f"{value['fuel_mean']:.0f} kg in the mean of the same conditions. Predicted for "
        f"{attributes['unseen_conditions']} conditions never looked at: {_percent(value['predicted_low'])} to "
        f"{_percent(value['predicted_high'])}; "
        f"found: {_percent(value['unseen_held_share'])}.{recommended}"
    )


def _held(front: Front) -> str:
    """What counts, in words."""
    return "stable and every limit kept" if front.keeps_limits else "stable"


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f} %"


def _comment(text: str) -> str:
    return "\n".join(f"# {line}" for line in textwrap.wrap(text, _WIDTH - 2, break_long_words=False))


def _table(rule: Mapping[str, Any]) -> str:
    """One rule as TOML: its texts, then a table for each part."""
    lines = ["[[rules]]", *(f"{key} = {_value(value)}" for key, value in rule.items() if isinstance(value, str))]
    for key, value in rule.items():
        if isinstance(value, Mapping):
            part = cast(Mapping[str, object], value)
            lines += [f"[rules.{key}]", *(f"{own} = {_value(one)}" for own, one in part.items() if one != [])]
        elif isinstance(value, list):
            for entry in cast(list[Mapping[str, object]], value):
                lines += [f"[[rules.{key}]]", *(f"{own} = {_value(one)}" for own, one in entry.items())]
    return "\n".join(lines)


def _value(value: object) -> str:
    """A value as TOML: texts quoted as in JSON, whose escapes TOML knows; tables within a list on a line each."""
    match value:
        case str():
            return json.dumps(value, ensure_ascii=False)
        case float():
            return repr(value)
        case list():
            entries = [_value(entry) for entry in cast(list[object], value)]
            return "[\n" + "".join(f"    {entry},\n" for entry in entries) + "]"
        case Mapping():
            pairs = cast(Mapping[str, object], value).items()
            return "{ " + ", ".join(f"{key} = {_value(one)}" for key, one in pairs) + " }"
        case _:
            raise TypeError(f"no TOML for {value!r}")
