"""Controls that swing to and fro from point to point: a sign of a singular arc that the mesh does not resolve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optdescent.ocp.solution import Solution

_SWINGS = 4
_AMPLITUDE = 0.02


@dataclass(frozen=True)
class Chatter:
    """A stretch [start, end] of ``phase`` in which ``control`` reverses at every point.

    ``amplitude`` : mean size of the swings in the control's own unit; ``swings`` : how many.
    """

    phase: str
    control: str
    start: float
    end: float
    amplitude: float
    swings: int


def find_chatter(solution: Solution) -> tuple[Chatter, ...]:
    """All stretches with at least four reversals in a row, each larger than 2 % of the width of the control's limits.

    Without limits, of the range of its values.
    """
    found: list[Chatter] = []
    for phase, own in solution.phases.items():
        for name, values in own.controls.items():
            steps = np.diff(values)
            width = own.control_limits[name][1] - own.control_limits[name][0]
            span = width if np.isfinite(width) and width > 0.0 else (float(np.ptp(values)) or 1.0)
            large = np.abs(steps) > _AMPLITUDE * span
            turns = np.concatenate([(steps[1:] * steps[:-1] < 0.0) & large[1:] & large[:-1], [False]])
            first = 0
            for i, turn in enumerate(turns):
                if turn:
                    continue
                if i - first >= _SWINGS:
                    at = own.control_at
                    size = float(np.mean(np.abs(steps[first : i + 1])))
                    found.append(Chatter(phase, name, float(at[first]), float(at[i + 1]), size, i - first))
                first = i + 1
    return _joined(found)


def _joined(found: list[Chatter]) -> tuple[Chatter, ...]:
    """Stretches that touch become one."""
    result: list[Chatter] = []
    for one in found:
        last = result[-1] if result else None
        if last is None or (last.phase, last.control) != (one.phase, one.control) or one.start > last.end:
            result.append(one)
            continue
        swings = last.swings + one.swings
        size = (last.amplitude * last.swings + one.amplitude * one.swings) / swings
        result[-1] = Chatter(one.phase, one.control, last.start, one.end, size, swings)
    return tuple(result)
