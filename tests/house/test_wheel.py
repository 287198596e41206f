"""Everything that the package needs when it runs is in the wheel."""

from __future__ import annotations

import zipfile
from fnmatch import fnmatch
from pathlib import Path

import pytest

from tests.house.source import PACKAGE, ROOT, files, shown

DATA = (
    "optdescent/airframe/data/*.toml",
    "optdescent/air/wind/data/*.csv",
    "optdescent/rules/library/*.toml",
    "optdescent/figures/*.mplstyle",
    "optdescent/py.typed",
)


def test_the_wheel_holds_the_whole_package(tmp_path: Path) -> None:
    builder = pytest.importorskip("hatchling.builders.wheel", reason="hatchling: install the `tests` extra")
    wheel = next(builder.WheelBuilder(str(ROOT)).build(directory=str(tmp_path), versions=["standard"]))
    with zipfile.ZipFile(wheel) as archive:
        packed = {name for name in archive.namelist() if name.startswith("optdescent/")}
        entry_points = next(name for name in archive.namelist() if name.endswith("entry_points.txt"))
        assert "optdescent = optdescent.cli:main" in archive.read(entry_points).decode()
    assert packed == {shown(path) for path in files(PACKAGE, "*") if path.suffix != ".pyc"}
    for pattern in DATA:
        assert any(fnmatch(name, pattern) for name in packed), f"no {pattern} in the wheel"
