"""Where a result is from, and the caution that goes with it."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from typing import Any, cast

from optdescent.caution import CAUTION as CAUTION
from optdescent.results.line import one_line


def software_version() -> str:
    """Version [-] of the package that made a result."""
    return version("optdescent")


def fingerprint(text: str) -> str:
    """First twelve hexadecimal digits [-] of the SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()[:12]


@cache
def rules_declared(text: str) -> tuple[Mapping[str, Any], ...]:
    """Tables of the rules in the text of a rule file, in its order [as declared]; none of a text that is no TOML."""
    try:
        rules = tomllib.loads(text).get("rules")
    except tomllib.TOMLDecodeError:
        return ()
    tables = cast(list[Any], rules) if isinstance(rules, list) else []
    return tuple(cast(dict[str, Any], table) for table in tables if isinstance(table, dict))  # TOML has no other keys


@dataclass(frozen=True)
class Provenance:
    """Title, full text and digest of the scenario a result answers; the text alone opens it without the code.

    `of` says what was read, if it was not a scenario. `command` is the line typed, and `rules` and `conditions` are the
    texts of the files that it read; empty where a result was made otherwise or without them.
    """

    title: str
    scenario_text: str
    scenario_digest: str
    of: str = "scenario"
    command: str = ""
    rules: str = ""
    conditions: str = ""

    @property
    def line(self) -> str:
        """One line for charts and tables."""
        return f"optdescent {software_version()}, {self.of} {self.scenario_digest}"

    @property
    def source(self) -> str:
        """Title and line, for tables; a title of several lines is drawn together into one."""
        return f"{one_line(self.title)}; {self.line}"

    @property
    def rule_names(self) -> tuple[str, ...]:
        """Names of the rules in the file that was read, in its order; none where none was."""
        return tuple(str(table.get("name", "")) for table in rules_declared(self.rules))

    @classmethod
    def of_attributes(cls, given: Mapping[str, Any]) -> Provenance:
        """What the attributes of a stored result say [-].

        Raises
        ------
        KeyError
            One is missing.
        """
        texts = (str(given[key]) for key in ("title", "scenario", "scenario_digest"))
        beside = {name: str(given.get(key, "")) for name, key in _BESIDE.items()}
        return cls(*texts, of=str(given.get("of", "scenario")), **beside)

    def attributes(self) -> dict[str, str]:
        """Attributes that every stored result carries [-]."""
        return {
            "Conventions": "CF-1.11",
            "title": self.title,
            "scenario": self.scenario_text,
            "scenario_digest": self.scenario_digest,
            "software_version": software_version(),
            "caution": CAUTION,
            **{key: text for name, key in _BESIDE.items() if (text := str(getattr(self, name)))},
        }


_BESIDE = {"command": "command", "rules": "rules_text", "conditions": "conditions_text"}
"""Attributes of files by the parts of a provenance that stand beside the scenario."""
