"""Rules that cannot start where a scenario does."""

from __future__ import annotations

import pytest

from optdescent.inputs import InputFault
from optdescent.rules import read_rules
from optdescent.rules.startable import check_start
from tests.rules.made import rule
from tests.scenario.files import scenario


def test_the_library_starts_after_the_start() -> None:
    check_start(scenario(), read_rules("library"), "library")


@pytest.mark.parametrize(
    ("profile", "words"),
    [
        ({"kind": "angle", "angle_deg": 1.0}, "the descent would begin before the start"),
        (
            {
                "kind": "points",
                "points": [{"distance_nm": 20, "height_ft": 60000}, {"distance_nm": 2, "height_ft": 50000}],
            },
            "never asks for less than the cruise height",
        ),
    ],
)
def test_a_rule_that_cannot_start_is_named(profile: dict[str, object], words: str) -> None:
    with pytest.raises(InputFault) as error:
        check_start(scenario(), (rule(profile=profile),), "own.toml")
    (fault,) = error.value.faults
    assert fault.file == "own.toml"
    assert fault.key == "rules[0].profile"
    assert words in f"{fault.given} {fault.allowed}"
