"""Invented fronts of rules: numbers made up, flown by nobody.

`python -m tests.figures.fronts` draws the stored image anew, after a wanted change that was looked at.
"""

from __future__ import annotations

from typing import Any

import matplotlib.image as mpl_image
import numpy as np

from optdescent.figures import Page
from optdescent.figures.front import front
from optdescent.results import Provenance
from optdescent.results.front import FRONT_COLUMNS, Effort, Front, front_dataset
from tests.figures.images import LUMA, STORED, lines_only, rendered

EFFORT = Effort(
    wanted=0.95,
    keep_limits=False,
    alike=2.0,
    train=256,
    check=512,
    unseen=1024,
    rules_flown=99,
    is_cut_short=False,
    library="some rules",
)
RULES = (
    # name, things, fuel, share, found, derived, on front, recommended
    ("derived-3a", 3, 527.0, 0.922, 0.915, 1, 1, 0),
    ("derived-3b", 3, 540.0, 0.960, 0.965, 1, 1, 0),
    ("derived-4a", 4, 510.0, 0.910, 0.900, 1, 1, 0),
    ("derived-4b", 4, 524.0, 0.973, 0.981, 1, 1, 1),
    ("derived-4c", 4, 538.0, 1.000, 0.999, 1, 1, 0),
    ("derived-5a", 5, 523.0, 0.971, 0.960, 1, 1, 0),
    ("dominated", 5, 560.0, 0.900, 0.900, 1, 0, 0),
    ("three-to-one", 8, 548.0, 0.521, 0.530, 0, 0, 0),
    ("300-with-allowances", 8, 537.0, 0.885, 0.880, 0, 0, 0),
    ("stable-at-1000", 12, 537.0, 0.885, 0.880, 0, 0, 0),
    ("three-degrees", 6, 471.0, 0.000, 0.001, 0, 1, 0),
    ("five-times-ground-speed", 8, 471.5, 0.045, 0.040, 0, 0, 0),
)


def invented(title: str = "Invented study: rules made up", effort: Effort = EFFORT, rules: Any = RULES) -> Front:
    """Front of six derived rules, one that others better, and five of a library."""
    names = [rule[0] for rule in rules]
    things, fuel, share, found, derived, on_front, recommended = (
        np.array([rule[index] for rule in rules], dtype=float) for index in range(1, 8)
    )
    columns = {
        "simplicity": things,
        "held_share": share,
        "stable_share": share,
        "held_share_low": np.maximum(share - 0.02, 0.0),
        "held_share_high": np.minimum(share + 0.02, 1.0),
        "limits_kept_share": share,
        "fuel_mean": fuel,
        "same_conditions": 512.0 * share,
        "fuel_held_mean": fuel + 2.0,
        "time_mean": np.full(things.size, 1650.0),
        "train_held_share": np.where(derived > 0.5, share, np.nan),
        "predicted_low": np.maximum(share - 0.025, 0.0),
        "predicted_high": np.minimum(share + 0.025, 1.0),
        "unseen_held_share": found,
        "unseen_fuel_mean": fuel + 1.0,
        "is_derived": derived,
        "is_on_front": on_front,
        "is_recommended": recommended,
    }
    titles = [f"{name} in words" for name in names]
    assert set(columns) == set(FRONT_COLUMNS)
    dataset = front_dataset(names, titles, ["made up"] * len(names), columns, effort)
    return Front(dataset, Provenance(title, "{}", "0123456789ab", of="study"))


def grey(found: Front) -> np.ndarray:
    """Grey levels (rows, columns) from 0 to 1 of the figure's lines."""
    return rendered(lines_only(front(found, Page.A4))) @ LUMA


def main() -> None:
    image = np.repeat((grey(invented()) * 255.0).round().astype(np.uint8)[..., None], 3, axis=2)
    mpl_image.imsave(STORED / "front.png", image, metadata={"Software": None})


if __name__ == "__main__":
    main()
