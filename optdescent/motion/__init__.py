"""Equations of motion, once; trajectory to Flight, once."""

from optdescent.motion.record import Measured, Trajectory, record, surroundings
from optdescent.motion.state import Control, State, Surroundings

__all__ = ["Control", "Measured", "State", "Surroundings", "Trajectory", "record", "surroundings"]
