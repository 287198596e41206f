"""Sentences of what breaks a rule: two numbers that are told never contradict one another."""

from __future__ import annotations

import re

import numpy as np
import pytest

from optdescent.inputs import validated
from optdescent.margins.driver import Driver, breaks_sentence
from optdescent.scenario import Axis
from optdescent.scenario.declared_axes import NormalAxis


def driver(key: str, middle: float, spread: float) -> Driver:
    told = {"kind": "normal", "key": key, "mean": middle, "standard_deviation": spread}
    return Driver(Axis(validated(NormalAxis, told, "x")), middle, spread)


WIND, MASS = driver("added_tailwind_kt", 0.0, 12.0), driver("start.mass_kg", 60000.0, 3500.0)


def told(alone: list[list[float]], point: list[float], drivers: tuple[Driver, ...] = (WIND, MASS)) -> str:
    return breaks_sentence(drivers, np.array(alone), np.array(point), "3 kt too fast", unforecast=False)


def numbers(sentence: str) -> list[float]:
    return [float(number) for number in re.findall(r"([\d.]+) kt of added tailwind", sentence)]


@pytest.mark.parametrize("held", [46.02, 46.0, 45.97, 46.5, 0.4, 9.999])
def test_a_rule_does_not_break_where_it_is_said_to_hold(held: float) -> None:
    """A tailwind alone that breaks it a tenth of a knot beyond where it holds."""
    sentence = told([[np.nan, held], [np.nan, np.nan]], [(held + 0.1) / 12.0, 0.0])
    holds, breaks = numbers(sentence)
    assert holds <= held < held + 0.1 <= breaks
    assert sentence.startswith("holds up to ")
    assert sentence.endswith("(too fast)")


def test_two_drivers_that_break_it_together_are_both_told_where_one_alone_would_hold() -> None:
    """46.3 kt alone are flown stable; 45.7 kt with 59.2 t are not. 46 and 46 kt alone would contradict."""
    sentence = told([[np.nan, 46.3], [np.nan, np.nan]], [45.7 / 12.0, -800.0 / 3500.0])
    assert sentence.startswith("holds up to 46.3 kt of added tailwind; breaks first at 3.8 spreads: ")
    assert "45.7 kt of added tailwind, 59.2 t (too fast)" in sentence


def test_a_driver_that_hardly_moves_is_not_told_where_another_breaks_it_alone() -> None:
    sentence = told([[np.nan, 46.3], [np.nan, np.nan]], [46.9 / 12.0, 500.0 / 3500.0])
    assert sentence.endswith("breaks first at 3.9 spreads: 47 kt of added tailwind (too fast)")


def test_levels_are_rounded_towards_a_middle_that_is_not_nothing() -> None:
    """With 20 kt in the middle it holds down to 5.4 kt: 5 kt would be said of what was not flown."""
    mean = driver("added_tailwind_kt", 20.0, 12.0)
    sentence = told([[5.4, np.nan], [np.nan, np.nan]], [(5.2 - 20.0) / 12.0, 0.0], (mean, MASS))
    assert sentence.startswith("holds down to 6 kt of added tailwind; ")
    assert ": 5 kt of added tailwind (" in sentence
