"""The airframe file that a fit writes holds the whole airframe."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from optdescent.airframe import BUILT_IN, Airframe, read_airframe
from optdescent.airframe.declaration import IdleTable
from optdescent.identify import airframe_text
from tests.figures.fits import invented


def plain(airframe: Airframe) -> dict[str, Any]:
    """Every number and name but the two that say where they are from, flat."""
    return dict(_flat("", airframe.model_dump(exclude={"title", "source"})))


def _flat(key: str, value: Any) -> list[tuple[str, Any]]:
    if isinstance(value, dict):
        return [pair for name, inner in value.items() for pair in _flat(f"{key}.{name}", inner)]
    if isinstance(value, (list, tuple)):
        return [pair for place, inner in enumerate(value) for pair in _flat(f"{key}[{place}]", inner)]
    return [(key, value)]


def same(one: Airframe, other: Airframe) -> None:
    ours, theirs = plain(one), plain(other)
    assert ours.keys() == theirs.keys()
    for key, value in ours.items():
        assert theirs[key] == (pytest.approx(value, rel=1e-7) if isinstance(value, float) else value), key


@pytest.mark.parametrize("name", BUILT_IN)
def test_every_built_in_airframe_is_written_as_it_is(name: str, tmp_path: Path) -> None:
    airframe = read_airframe(name)
    path = tmp_path / "airframe.toml"
    path.write_text(airframe_text(airframe, invented()), encoding="utf-8")
    same(airframe, read_airframe(str(path)))


def test_tables_in_places_that_are_not_fitted_are_kept(tmp_path: Path) -> None:
    airframe = read_airframe("narrow-body-twin")
    rows = ((8000.0, 6000.0, 4000.0), (7000.0, 5000.0, 3000.0), (5000.0, 3500.0, 2000.0))
    flows = ((0.15, 0.15, 0.16), (0.13, 0.13, 0.14), (0.11, 0.11, 0.12))
    table = IdleTable.model_construct(
        kind="table", mach=(0.2, 0.5, 0.8), pressure_altitude=(0.0, 6000.0, 12000.0), thrust=rows, flow=flows
    )
    tabled = airframe.model_copy(update={"engines": airframe.engines.model_copy(update={"anti_ice_idle": table})})
    path = tmp_path / "airframe.toml"
    path.write_text(airframe_text(tabled, invented()), encoding="utf-8")
    same(tabled, read_airframe(str(path)))


def test_names_with_marks_are_written_so_that_they_read_back() -> None:
    odd = read_airframe("narrow-body-twin").model_copy(update={"title": 'Twin "A" \\ B, 50 % é\n# no comment'})
    text = airframe_text(odd, invented(title=f"{odd.title}: coefficients"))
    assert tomllib.loads(text)["title"].startswith(odd.title)
