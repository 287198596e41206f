"""A wind that was looked up already: its coefficients are the wind itself and its slopes, at one place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.field import WindSample
from optdescent.curves.elementary import Value


@dataclass(frozen=True)
class GivenField:
    """The same wind and slopes wherever they are asked for: only at the place at which they were looked up is it so."""

    @property
    def size(self) -> int:
        """Number of coefficients [-]: those of a `WindSample`, in its order."""
        return 6

    def sample(self, coefficients: Value, distance: Value, height: Value) -> WindSample:
        """The wind [m/s] and its slopes [1/s]; distance and height are not used [m]."""
        return WindSample(*(coefficients[index] for index in range(6)))

    def tailwind(self, course: float, low: float, high: float) -> NDArray[np.float64]:
        """Coefficients (size,) of 1 m/s along a course [rad], whatever the heights [m]."""
        return np.array([np.sin(course), np.cos(course), 0.0, 0.0, 0.0, 0.0])


GIVEN = GivenField()
"""The only one there is."""
