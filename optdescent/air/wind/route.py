"""Where a track passes over the earth: what a wind on a horizontal grid needs to know of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Route:
    """Places along a track: coordinates [m] rising to 0 at the threshold and beyond, latitude and longitude [degrees].

    All (places,); longitudes may be in any convention.
    """

    places: NDArray[np.float64]
    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
