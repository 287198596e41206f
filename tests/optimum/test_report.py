"""What an optimum's record says of the charge for smooth controls and of the minimum principle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optdescent.ocp import Outcome, ProblemFault, SolverSettings, transcribe
from optdescent.optimum import report
from optdescent.optimum.parameters import WEIGHTS
from optdescent.optimum.report import regularisation, regularisation_cost, solver_record
from tests.optimum.descents import STILL, optimum


@pytest.mark.parametrize("settings", [(), (STILL,)], ids=["jet", "still"])
def test_what_the_charge_costs_is_what_no_charge_saves(settings: tuple[str, ...]) -> None:
    """A fortieth of it still costs a little."""
    found = optimum(*settings)
    pose, solution = found.pose, found.solution
    program = transcribe(found.problem, solution.mesh)
    cost, charge = regularisation_cost(pose, program, solution), regularisation(pose, solution)
    little = {name: solution.values[name] / 40.0 for name in WEIGHTS}
    again = program.solve({**solution.values, **little}, solution)
    assert again.outcome.is_success
    saved = solution.cost - charge - (again.cost - regularisation(pose, again))
    assert saved == pytest.approx(1.04 * cost, rel=0.03)
    assert 0.0 < cost < charge


def test_what_the_charge_costs_is_not_known_where_less_of_it_does_not_solve(monkeypatch: pytest.MonkeyPatch) -> None:
    found = optimum()
    program = transcribe(found.problem, found.solution.mesh)
    monkeypatch.setattr(report, "_NEAR", SolverSettings(iterations=0, newton=False))
    assert np.isnan(regularisation_cost(found.pose, program, found.solution))


def test_controls_agree_with_their_switching_functions() -> None:
    """Also where an event fell on another, so that the phase between them is no longer than rounding."""
    shown = optimum("handling.configuration=free").solution.certificate
    assert shown.wrong_signs == 0
    assert shown.lacking_curvature == 0.0
    assert shown.stationarity < 1e-6


def test_what_was_not_finite_on_a_finer_mesh_is_told_with_the_status() -> None:
    found = optimum()
    fault = ProblemFault("not finite at the start of the solve", phase="to gate", variable="mass", index=3)
    coarse = replace(found.solution, outcome=Outcome.COARSE, fault=fault)
    record = solver_record(found.pose, found.problem, coarse, found.flight, ())
    assert Outcome.COARSE.value in record.status
    assert "'to gate'" in record.status
    assert "'mass'" in record.status
