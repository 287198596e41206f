"""Still air."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.field import ColumnField
from optdescent.inputs import Declared, entry


class NoWind(Declared):
    """Still air at every height."""

    kind: Literal["none"] = entry("still air", default="none")

    @property
    def field(self) -> ColumnField:
        """How it is evaluated."""
        return ColumnField()

    @property
    def text(self) -> str:
        """All that its numbers depend on beyond the scenario file: nothing."""
        return ""

    def coefficients(self) -> NDArray[np.float64]:
        """Zeros (field.size,) [m/s]."""
        return np.zeros(self.field.size)
