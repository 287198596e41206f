"""Equations of motion, once; trajectory to Flight, once."""

from optdescent.motion.record import Trajectory, record, surroundings
from optdescent.motion.state import Control, State, Surroundings

__all__ = ["Control", "State", "Surroundings", "Trajectory", "record", "surroundings"]
