"""Quantities that the demands of an arrival are stated in, at a point or at an end of a phase."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import casadi as ca

from optdescent.air.airspeed import calibrated_at
from optdescent.air.atmosphere import speed_of_sound
from optdescent.airframe.speeds import reference_speed
from optdescent.curves.elementary import Value
from optdescent.motion import Surroundings
from optdescent.optimum.parameters import Named, surroundings_of
from optdescent.scenario import Scenario


class At(Named, Protocol):
    """A point of a phase, symbolic or numeric: names looked up, and the coordinate along the track [m]."""

    independent: Value


@dataclass(frozen=True)
class Quantities:
    """Expressions of a scenario. `named` looks up parameters; `at` looks up states (at a point both are the point)."""

    scenario: Scenario

    def surroundings(self, named: Named) -> Surroundings:
        """Surroundings at a point or at the ends [SI]."""
        return surroundings_of(self.scenario, named)

    def calibrated(self, named: Named, at: Named) -> ca.SX:
        """Calibrated airspeed [m/s] of a state."""
        altitude = at["pressure_altitude"]
        sound = speed_of_sound(altitude, named["temperature offset"])
        return calibrated_at(at["true_airspeed"], altitude, sound)

    def above_reference(self, named: Named, at: Named) -> ca.SX:
        """Calibrated airspeed over the reference speed for landing [m/s]."""
        return self.calibrated(named, at) - reference_speed(self.scenario.airframe, at["mass"])

    def mach(self, named: Named, at: Named) -> ca.SX:
        """Mach number [-] of a state."""
        return at["true_airspeed"] / speed_of_sound(at["pressure_altitude"], named["temperature offset"])

    def height(self, named: Named, at: Named) -> ca.SX:
        """Height above the threshold [m]."""
        return self.surroundings(named).air.height(at["pressure_altitude"]) - named["elevation"]

    def above_path(self, named: Named, at: Named, x: ca.SX) -> ca.SX:
        """Height above the glide path [m] at a coordinate along the track [m]."""
        return self.height(named, at) - (named["threshold crossing height"] - named["gradient"] * x)
