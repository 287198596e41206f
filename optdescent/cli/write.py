"""Results to files in one folder."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path

from optdescent.inputs import Fault, InputFault
from optdescent.results import Flight


def file_name(name: str) -> str:
    """Name of a result as a file name [-]: letters, digits, dashes and underscores."""
    return re.sub(r"[^\w-]+", "-", name).strip("-") or "flight"


def check_output(folder: Path) -> None:
    """See, before the work begins and without making anything, whether a folder can be written to.

    Raises
    ------
    InputFault
        What exists of its path is no folder, or cannot be written to.
    """
    there = next(place for place in (folder.absolute(), *folder.absolute().parents) if place.exists())
    if not there.is_dir():
        raise InputFault([Fault(str(folder), "", "lies below a file", "a folder")])
    if not os.access(there, os.W_OK | os.X_OK):
        raise InputFault([Fault(str(folder), "", "cannot be written", "a folder that can be written to")])


def write_flights(flights: Sequence[Flight], folder: Path) -> list[Path]:
    """Write each flight as netCDF; returns the paths."""
    paths = [folder / f"{file_name(flight.name)}.nc" for flight in flights]
    for flight, path in zip(flights, paths, strict=True):
        flight.to_netcdf(path)
    return paths


def write_figures(flights: Sequence[Flight], folder: Path) -> list[Path]:
    """Draw every figure of the flights as PDF, SVG and PNG; returns the paths."""
    from optdescent.figures import FIGURES, draw, save
    from optdescent.figures.page import Page

    paths: list[Path] = []
    for name in FIGURES:
        paths += save(draw(name, tuple(flights), Page.A4), folder, name)
    return paths
