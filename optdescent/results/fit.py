"""Fit: coefficients of an airframe found from recordings, with standard errors and residuals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import csv_text, read_result, write_netcdf
from optdescent.results.notebook import dataset_card
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.results.schema import Column

Array = NDArray[np.float64]

_OF_COEFFICIENT = (
    Column("declared", "1", "declared value", ""),
    Column("value", "1", "value found", ""),
    Column("standard_error", "1", "standard error, none where fixed", ""),
    Column("is_fixed", "1", "held fixed (1) or found (0)", ""),
)
_OF_SAMPLE = (
    Column("flight", "1", "number of the recorded flight, from 0", ""),
    Column("segment", "1", "number of the segment, from 0", ""),
    Column("configuration", "1", "step of slats and flaps", ""),
    Column("gear", "1", "gear, up (0) or down (1)", ""),
    Column("time", "s", "recorded time", "min"),
    Column("speed", "m s-1", "recorded airspeed", "kt"),
    Column("pressure_altitude", "m", "recorded pressure altitude", "ft"),
    Column("speed_residual", "m s-1", "airspeed recorded less fitted", "kt"),
    Column("altitude_residual", "m", "pressure altitude recorded less fitted", "ft"),
)
_ALONE = (
    Column("speed_noise", "m s-1", "standard deviation of the recorded airspeed", "kt"),
    Column("altitude_noise", "m", "standard deviation of the recorded pressure altitude", "ft"),
)
_CORRELATION = Column("correlation", "1", "correlation of the errors of two coefficients", "")
_DIMENSIONS = {
    **dict.fromkeys(_OF_COEFFICIENT, ("coefficient",)),
    **dict.fromkeys(_OF_SAMPLE, ("sample",)),
    **dict.fromkeys(_ALONE, tuple[str, ...]()),
    _CORRELATION: ("coefficient", "other"),
}
FIT_COLUMNS = {column.name: column for column in _DIMENSIONS}
"""Every numeric column of a fit by name; `coefficient`, `sentence` and `recording` are texts."""


def fit_dataset(
    keys: tuple[str, ...], sentences: tuple[str, ...], flights: tuple[str, ...], columns: Mapping[str, Array | float]
) -> xr.Dataset:
    """Dataset over `coefficient` and `sample` from columns [SI, see `FIT_COLUMNS`].

    Raises
    ------
    ValueError
        The columns are not those of the schema.
    """
    if set(columns) != set(FIT_COLUMNS):
        raise ValueError(f"columns differ from the schema: {sorted(set(columns) ^ set(FIT_COLUMNS))}")
    arrays = {
        column.name: xr.DataArray(
            np.asarray(columns[column.name], dtype=float),
            dims=dimensions,
            attrs={"units": column.unit, "long_name": column.long_name},
        )
        for column, dimensions in _DIMENSIONS.items()
    }
    texts = {
        "sentence": xr.DataArray(np.array(sentences, dtype=object), dims=("coefficient",)),
        "recording": xr.DataArray(np.array(flights, dtype=object), dims=("recorded",)),
    }
    named = np.array(keys, dtype=object)
    return xr.Dataset({**arrays, **texts}, coords={"coefficient": named, "other": named})


@dataclass(frozen=True, repr=False)
class Fit:
    """Coefficients with standard errors over `coefficient`, residuals over `sample`, and where they are from."""

    dataset: xr.Dataset
    provenance: Provenance

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the coefficients in an airframe file."""
        return self._texts("coefficient")

    @property
    def sentences(self) -> tuple[str, ...]:
        """What each coefficient is."""
        return self._texts("sentence")

    @property
    def recordings(self) -> tuple[str, ...]:
        """Names of the recorded flights."""
        return self._texts("recording")

    def column(self, name: str) -> Array:
        """Values of a column [SI, see `FIT_COLUMNS`]."""
        return np.asarray(self.dataset[name].to_numpy(), dtype=float)

    def noise(self, name: str) -> float:
        """Standard deviation of the recorded `speed` [m/s] or `altitude` [m]."""
        return float(self.column(f"{name}_noise"))

    def _texts(self, name: str) -> tuple[str, ...]:
        return tuple(str(text) for text in self.dataset[name].to_numpy())

    def __repr__(self) -> str:
        found = int((self.column("is_fixed") == 0.0).sum())
        return f"Fit({found} coefficients, {self.dataset.sizes['sample']} points of {len(self.recordings)} flights)"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return dataset_card("Fit", self.provenance, self.dataset)

    def to_netcdf(self, path: str | Path) -> None:
        """Write the fit as netCDF-4, in one step.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        write_netcdf(Path(path), self.dataset.assign_attrs(self.provenance.attributes()).assign_attrs(kind="fit"))

    @classmethod
    def from_netcdf(cls, path: str | Path) -> Fit:
        """Fit of a file that `to_netcdf` wrote [SI].

        Raises
        ------
        InputFault
            The file cannot be read or does not hold a fit.
        """
        try:
            dataset, given = read_result(path, "fit")
            provenance = Provenance.of_attributes(given)
        except (OSError, KeyError, TypeError, ValueError) as error:
            faults = [Fault(str(path), "", f"does not hold a fit ({error})", "a fit written by this package")]
            raise InputFault(faults) from error
        return cls(dataset, provenance)

    def lines(self) -> list[str]:
        """Table of the coefficients as text [-], one line each under a heading, then the noise [kt, ft]."""
        width = max(len(key) for key in self.keys) + 2
        rows = [f"{'coefficient':{width}s}{'declared':>12s}{'found':>12s}{'std. error':>12s}{'in std. err.':>14s}"]
        for place, key in enumerate(self.keys):
            declared, value, error = (float(self.column(name)[place]) for name in _NUMBERS)
            moved = f"{(value - declared) / error:+14.1f}" if error > 0.0 else f"{'fixed':>14s}"
            shown = f"{error:12.5f}" if error > 0.0 else f"{'':>12s}"
            rows.append(f"{key:{width}s}{declared:12.5f}{value:12.5f}{shown}{moved}")
        return [*rows, *self._noise_lines()]

    def _noise_lines(self) -> list[str]:
        unit = {name: FIT_COLUMNS[name].chart_unit for name in ("speed_noise", "altitude_noise")}
        shown = [f"{self.column(name).item() / one.factor:.2f} {one.symbol}" for name, one in unit.items()]
        count = int(self.column("segment").max()) + 1
        return [f"{self.dataset.sizes['sample']} points in {count} segments; noise {shown[0]} and {shown[1]}"]

    def text(self) -> str:
        """Table as a text file with provenance and caution [-]."""
        return csv_text((self.provenance.source, CAUTION), (), ()) + "\n".join([*self.lines(), ""])


_NUMBERS = ("declared", "value", "standard_error")


def fit_plain(fit: Fit) -> dict[str, Any]:
    """A fit as a plain dictionary for JSON; keys carry their unit [kt, ft]."""
    columns = {name: fit.column(name) for name in (*_NUMBERS, "is_fixed")}
    coefficients = [
        {
            "key": key,
            "sentence": sentence,
            **{name: float(columns[name][place]) for name in _NUMBERS[:2]},
            "standard_error": float(columns["standard_error"][place]) or None,
            "is_fixed": bool(columns["is_fixed"][place]),
        }
        for place, (key, sentence) in enumerate(zip(fit.keys, fit.sentences, strict=True))
    ]
    speed, altitude = (FIT_COLUMNS[name].chart_unit.factor for name in ("speed_noise", "altitude_noise"))
    return {
        "title": fit.provenance.title,
        "digest": fit.provenance.scenario_digest,
        "recordings": list(fit.recordings),
        "points": fit.dataset.sizes["sample"],
        "segments": int(fit.column("segment").max()) + 1,
        "speed_noise_kt": fit.noise("speed") / speed,
        "altitude_noise_ft": fit.noise("altitude") / altitude,
        "coefficients": coefficients,
        "caution": CAUTION,
    }
