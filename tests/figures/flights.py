"""Small invented flights: shapes that a descent may have, flown by nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from optdescent.results import Flight, GateReport, Kind, Marks, Provenance, SpeedMark, Summary, WindowMark
from optdescent.results.flight import flight_dataset
from optdescent.results.schema import COLUMNS
from optdescent.units import DEGREE, FOOT, GRAVITY, KNOT, NAUTICAL_MILE

STEPS = ("clean", "step 1", "step 2", "step 3", "landing")
SMOOTH = 6.0
"""How sharply a change of path is rounded [nm]."""

MARKS = Marks(
    airport="Invented field",
    elevation=600.0 * FOOT,
    windows=(
        WindowMark("ALDER", 60.0 * NAUTICAL_MILE, 15000.0 * FOOT, 22000.0 * FOOT, None, None),
        WindowMark("BRIAR", 30.0 * NAUTICAL_MILE, 7000.0 * FOOT, None, 210.0 * KNOT, 250.0 * KNOT),
        WindowMark("CEDAR", 45.0 * NAUTICAL_MILE, None, None, None, 280.0 * KNOT),
    ),
    speed_limits=(SpeedMark(10000.0 * FOOT, 250.0 * KNOT, 10000.0 * FOOT),),
    gradient=float(np.tan(3.0 * DEGREE)),
    crossing_height=50.0 * FOOT,
    gate_height=1000.0 * FOOT,
    steps=STEPS,
)


def flight(
    name: str,
    kind: Kind,
    *,
    slope_ft_per_nm: float = 310.0,
    start_nm: float = 150.0,
    fastest_kt: float = 270.0,
    brake_from_nm: float = 0.0,
    title: str = "Invented descent",
    points: int = 900,
) -> Flight:
    """Flight from cruise down a straight path, level at 3000 ft, then down the glide path, slowing on the way."""
    d = np.linspace(start_nm, 0.0, points)
    glide = (MARKS.crossing_height + MARKS.gradient * d * NAUTICAL_MILE) / FOOT
    asked = np.minimum(35000.0, np.maximum(slope_ft_per_nm * (d - 4.0), 3000.0))
    asked = np.minimum(asked, np.where(d < 12.0, glide, np.inf))
    height = asked + 600.0 * np.exp(-(((d - 40.0) / SMOOTH) ** 2)) * (slope_ft_per_nm - 300.0) / 30.0
    planned = np.interp(d, [0.0, 3.0, 20.0, 40.0, 100.0, 120.0], [130.0, 135.0, 230.0, 250.0, fastest_kt, 264.0])
    speed = planned + 4.0 * np.sin(d / 7.0)
    flaps = np.interp(d, [3.0, 5.0, 7.0, 9.0, 11.0, 13.0, 15.0, 17.0], [4.0, 3.0, 3.0, 2.0, 2.0, 1.0, 1.0, 0.0])
    limit = np.where(height > 9400.0, 335.0, 250.0) - 30.0 * np.rint(flaps)
    is_rule = kind is Kind.RULE
    known = {
        "distance_to_go": d * NAUTICAL_MILE,
        "height_above_threshold": height * FOOT,
        "calibrated_airspeed": speed * KNOT,
        "specific_energy_height": height * FOOT + (speed * KNOT) ** 2 * (1.0 + height / 35000.0) / (2.0 * GRAVITY),
        "rule_height": asked * FOOT if is_rule else np.full(points, np.nan),
        "rule_speed": planned * KNOT if is_rule else np.full(points, np.nan),
        "limit_speed": limit * KNOT,
        "flaps": flaps,
        "gear": np.clip((9.0 - d) / 1.5, 0.0, 1.0),
        "speed_brake": np.where((d < brake_from_nm) & (d > 0.6 * brake_from_nm), 0.8, 0.0),
        "thrust_fraction": np.where(height >= 34999.0, 0.7, np.where(d < 3.0, 0.15, 0.0)),
    }
    columns = {column: known.get(column, np.zeros(points)) for column in COLUMNS}
    gate = GateReport(MARKS.gate_height, True, 70.0, 66.0, 3.9, 0.0, 4.0, 1.0, 0.1, ())
    top = float(d[np.flatnonzero(height < 34999.0)[0]]) * NAUTICAL_MILE
    return Flight(
        dataset=flight_dataset(columns, STEPS),
        summary=Summary(500.0, 1600.0, top, 0.0, 0.0, 0.0, gate, ()),
        kind=kind,
        name=name,
        provenance=Provenance(title, "", "0123456789ab"),
        marks=MARKS,
    )


RULE_FILE = "\n".join(f'[[rules]]\nname = "{name}"' for name in ("three to one", "by the mile", "constant angle"))
"""Text of the file that the rules of `four` are of."""


def four() -> tuple[Flight, ...]:
    """An optimum and three rules, in the order of their file."""
    flown = (
        flight("optimum", Kind.OPTIMUM, slope_ft_per_nm=295.0, fastest_kt=255.0),
        flight("three to one", Kind.RULE, slope_ft_per_nm=310.0, brake_from_nm=60.0),
        flight("by the mile", Kind.RULE, slope_ft_per_nm=320.0, fastest_kt=285.0, brake_from_nm=30.0),
        flight("constant angle", Kind.RULE, slope_ft_per_nm=332.0, fastest_kt=295.0, brake_from_nm=20.0),
    )
    return tuple(replace(one, provenance=replace(one.provenance, rules=RULE_FILE)) for one in flown)


def moved(one: Flight, column: str, factor: float) -> Flight:
    """The flight with one column multiplied by a factor."""
    return replace(one, dataset=one.dataset.assign({column: one.dataset[column] * factor}))
