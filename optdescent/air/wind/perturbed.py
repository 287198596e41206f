"""Another wind made stronger, shifted, sheared or disturbed at random: the members of an ensemble."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.direction import towards
from optdescent.air.wind.field import ColumnField, Wind
from optdescent.air.wind.section_field import SectionField, knots_along
from optdescent.inputs import Declared, quantity, whole

_JITTER = 1e-10


class Disturbance(Declared):
    """What is done to a wind; without any of it the wind stays as it is."""

    scale: float = quantity("", 0, 5, "factor on the wind", default=1.0)
    bias_from: float = quantity("deg", 0, 360, "direction an added wind blows from, degrees true", default=0.0)
    bias: float = quantity("kt", 0, 150, "speed of the added wind", default=0.0)
    shear_from: float = quantity("deg", 0, 360, "direction an added shear blows from, degrees true", default=0.0)
    shear: float = quantity("kt_per_1000ft", -20, 20, "its growth with height", default=0.0)
    shear_zero: float = quantity("ft", -1000, 50000, "height above sea level where it is nothing", default=0.0)
    random: float = quantity("kt", 0, 50, "standard deviation of a random wind, each component", default=0.0)
    correlation_height: float = quantity("ft", 4000, 50000, "its correlation length in height", default=6000.0)
    correlation_distance: float | None = quantity(
        "nm", 40, 2000, "its correlation length along the track; without it, the same at every distance", default=None
    )
    seed: int = whole(0, 2**31 - 1, "which random wind", default=0)


@dataclass(frozen=True)
class PerturbedWind:
    """``base`` times the scale, plus bias, plus shear, plus a smooth random wind.

    The random wind is Gaussian at the knots, with covariance exp(-(dh/H)²/2 - (dx/X)²/2) in each component, correlation
    lengths H and X; between knots it is as smooth as the field. ``start_distance`` [m]: for the knots along the track.
    """

    base: Wind
    change: Disturbance
    start_distance: float

    @property
    def field(self) -> ColumnField | SectionField:
        """How it is evaluated: as the base, or over distance too where the random wind changes with it."""
        own = self.base.field
        if isinstance(own, SectionField):
            return own
        if self.change.correlation_distance is None or self.change.random == 0.0:
            return ColumnField()
        return SectionField(knots_along(self.start_distance))

    @property
    def text(self) -> str:
        """All that its numbers depend on beyond the scenario file."""
        return self.base.text

    def coefficients(self) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s]."""
        return self._disturbed.copy()

    def undisturbed(self) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s] of the base alone, in this wind's own field."""
        return self._changed(Disturbance(), np.zeros((2, 1, 1)))

    @cached_property
    def _disturbed(self) -> NDArray[np.float64]:
        field = self.field
        distances = np.asarray(field.distances) if isinstance(field, SectionField) else np.zeros(1)
        return self._changed(self.change, self._random(distances, np.asarray(field.heights)))

    def _changed(self, change: Disturbance, noise: NDArray[np.float64]) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s] of the base with a change and a random wind (2, distances, heights) [m/s]."""
        field = self.field
        heights = np.asarray(field.heights)
        distances = np.asarray(field.distances) if isinstance(field, SectionField) else np.zeros(1)
        sample = self.base.field.sample(self.base.coefficients(), distances[:, None], heights[None, :])
        shape = (distances.size, heights.size)
        values = [np.broadcast_to(np.asarray(part, dtype=float), shape) for part in (sample.east, sample.north)]
        bias = towards(change.bias_from, change.bias)
        shear = towards(change.shear_from, change.shear)
        rise = heights - change.shear_zero
        east, north = (change.scale * values[i] + float(bias[i]) + float(shear[i]) * rise + noise[i] for i in (0, 1))
        if isinstance(field, SectionField):
            return field.from_values(east, north)
        return field.from_values(east[0], north[0])

    def _random(self, distances: NDArray[np.float64], heights: NDArray[np.float64]) -> NDArray[np.float64]:
        """A random wind (2, distances, heights) [m/s]: the product of both correlations' roots on white noise."""
        change = self.change
        white = np.random.default_rng(change.seed).standard_normal((2, distances.size, heights.size))
        up = _root(heights, change.correlation_height)
        along = np.ones((1, 1))
        if change.correlation_distance is not None:
            along = _root(distances, change.correlation_distance)
        elif distances.size > 1:
            white[:, 1:] = white[:, :1]
            along = np.eye(distances.size)
        return change.random * np.einsum("ij,cjk,lk->cil", along, white, up)


def forecast(wind: Wind) -> NDArray[np.float64]:
    """Numbers (field.size,) [m/s] of a wind as a crew knows it beforehand: without what a table `perturbed` adds."""
    return wind.undisturbed() if isinstance(wind, PerturbedWind) else wind.coefficients()


def _root(places: NDArray[np.float64], length: float) -> NDArray[np.float64]:
    """Lower triangular root of the correlation of a Gaussian with one length."""
    apart = (places[:, None] - places[None, :]) / length
    return np.asarray(np.linalg.cholesky(np.exp(-0.5 * apart**2) + _JITTER * np.eye(places.size)), dtype=float)
