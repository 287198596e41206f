"""Invented fits of coefficients: numbers made up, found by nothing.

`python -m tests.figures.fits` draws the stored image anew, after a wanted change that was looked at.
"""

from __future__ import annotations

import matplotlib.image as mpl_image
import numpy as np

from optdescent.figures import Page
from optdescent.figures.fit import fit
from optdescent.results import Fit, Provenance
from optdescent.results.fit import fit_dataset
from optdescent.units import FOOT, KNOT
from tests.figures.images import LUMA, STORED, lines_only, rendered

STEPS = ("clean", "step 1", "step 2", "step 3", "landing")
DRAG = (0.0195, 0.0440, 0.0260, 0.0445, 0.0350, 0.0460, 0.0480, 0.0470, 0.0620, 0.0480)
SHARED = (
    ("gear.drag", "gear drag", 0.018),
    ("speed_brake.drag", "speed brake drag", 0.026),
    ("engines.idle.thrust", "idle thrust", 0.05),
    ("engines.idle.thrust_by_mach", "change of idle thrust with Mach number", -0.05),
    ("engines.idle.thrust_floor", "part of idle thrust that does not fall with pressure", 0.25),
)
SIZE = 900


def invented(title: str = "Invented airframe: coefficients from 2 recorded flights", *, shift: float = 1.0) -> Fit:
    """Fit of fifteen coefficients, the gear's held fixed; `shift` [standard errors] moves the idle thrust found."""
    draw = np.random.default_rng(11)
    named = [
        (f"steps[{k // 2}].polar.{'zi'[k % 2]}", ("zero-lift drag", "induced-drag factor")[k % 2]) for k in range(10)
    ]
    keys = (*(key for key, _ in named), *(key for key, _, _ in SHARED))
    sentences = (*(f"{text} of {STEPS[k // 2]!r}" for k, (_, text) in enumerate(named)), *(s for _, s, _ in SHARED))
    declared = np.array([*DRAG, *(value for _, _, value in SHARED)])
    error = np.abs(declared) * 0.02
    error[10] = 0.0
    value = declared + error * draw.normal(size=declared.size)
    value[12] += (shift - 1.0) * error[12]
    segment = np.arange(SIZE) // 60
    speed = 340.0 * KNOT - 12.0 * segment * KNOT + 0.2 * (np.arange(SIZE) % 60)
    columns = {
        "declared": declared,
        "value": value,
        "standard_error": error,
        "is_fixed": (error == 0.0).astype(float),
        "correlation": np.eye(declared.size),
        "flight": (np.arange(SIZE) >= SIZE // 2).astype(float),
        "segment": segment.astype(float),
        "configuration": np.minimum(segment // 3, 4).astype(float),
        "gear": np.zeros(SIZE),
        "time": np.arange(SIZE) + 30.0 * segment,
        "speed": speed,
        "pressure_altitude": np.linspace(10000.0, 1000.0, SIZE),
        "speed_residual": draw.normal(size=SIZE) * 0.5 * KNOT,
        "altitude_residual": draw.normal(size=SIZE) * 10.0 * FOOT,
        "speed_noise": 0.5 * KNOT,
        "altitude_noise": 10.0 * FOOT,
    }
    return Fit(fit_dataset(keys, sentences, ("first.nc", "second.nc"), columns), Provenance(title, "", "0123456789ab"))


def grey(found: Fit) -> np.ndarray:
    """Grey levels (rows, columns) from 0 to 1 of the figure's lines."""
    return rendered(lines_only(fit(found, Page.A4))) @ LUMA


def main() -> None:
    image = np.repeat((grey(invented()) * 255.0).round().astype(np.uint8)[..., None], 3, axis=2)
    mpl_image.imsave(STORED / "fit.png", image, metadata={"Software": None})


if __name__ == "__main__":
    main()
