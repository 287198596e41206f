"""Wind by height from one measured sounding."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.field import ColumnField
from optdescent.air.wind.sounding import Sounding
from optdescent.curves import CubicTable
from optdescent.inputs import Declared, entry

_SPACING = 30.0


class ProfileDeclaration(Declared):
    """Where the sounding of a wind profile is."""

    kind: Literal["profile"] = entry("wind by height from a measured sounding")
    sounding: str = entry("name of a built-in sounding, or path of a CSV file relative to the scenario")


@dataclass(frozen=True)
class ProfileWind:
    """Wind by height: least-squares fit of the column's splines to the sounding, drawn linearly between its levels.

    A radiosonde's wind is itself an average over a minute or so of ascent, some 300 m; levels closer than the knots
    are smoothed, not interpolated. Below the lowest and above the highest observed wind the wind is held constant.
    """

    sounding: Sounding

    @property
    def field(self) -> ColumnField:
        """How it is evaluated."""
        return ColumnField()

    @property
    def text(self) -> str:
        """All that its numbers depend on beyond the scenario file."""
        return self.sounding.text

    def coefficients(self) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s]."""
        return self._fitted.copy()

    @cached_property
    def _fitted(self) -> NDArray[np.float64]:
        own = self.sounding
        return self.field.from_values(*fitted_column(own.height, own.east, own.north, self.field.heights))

    def misfit(self) -> tuple[float, float]:
        """Root mean square and largest vector difference [m/s] from the observed levels within the knots."""
        inside = self.sounding.height <= self.field.heights[-1]
        sample = self.field.sample(self.coefficients(), 0.0, self.sounding.height[inside])
        off_east, off_north = sample.east - self.sounding.east[inside], sample.north - self.sounding.north[inside]
        squared: NDArray[np.float64] = np.asarray(off_east**2 + off_north**2)
        return float(np.sqrt(np.mean(squared))), float(np.sqrt(np.max(squared)))


def fitted_column(
    height: NDArray[np.float64], east: NDArray[np.float64], north: NDArray[np.float64], knots: tuple[float, ...]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Wind towards east and north [m/s] at knots [m] whose splines fit levels best.

    The levels (levels,), heights [m] rising, are joined by straight lines; beyond them the wind is held constant.
    """
    fitted = CubicTable(knots).fitted(height, np.column_stack([east, north]), _SPACING)
    return fitted[:, 0], fitted[:, 1]
