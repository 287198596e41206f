"""What stable means at a gate, for one flight or for many at once: what each demand is exceeded by."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from optdescent.arrival import Gate
from optdescent.curves.elementary import Value
from optdescent.motion.excess import READABLE_SINK, READABLE_SPEED
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT

_OUT = 0.98


@dataclass(frozen=True)
class AtGate:
    """A flight, or many, where a height above the threshold is last passed [SI].

    Calibrated airspeed and reference speed, sink rate, height above the glide path, slats and flaps in steps, gear.
    """

    calibrated_airspeed: Value
    reference_speed: Value
    sink: Value
    off_path: Value
    flaps: Value
    gear: Value


@dataclass(frozen=True)
class Shortfall:
    """One demand of a gate: by how much it is exceeded [SI], from how much it counts, and the words for an amount."""

    amount: Value
    readable: float
    say: Callable[[float], str]

    @property
    def counts(self) -> Value:
        """Whether the demand is not kept [-]."""
        return self.amount > self.readable


def shortfalls(gate: Gate, last: int, at: AtGate) -> tuple[Shortfall, ...]:
    """What a gate demands and by how much it is exceeded [SI]; `last` is the number of the last step of flaps.

    Nothing is judged finer than it can be read (`motion.excess`).
    """
    target = at.reference_speed + gate.speed_above_reference
    found: list[Shortfall] = []
    if gate.landing_configuration:
        found.append(Shortfall(last - at.flaps, 1.0 - _OUT, lambda less: _configuration(last - less, last)))
    if gate.gear_down:
        found.append(Shortfall(1.0 - at.gear, 1.0 - _OUT, lambda _: "gear not down"))
    fast, slow = at.calibrated_airspeed - (target + gate.speed_over), target - gate.speed_under - at.calibrated_airspeed
    found.append(Shortfall(fast, READABLE_SPEED, lambda more: f"{more / KNOT:.0f} kt too fast"))
    found.append(Shortfall(slow, READABLE_SPEED, lambda less: f"{less / KNOT:.0f} kt too slow"))
    steep = at.sink - gate.sink
    found.append(
        Shortfall(steep, READABLE_SINK, lambda more: f"sink rate {(more + gate.sink) / FOOT_PER_MINUTE:.0f} ft/min")
    )
    high, low = at.off_path - gate.off_path, -at.off_path - gate.off_path
    found.append(Shortfall(high, 0.0, lambda more: f"{(more + gate.off_path) / FOOT:.0f} ft above the glide path"))
    found.append(Shortfall(low, 0.0, lambda more: f"{(more + gate.off_path) / FOOT:.0f} ft below the glide path"))
    return tuple(found)


def _configuration(flaps: float, last: int) -> str:
    return f"flaps at {flaps:.1f} of {last}, not in the landing configuration"
