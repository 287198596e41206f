"""Any stored result, opened by what its file says that it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from optdescent.inputs import Fault, InputFault
from optdescent.results.corridor import Corridor
from optdescent.results.debrief_file import KIND as DEBRIEF
from optdescent.results.debrief_file import read_debrief
from optdescent.results.files import netcdf_kind
from optdescent.results.fit import Fit
from optdescent.results.flight import Flight, Kind
from optdescent.results.front import Front
from optdescent.results.kinds import Stored, faults_of
from optdescent.results.last_action import read_last_actions
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import KIND as OVER_CONDITIONS
from optdescent.results.over_conditions import OverConditions
from optdescent.results.rule_sheet import RuleSheet
from optdescent.results.slope import SlopeChart
from optdescent.results.sweep import Swept

_READERS: Mapping[str, Callable[[Path], Stored]] = {
    **dict.fromkeys((kind.value for kind in Kind), Flight.from_netcdf),
    "margins": Margins.from_netcdf,
    OVER_CONDITIONS: OverConditions.from_netcdf,
    "corridor": Corridor.from_netcdf,
    "slope": SlopeChart.from_netcdf,
    "front": Front.from_netcdf,
    "fit": Fit.from_netcdf,
    "rule sheet": RuleSheet.from_netcdf,
    DEBRIEF: read_debrief,
}
"""Reader of each kind of netCDF file."""


def read_stored(path: str | Path) -> Stored:
    """Result of a file: netCDF of any kind, the Zarr folder of a sweep, or the CSV of last useful points [SI].

    Raises
    ------
    InputFault
        There is no such file, it holds no result of this package, or one that lacks what its kind must hold.
    """
    held = _read(path)
    faults = faults_of(held, str(path))
    if faults:
        raise InputFault(faults)
    return held


def _read(path: str | Path) -> Stored:
    """Result of a file, whole or not.

    Raises
    ------
    InputFault
        There is no such file, or it holds no result of this package.
    """
    place = Path(path)
    if not place.exists():
        raise InputFault([Fault(str(path), "", "not found", "a result written by this package")])
    if place.is_dir():
        return Swept.from_zarr(place)
    if place.suffix.lower() == ".csv":
        return read_last_actions(place)
    kind = netcdf_kind(place)
    if kind not in _READERS:
        raise InputFault([Fault(str(path), "", f"holds a result of kind {kind!r}", ", ".join(_READERS))])
    return _READERS[kind](place)
