"""Standard atmosphere, airspeeds, altimetry and wind."""

from optdescent.air.column import Air, AirSample

__all__ = ["Air", "AirSample"]
