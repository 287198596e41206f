"""The program by which benchmarks compare machines."""

from __future__ import annotations

from benchmarks.known_solve import KnownSolve, known_solve


def test_it_is_solved_as_where_it_was_timed() -> None:
    """In as many iterations, to the published optimum: else it is another program."""
    found = known_solve(1)
    assert found.iterations == 19
    assert "19 iterations" in found.sentence


def test_a_machine_is_slower_by_its_seconds() -> None:
    assert KnownSolve(0.065, 19).slowness == 2.0
