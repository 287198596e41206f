"""Invented numbers of an airframe: shapes that drag, idle and speeds may have, computed by no airframe.

`python -m tests.figures.airframes` draws the stored images anew, after a wanted change that was looked at.
"""

from __future__ import annotations

import matplotlib.image as mpl_image
import numpy as np

from optdescent.figures import AIRFRAME_FIGURES, Page, draw_airframe
from optdescent.results import Provenance
from optdescent.results.airframe import AirframeNumbers
from optdescent.units import FOOT, KNOT
from tests.figures.images import LUMA, STORED, lines_only, rendered

STEPS = ("clean", "step 1", "step 2", "landing")
CONFIGURATIONS = ("clean", "clean, speed brake", "step 1", "step 2", "step 2, gear", "landing, gear")
ZERO_LIFT = np.array([0.020, 0.045, 0.027, 0.036, 0.055, 0.085])
MOST_LIFT = np.array([1.3, 1.1, 1.7, 2.2, 2.2, 2.7])
INDUCED = 0.045


def invented(title: str = "Invented airframe", *, by_mach: bool = False) -> AirframeNumbers:
    """Numbers of an airframe; `by_mach` says whether its idle flow depends on Mach number."""
    lift = np.linspace(0.0, 2.7, 136)
    drag = ZERO_LIFT[:, None] + INDUCED * lift**2
    drag = np.where(lift <= MOST_LIFT[:, None] + 1e-9, drag, np.nan)
    altitude = np.linspace(0.0, 41000.0, 42) * FOOT
    mach = np.array([0.3, 0.5, 0.7])
    lapse = np.exp(-altitude / 9000.0)
    flown = altitude >= np.array([0.0, 0.0, 18000.0])[:, None] * FOOT
    thrust = np.where(flown, (9000.0 - 9000.0 * mach)[:, None] * (0.3 + 0.7 * lapse), np.nan)
    flow = np.where(flown, (0.2 + 0.1 * mach * by_mach)[:, None] * (0.4 + 0.6 * lapse), np.nan)
    mass = np.linspace(40000.0, 76000.0, 25)
    stall = np.array([150.0, 130.0, 115.0, 105.0])[:, None] * np.sqrt(mass / 60000.0) * KNOT
    least = np.array([1.4, 1.4, 1.4, 1.23])[:, None] * stall
    return AirframeNumbers.of(
        {
            "drag_coefficient": drag,
            "best_lift_over_drag": 0.5 / np.sqrt(ZERO_LIFT * INDUCED),
            "best_lift_coefficient": np.sqrt(ZERO_LIFT / INDUCED),
            "idle_thrust": [thrust, 1.6 * thrust],
            "idle_flow": [flow, 1.3 * flow],
            "stall_speed": stall,
            "manoeuvre_speed": least,
            "selection_speed": np.vstack([np.full((1, mass.size), np.nan), least[:-1] + 3.0 * KNOT]),
            "limit_speed": np.array([335.0, 230.0, 205.0, 180.0]) * KNOT,
            "gear_limit_speed": 240.0 * KNOT,
            "brake_limit_speed": np.nan,
            "largest_landing_mass": 66000.0,
        },
        {
            "configuration": CONFIGURATIONS,
            "lift_coefficient": lift,
            "idle": ("usual", "anti-ice on"),
            "mach": mach,
            "pressure_altitude": altitude,
            "step": STEPS,
            "mass": mass,
        },
        Provenance(title, "", "0123456789ab", "airframe"),
    )


def grey(name: str, numbers: AirframeNumbers) -> np.ndarray:
    """Grey levels (rows, columns) from 0 to 1 of a figure's lines."""
    return rendered(lines_only(draw_airframe(name, numbers, Page.A4))) @ LUMA


def main() -> None:
    for name in AIRFRAME_FIGURES:
        image = np.repeat((grey(name, invented()) * 255.0).round().astype(np.uint8)[..., None], 3, axis=2)
        mpl_image.imsave(STORED / f"{name}.png", image, metadata={"Software": None})


if __name__ == "__main__":
    main()
