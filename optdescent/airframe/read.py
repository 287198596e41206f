"""Airframe file to Airframe, by built-in name or path, with the faults that only the whole file shows."""

from __future__ import annotations

from functools import lru_cache
from importlib import resources
from pathlib import Path

from optdescent.airframe.declaration import Airframe
from optdescent.airframe.fault import airframe_faults
from optdescent.inputs import Fault, InputFault, parsed_toml, read_text, validated

BUILT_IN = ("regional-jet", "narrow-body-twin", "wide-body-twin")
"""Fictional airframes that come with the package, by name."""


def read_airframe(source: str, folder: Path | None = None) -> Airframe:
    """Airframe of a built-in name or of a file [numbers in SI].

    Raises
    ------
    InputFault
        No such name or file, or every fault of the file.
    """
    if source in BUILT_IN:
        file = resources.files("optdescent.airframe").joinpath("data", f"{source}.toml")
        return _airframe(file.read_text(encoding="utf-8"), source)
    path = Path(source) if folder is None else folder / source
    if not path.exists():
        allowed = f"a file, or the name of a built-in airframe ({', '.join(BUILT_IN)})"
        raise InputFault([Fault(str(path), "", "airframe not found", allowed)])
    return _airframe(read_text(path), str(path))


@lru_cache(maxsize=32)
def _airframe(text: str, name: str) -> Airframe:
    """Airframe of the text of a file: read once for the thousands of scenarios of a study."""
    airframe = validated(Airframe, parsed_toml(text, name), name)
    faults = airframe_faults(airframe, name)
    if faults:
        raise InputFault(faults)
    return airframe
