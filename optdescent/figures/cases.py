"""What became of rules in each case, and the levels met there: of margins over conditions and of a sweep alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.figures.pen import Array
from optdescent.results import Provenance
from optdescent.results.files import Fault, InputFault
from optdescent.results.line import capital
from optdescent.results.over_conditions import OverConditions
from optdescent.results.schema import with_unit
from optdescent.results.sweep import Swept
from optdescent.units import UNITS, Unit

_LEVEL = "level_"


@dataclass(frozen=True)
class Driver:
    """One varied quantity: name, in words, unit, and its level (case,) in that unit or in words."""

    name: str
    words: str
    unit: Unit
    levels: NDArray[Any]

    @property
    def label(self) -> str:
        """Label of an axis; of levels in words without a unit."""
        return with_unit(self.words, self.unit) if self.is_number else self.words

    @property
    def is_number(self) -> bool:
        """Whether its levels are numbers [-]."""
        return self.levels.dtype.kind in "fiu"

    @property
    def distinct(self) -> list[Any]:
        """Levels that are met, each once: numbers from low to high, words in their order of appearance."""
        return sorted(set(self.levels.tolist())) if self.is_number else list(dict.fromkeys(self.levels.tolist()))


@dataclass(frozen=True)
class Cases:
    """Rules over cases: stable (rule, case), 1, 0 or not a number where not flown; `worth` of a driver orders them."""

    rules: tuple[str, ...]
    stable: Array
    drivers: tuple[Driver, ...]
    worth: Array
    provenance: Provenance

    def driver(self, name: str) -> Driver:
        """Driver of a name.

        Raises
        ------
        InputFault
            There is none.
        """
        for driver in self.drivers:
            if driver.name == name:
                return driver
        raise InputFault([Fault("axis", "", repr(name), ", ".join(driver.name for driver in self.drivers))])


def cases_of(found: OverConditions | Swept) -> Cases:
    """Cases of a result.

    Raises
    ------
    InputFault
        No rule was flown in the cases of a sweep.
    """
    return _of_conditions(found) if isinstance(found, OverConditions) else _of_sweep(found)


def _of_conditions(found: OverConditions) -> Cases:
    cases, table = found.cases, found.table
    drivers: list[Driver] = []
    for name, own in cases.data_vars.items():
        if str(name).startswith(_LEVEL):
            symbol, bare = own.attrs.get("unit_in_file"), str(name).removeprefix(_LEVEL)
            unit = next((unit for unit in UNITS.values() if unit.symbol == symbol), UNITS[""])
            drivers.append(
                Driver(bare, capital(str(own.attrs.get("long_name", bare))), unit, np.asarray(own.to_numpy()))
            )
    shares = table["miss_share"].transpose("rule", "driver")
    summed = dict(zip((str(name) for name in shares["driver"].to_numpy()), np.nansum(shares, axis=0), strict=True))
    return Cases(
        tuple(str(name) for name in cases["rule"].to_numpy()),
        np.asarray(cases["stable"].transpose("rule", "case").to_numpy(), dtype=float),
        tuple(drivers),
        np.array([float(summed.get(driver.name, 0.0)) for driver in drivers]),
        found.provenance,
    )


def _of_sweep(found: Swept) -> Cases:
    dataset, axes = found.dataset, found.axes
    if "rule_stable" not in dataset:
        given = "no rule was flown in this sweep"
        raise InputFault([Fault("figure rule-map", "rule_stable", given, "a study that flies rules")])
    dims = axes if found.is_grid else ("case",)
    flags = dataset["rule_stable"].transpose("rule", *dims)
    stable = np.asarray(flags.to_numpy(), dtype=float).reshape(flags.sizes["rule"], -1)
    shape = tuple(flags.sizes[dim] for dim in dims)
    return Cases(
        tuple(str(name) for name in dataset["rule"].to_numpy()),
        np.where(stable < 0.0, np.nan, stable),
        tuple(driver_of(dataset, name, dims, shape) for name in axes),
        np.arange(len(axes), 0, -1, dtype=float),
        found.provenance,
    )


def driver_of(dataset: xr.Dataset, name: str, dims: tuple[str, ...], shape: tuple[int, ...]) -> Driver:
    """Axis of a sweep as a driver: its level [file unit] in each case, the cases in the order of the dimensions."""
    own = dataset[name]
    unit = unit_of(str(own.attrs.get("units", "1")))
    levels = np.asarray(own.to_numpy())
    if own.dims[0] in dims and own.dims[0] == name:
        beside = [shape[dims.index(name)] if dim == name else 1 for dim in dims]
        levels = np.broadcast_to(levels.reshape(beside), shape)
    return Driver(name, capital(str(own.attrs.get("long_name", name))), unit, levels.ravel())


def unit_of(udunits: str) -> Unit:
    """Unit that datasets write so; a pure number [-] where none is known."""
    return next((unit for unit in UNITS.values() if unit.udunits == udunits), UNITS[""])
