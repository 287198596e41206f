"""Plausibility sheet of an airframe: what it shows beside the bands of textbooks and of the trade."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from optdescent.units import UNITS


class Standing(Enum):
    """How a value stands to its band; the value is what a sheet says."""

    INSIDE = "inside"
    MISSED = "MISSED"
    AT_ODDS = "at odds"


@dataclass(frozen=True)
class PlausibilityLine:
    """One band: what is looked at, the value and the band [SI, shown in `unit`], under which conditions, from where.

    An end of the band that is None is open. `standing` AT_ODDS says that, under these conditions, no airframe inside
    the other bands can be inside this one; `remark` says why in one sentence.
    """

    what: str
    value: float
    low: float | None
    high: float | None
    unit: str
    conditions: str
    source: str
    standing: Standing
    remark: str = ""

    @property
    def shown_value(self) -> str:
        """Value with its unit [unit]."""
        return f"{self._shown(self.value)} {UNITS[self.unit].symbol}".strip()

    @property
    def shown_band(self) -> str:
        """Band with its unit [unit]."""
        match (self.low, self.high):
            case (None, None):
                text = "any"
            case (None, float(high)):
                text = f"at most {self._shown(high)}"
            case (float(low), None):
                text = f"at least {self._shown(low)}"
            case (low, high):
                text = f"{self._shown(low or 0.0)} to {self._shown(high or 0.0)}"
        return f"{text} {UNITS[self.unit].symbol}".strip()

    def _shown(self, value: float) -> str:
        return f"{value / UNITS[self.unit].factor + 0.0:.3g}"


@dataclass(frozen=True)
class PlausibilitySheet:
    """Every band beside what one airframe shows."""

    title: str
    lines: tuple[PlausibilityLine, ...]

    @property
    def missed(self) -> tuple[PlausibilityLine, ...]:
        """Lines outside a band that an airframe can be inside."""
        return tuple(line for line in self.lines if line.standing is Standing.MISSED)

    @property
    def at_odds(self) -> tuple[PlausibilityLine, ...]:
        """Lines outside a band that no airframe inside the other bands can be inside."""
        return tuple(line for line in self.lines if line.standing is Standing.AT_ODDS)
