"""What is known of a recorded flight so far: columns at the points of a grid, their origins and sigmas."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from optdescent.curves.elementary import Value
from optdescent.recording.grid import Grid
from optdescent.recording.scatter import propagated
from optdescent.recording.smooth import slope, slope_sigma
from optdescent.recording.values import Array
from optdescent.results.reading import Origin, Source


@dataclass
class Known:
    """Columns (point,) [SI] of one flight by name, and their origins; `window` [s] is that of slopes by time."""

    grid: Grid
    window: float
    columns: dict[str, Array] = field(default_factory=dict[str, Array])
    origins: dict[str, Origin] = field(default_factory=dict[str, Origin])

    @property
    def time(self) -> Array:
        """Time (point,) [s]."""
        return self.grid.time

    def has(self, *names: str) -> bool:
        """Whether columns are known at any point [-]."""
        return all(name in self.columns and bool(np.isfinite(self.columns[name]).any()) for name in names)

    def column(self, name: str) -> Array:
        """Values (point,) [SI]; not numbers where nothing is known."""
        return self.columns[name] if name in self.columns else np.full(self.time.size, np.nan)

    def sigma(self, name: str) -> float:
        """One sigma [SI]; 0 where none is known."""
        found = self.origins[name].sigma if name in self.origins else 0.0
        return found if np.isfinite(found) else 0.0

    def is_recorded(self, name: str) -> bool:
        """Whether a column is recorded [-]."""
        return name in self.origins and self.origins[name].source is Source.RECORDED

    def put(self, name: str, values: Array, origin: Origin) -> None:
        """Set a column (point,) [SI]."""
        self.columns[name], self.origins[name] = values, origin

    def fill(self, name: str, values: Array, sigma: float, sentence: str, source: Source = Source.DERIVED) -> None:
        """Set a column (point,) [SI] that is not known, or its points in gaps if it is."""
        if not self.has(name):
            self.put(name, values, Origin(name, source, sentence, sigma))
            return
        there = self.columns[name]
        open_points = ~np.isfinite(there) & np.isfinite(values)
        count, before = int(open_points.sum()), self.origins[name]
        if count:
            told = f"{before.sentence}; {count} points in gaps {sentence}".removeprefix("; ")
            together = max(before.sigma, sigma) if np.isfinite(before.sigma) else sigma
            self.put(name, np.where(open_points, values, there), Origin(name, before.source, told, together))

    def derive(self, name: str, function: Callable[..., Value], of: Sequence[str], sentence: str) -> None:
        """Work a column [SI] out from others, where they are known, with its sigma."""
        if self.has(*of) and not (self.has(name) and np.isfinite(self.columns[name]).all()):
            values, sigma = propagated(function, [self.columns[one] for one in of], [self.sigma(one) for one in of])
            self.fill(name, values, sigma, sentence)

    def slope(self, name: str) -> tuple[Array, float]:
        """Slope by time (point,) [SI/s] of a column, and its sigma."""
        values = self.column(name)
        sigma = slope_sigma(values, self.grid.step, self.window, self.sigma(name))
        return slope(values, self.grid.step, self.window), sigma

    def cut(self, first: int, last: int) -> None:
        """Keep the points [-] from the first to the last, both included."""
        part = slice(first, last + 1)
        self.grid = Grid(self.grid.time[part], self.grid.step, self.grid.sentence)
        self.columns = {name: values[part] for name, values in self.columns.items()}
