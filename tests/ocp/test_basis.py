"""Nodes, weights and matrices of all families and degrees."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.ocp import Family
from optdescent.ocp.basis import basis, integration, interpolation
from optdescent.ocp.mesh import PhaseMesh

DEGREES = [1, 2, 3, 5, 9, 10, 16, 30]


@pytest.mark.parametrize("family", Family)
@pytest.mark.parametrize("degree", DEGREES)
def test_quadrature_is_exact_to_its_degree(degree: int, family: Family) -> None:
    element = basis(degree, family)
    top = 2 * degree - (1 if family is Family.GAUSS else 2)
    for power in range(top + 1):
        assert element.weights @ element.collocation**power == pytest.approx(1 / (power + 1), rel=1e-13)
    # One degree more is beyond it, to the side that the family's chatter profits from.
    beyond = element.weights @ element.collocation ** (top + 1) - 1 / (top + 2)
    if degree < 5:
        assert np.sign(beyond) == {Family.FLIPPED: 1, Family.STANDARD: -1, Family.GAUSS: -1}[family]


@pytest.mark.parametrize("family", Family)
@pytest.mark.parametrize("degree", DEGREES)
def test_differentiation_and_integration_of_polynomials(degree: int, family: Family) -> None:
    element = basis(degree, family)
    for power in range(degree + 1):
        slope = power * element.collocation ** max(power - 1, 0)
        assert element.differentiation @ element.nodes**power == pytest.approx(slope, abs=1e-10 * degree**2)
        assert element.closure @ element.nodes**power == pytest.approx(1.0, abs=1e-10)
    for power in range(degree):
        whole = element.nodes ** (power + 1) / (power + 1)
        assert integration(degree, family) @ element.collocation**power == pytest.approx(whole, abs=1e-12)


def test_known_points() -> None:
    # Abramowitz and Stegun, Handbook of Mathematical Functions, 25.4.29 and 25.4.31, moved to [0, 1].
    assert basis(2, Family.GAUSS).collocation == pytest.approx([0.5 - 3**-0.5 / 2, 0.5 + 3**-0.5 / 2], abs=1e-16)
    radau = basis(3, Family.STANDARD)
    assert 2 * radau.collocation - 1 == pytest.approx([-1.0, -0.289898, 0.689898], abs=1e-6)
    assert 2 * radau.weights == pytest.approx([0.222222, 1.024972, 0.752806], abs=1e-6)
    flipped = basis(3, Family.FLIPPED)
    assert flipped.collocation == pytest.approx(1 - radau.collocation[::-1], abs=1e-15)


def test_degree_below_one() -> None:
    with pytest.raises(ValueError, match="degree"):
        basis(0, Family.GAUSS)


def test_interpolation_at_a_node_is_exact() -> None:
    nodes = basis(7, Family.STANDARD).nodes
    assert np.array_equal(interpolation(nodes, nodes), np.eye(8))


@pytest.mark.parametrize("family", Family)
def test_a_mesh_evaluates_and_integrates_polynomials(family: Family) -> None:
    mesh = PhaseMesh((0.2, 0.5, 0.3), (3, 6, 4), family)
    at = np.linspace(0, 1, 41)
    assert mesh.state_at(mesh.nodes**3, at) == pytest.approx(at**3, abs=1e-13)
    assert mesh.control_at(mesh.collocation**2, at) == pytest.approx(at**2, abs=1e-13)
    for others in (at[::-1], at[:7], at):
        # the last reading is kept for the values that follow, and only for them
        assert mesh.state_at(mesh.nodes, others) == pytest.approx(others, abs=1e-13)
        assert mesh.control_at(mesh.collocation, others) == pytest.approx(others, abs=1e-13)
    own = mesh.nodes**3, mesh.collocation**2
    again = mesh.state_at(own[0], mesh.nodes), mesh.control_at(own[1], mesh.collocation)
    for values, found in zip(own, again, strict=True):
        assert found.tolist() == values.tolist()
        assert found is not values
    assert mesh.cumulative(mesh.collocation**2) == pytest.approx(mesh.nodes**3 / 3, abs=1e-13)
    assert mesh.weights.sum() == pytest.approx(1.0, abs=1e-14)
    slopes = mesh.differentiation.matrix() @ mesh.nodes**3 / mesh.widths
    assert slopes == pytest.approx(3 * mesh.collocation**2, abs=1e-12)
    assert mesh.closure.matrix() @ mesh.nodes**3 == pytest.approx(np.zeros(mesh.closure.shape[0]), abs=1e-13)
    assert sorted([*mesh.open_nodes, *mesh.collocation_nodes]) == list(range(mesh.node_count))
