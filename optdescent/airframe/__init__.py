"""Declared aircraft: drag, thrust, fuel flow, limits and operating speeds."""

from optdescent.airframe.declaration import Airframe
from optdescent.airframe.read import BUILT_IN, read_airframe
from optdescent.airframe.speeds import Configuration

__all__ = ["BUILT_IN", "Airframe", "Configuration", "read_airframe"]
