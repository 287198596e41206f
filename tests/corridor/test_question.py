"""The corridor as a question of a sweep: the same heights as the command's, labelled, and why a case has none."""

from __future__ import annotations

import json

import numpy as np
import pytest
import xarray as xr

from optdescent.corridor import ONE_BY_ONE, CorridorQuestion, Grid, corridor, edges_for
from optdescent.results.sweep import Status
from optdescent.rules import RulesQuestion
from optdescent.study import Study
from optdescent.sweep.block import case_of
from optdescent.sweep.local import Local
from optdescent.sweep.question import PreparedHere, Together
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.study.files import SHORT, write_study
from tests.sweep.toy import opened, run

MASSES = "[[conditions.axes]]\nkind = 'values'\nkey = 'start.mass_kg'\nvalues = [56000, 64000]\n"
COMPUTE = "[compute]\noptimum = false\ncorridor.distances_nm = [10]\ncorridor.speeds_kt = [190]\n"


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """One point, at two masses."""
    folder = tmp_path_factory.mktemp("study")
    return Study.from_toml(write_study(folder, axes=MASSES, rest=COMPUTE, top=f"set = {json.dumps(SHORT)}\n"))


@pytest.fixture(scope="module")
def swept(study: Study, tmp_path_factory: pytest.TempPathFactory) -> xr.Dataset:
    path = tmp_path_factory.mktemp("swept") / "a.zarr"
    assert run(study.sweep(), path, Local(1)).done == 2
    return opened(path)


def test_each_case_has_the_corridor_of_its_scenario(study: Study, swept: xr.Dataset) -> None:
    scenario = case_of(study.asked, 0).scenario
    assert isinstance(study.question, CorridorQuestion)
    grid = study.question.grid
    own = corridor(edges_for(scenario, grid, ONE_BY_ONE, lambda _: None), grid)
    assert scenario.start.mass == 56000.0
    found = swept.sel(mass_kg=56000, corridor_distance=10 * NAUTICAL_MILE)
    for name in ("highest", "taken_off", "excess_again"):
        one = own.dataset[name].isel(distance_to_go=0).to_numpy()
        np.testing.assert_array_equal(found[f"corridor_{name}"].to_numpy(), one)
    np.testing.assert_array_equal(found["corridor_lowest"].to_numpy(), own.values("lowest")[0])


def test_devices_reach_higher_and_all_is_labelled(swept: xr.Dataset) -> None:
    highest = swept["corridor_highest"]
    assert highest.dims == ("mass_kg", "devices", "corridor_distance", "corridor_speed")
    assert (highest.attrs["units"], highest.attrs["long_name"][:14]) == ("m", "highest height")
    assert swept["corridor_speed"].attrs["units"] == "m s-1"
    assert swept["corridor_distance"].attrs["units"] == "m"
    assert swept["corridor_lowest"].dims == ("mass_kg", "corridor_distance", "corridor_speed")
    np.testing.assert_allclose(swept["corridor_speed"], np.array([190.0]) * KNOT)
    assert (swept["status"] == Status.SOLVED).all()
    assert (swept["corridor_reason"] == "").all()
    nothing, everything = (highest.sel(devices=name) for name in ("idle and schedule", "everything"))
    gained = (everything - nothing).to_numpy() / FOOT
    assert (gained > 10.0).all()
    assert not np.any(swept["corridor_lowest"].to_numpy() > everything.to_numpy())
    # a heavier aircraft flies its approach faster: it has less to slow and may begin higher
    assert (nothing.sel(mass_kg=64000) > nothing.sel(mass_kg=56000)).all()


def test_a_case_that_cannot_have_a_point_says_why_and_keeps_its_other_answers(study: Study) -> None:
    case = case_of(study.asked, 0)
    question = Together((RulesQuestion(()), CorridorQuestion(Grid((60.0 * NAUTICAL_MILE,), (190.0 * KNOT,)))))
    answer = question.hold(question.prepare([case], PreparedHere(print))).session().answer(case, ())
    assert answer.status is Status.SOLVED
    assert "distance: got 60 nm; allowed: from" in str(answer.values["corridor_reason"])
    assert "to 50 nm, the start" in str(answer.values["corridor_reason"])
    alone = question.questions[1].hold(None).session().answer(case, ())
    assert (alone.status, alone.reason) == (Status.BAD_INPUT, answer.values["corridor_reason"])


def test_a_defect_in_a_corridor_is_its_reason(study: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise ZeroDivisionError("a defect")

    monkeypatch.setattr("optdescent.corridor.question.corridor", fails)
    monkeypatch.setattr("optdescent.corridor.question.edges_for", fails)
    answer = study.question.hold(None).session().answer(case_of(study.asked, 0), ())
    assert (answer.status, answer.values["corridor_reason"]) == (Status.FAILED, "ZeroDivisionError: a defect")
