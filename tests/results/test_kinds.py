"""What a stored result of each kind must hold: whole ones pass, and what lacks something is named with its file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from optdescent.inputs import InputFault
from optdescent.results import Flight, Kind
from optdescent.results.kinds import Stored, faults_of, named, said
from optdescent.results.stored import read_stored
from tests.figures import debriefs, fits, fronts, sheets, test_corridor, test_slope
from tests.figures.conditions import once, over
from tests.figures.flights import flight
from tests.figures.sweeps import last_useful, store, swept
from tests.results.least import changed, without

MADE: dict[str, Callable[[], Stored]] = {
    "flight": lambda: flight("three to one", Kind.RULE),
    "margins": once,
    "conditions": over,
    "corridor": test_corridor.invented,
    "slope": test_slope.invented,
    "front": fronts.invented,
    "fit": fits.invented,
    "sheet": sheets.invented,
    "sweep": swept,
    "debrief": debriefs.invented,
}


def told(held: Stored) -> list[str]:
    return [f"{fault.file}: {fault.key}: {fault.given}" for fault in faults_of(held, "a file")]


@pytest.mark.parametrize("kind", MADE)
def test_a_whole_result_has_no_fault_and_one_without_variables_names_each(kind: str) -> None:
    held = MADE[kind]()
    assert told(held) == []
    assert faults_of((last_useful(),), "a file") == []
    bare = told(changed(held, lambda own: own.drop_vars(own.variables).drop_attrs()))
    assert any(line.endswith("is missing") for line in bare)
    assert len(set(bare)) == len(bare)


def test_each_kind_has_one_name_in_sentences_and_alone() -> None:
    words = {kind: said(made()) for kind, made in MADE.items()} | {"last": said((last_useful(),))}
    assert len(set(words.values())) == len(words)
    assert (words["corridor"], named(MADE["corridor"]())) == ("an energy corridor", "energy corridor")
    assert (words["sweep"], named(MADE["sweep"]())) == ("a sweep", "sweep")
    assert (words["flight"], named(MADE["flight"]())) == ("flights", "flight (rule)")


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        ("corridor", "distance_to_go"),
        ("corridor", "speed"),
        ("corridor", "devices"),
        ("conditions", "rule"),
        ("conditions", "at_distance"),
        ("conditions", "driver"),
        ("conditions", "stable"),
        ("margins", "at_height"),
        ("fit", "sentence"),
        ("flight", "distance_to_go"),
        ("slope", "step"),
        ("front", "rule_title"),
        ("sheet", "wind"),
        ("sweep", "status"),
        ("debrief", "devices"),
    ],
)
def test_what_is_missing_is_named_coordinates_too(kind: str, name: str) -> None:
    assert f"a file: {name}: is missing" in told(without(MADE[kind](), name))


@pytest.mark.parametrize(
    ("kind", "dimension"),
    [
        ("flight", "point"),
        ("conditions", "rule"),
        ("conditions", "at_distance"),
        ("conditions", "case"),
        ("corridor", "devices"),
        ("corridor", "distance_to_go"),
        ("corridor", "speed"),
        ("fit", "coefficient"),
        ("fit", "sample"),
        ("sheet", "distance_to_go"),
        ("front", "rule"),
        ("slope", "configuration"),
        ("margins", "flight"),
    ],
)
def test_a_dimension_without_places_is_named(kind: str, dimension: str) -> None:
    emptied = changed(MADE[kind](), lambda own: own.isel({dimension: slice(0, 0)}, missing_dims="ignore"))
    assert f"a file: {dimension}: is of length 0" in told(emptied)


@pytest.mark.parametrize(
    ("kind", "number", "known"),
    [
        ("flight", "gear", "height_above_threshold: is not known anywhere"),
        ("conditions", "stable_share", "flown: is not known anywhere"),
        ("margins", "fuel", "excess_energy: is not known anywhere"),
        ("corridor", "highest", ""),
        ("fit", "value", "value: is not known anywhere"),
        ("slope", "deceleration", "deceleration: is not known anywhere"),
        ("front", "fuel_mean", "simplicity: is not known anywhere"),
        ("sheet", "height_to_have", "height_to_have: is not known anywhere"),
    ],
)
def test_texts_for_numbers_and_numbers_that_nobody_knows_are_named(kind: str, number: str, known: str) -> None:
    def of_texts(own: xr.Dataset) -> xr.Dataset:
        return own.assign({number: own[number].astype(object).where(False, "x")}) if number in own else own

    def unknown(own: xr.Dataset) -> xr.Dataset:
        return own.assign({name: own[name] * np.nan for name in own.data_vars if own[name].dtype.kind == "f"})

    assert f"a file: {number}: holds texts" in told(changed(MADE[kind](), of_texts))
    nothing = told(changed(MADE[kind](), unknown))
    assert f"a file: {known}" in nothing if known else nothing == [], "no height is an answer of a corridor"


def test_a_number_of_a_coordinate_that_is_not_known_is_named() -> None:
    holed = changed(
        test_corridor.invented(),
        lambda own: own.assign_coords(speed=own["speed"].where(own["speed"] > own["speed"][0])),
    )
    assert told(holed) == ["a file: speed: is not known everywhere"]


def test_a_sweep_that_does_not_say_its_axes_is_named_with_its_folder(tmp_path: Path) -> None:
    store(tmp_path / "sweep", axes="-")
    with pytest.raises(InputFault, match=r"sweep: axes: is missing; allowed: what a result of its kind holds"):
        read_stored(tmp_path / "sweep")
    other = changed(swept(), lambda own: own.assign_attrs(axes='["drag"]'))
    assert told(other) == ["a file: axes: names 'drag', which is missing"]
    assert told(changed(swept(), lambda own: own.assign_attrs(axes="drag"))) == ["a file: axes: is 'drag'"]


def test_a_debrief_answers_for_its_flights() -> None:
    found = debriefs.invented()
    lame = without(found.flight, "gear")
    assert isinstance(lame, Flight)
    assert told(replace(found, flight=lame)) == ["a file: gear: is missing"]
