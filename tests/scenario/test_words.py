"""Keys of a scenario file in words: every key that a study may vary has some, short enough for the axis of a figure."""

from __future__ import annotations

import pytest

from optdescent.inputs import key_in_words
from optdescent.scenario.declaration import ScenarioDeclaration


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("start.mass_kg", "mass at the start"),
        ("cost.time_kg_per_min", "cost of time"),
        ("handling.anti_ice.kind", "engine anti-ice"),
        ("air.temperature_offset_k", "temperature above the standard"),
        ("air.wind.of.wind_speed_kt", "wind speed"),
        ("technique.late_s", "delay of actions"),
        ("technique.wind_error_kt", "error of the tailwind believed"),
        ("arrival.hold_downs[1].altitude_ft", "altitude to hold, hold downs 1"),
        ("nobody.knows", "nobody.knows"),
    ],
)
def test_a_key_is_what_its_declaration_says_it_is(key: str, words: str) -> None:
    assert key_in_words(ScenarioDeclaration, key) == words
