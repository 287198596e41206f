"""The same wind everywhere."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.direction import towards
from optdescent.air.wind.field import ColumnField
from optdescent.inputs import Declared, entry, quantity


class ConstantWind(Declared):
    """One wind vector at every height and distance."""

    kind: Literal["constant"] = entry("the same wind everywhere")
    wind_from: float = quantity("deg", 0, 360, "direction the wind blows from, degrees true")
    wind_speed: float = quantity("kt", 0, 250, "wind speed")

    @property
    def field(self) -> ColumnField:
        """How it is evaluated."""
        return ColumnField()

    @property
    def text(self) -> str:
        """All that its numbers depend on beyond the scenario file: nothing."""
        return ""

    def coefficients(self) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s]."""
        east, north = towards(self.wind_from, self.wind_speed)
        ones = np.ones(len(self.field.heights))
        return self.field.from_values(east * ones, north * ones)
