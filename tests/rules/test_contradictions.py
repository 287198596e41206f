"""Rules that contradict themselves in limits, checks and actions: named with file, key and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from optdescent.rules import read_rules
from tests.rules.test_read import ONE, faults_of


def limits(*pairs: tuple[float, float]) -> str:
    return "".join(f"[[rules.sink_limits]]\nbelow_height_ft = {h}\nsink_ft_per_min = {s}\n" for h, s in pairs)


def whens(*parts: str) -> str:
    return "".join(f"[[rules.when]]\n{part}\n" for part in parts)


HIGH = "kind = 'high'\nuse = 'speed brake'\nby_ft = {}\n"
FAR, NEAR = "from_nm = 40.0\nto_nm = 20.0\n", "from_nm = 25.0\nto_nm = 10.0\n"
LOW, UP = "below_height_ft = 5000.0\n", "above_height_ft = 5000.0\n"


@pytest.mark.parametrize(
    ("text", "key", "said"),
    [
        (
            limits((3000, 1000), (1000, 2000)),
            "sink_limits[1].sink_ft_per_min",
            "got 2000, with 1000 below 3000 ft already; less than 1000 ft/min",
        ),
        (limits((1000, 1500), (3000, 1500)), "sink_limits[0].sink_ft_per_min", "less than 1500 ft/min"),
        (limits((3000, 2000), (3000, 1000)), "sink_limits[1].below_height_ft", "got 3000 again; one limit below each"),
        ("[[rules.checks]]\ndistance_nm = 4.0\n", "checks[0].distance_nm", "got 4; height_ft alone"),
        (
            "[[rules.checks]]\nheight_ft = 1000.0\n[[rules.checks]]\nspeed_over_kt = 30.0\n",
            "checks[1].height_ft",
            "got 1000 again; one check at each height",
        ),
        (
            whens(HIGH.format(1000) + FAR, HIGH.format(300) + NEAR),
            "when[1]",
            "speed brake when high again, where when[0] says so already; one excess for each action",
        ),
        (whens(HIGH.format(1000), HIGH.format(300) + NEAR + LOW), "when[1]", "regions that do not overlap"),
        (whens(HIGH.format(1000) + UP, HIGH.format(300) + "on_glide_path = true\n"), "when[1]", "do not overlap"),
    ],
)
def test_what_contradicts_itself_is_named(text: str, key: str, said: str, tmp_path: Path) -> None:
    found = faults_of(tmp_path, ONE + text)
    assert list(found) == [f"rules[0].{key}"]
    assert said in found[f"rules[0].{key}"]


@pytest.mark.parametrize(
    "text",
    [
        limits((5000, 2000), (1000, 1000)),
        limits((1000, 1000), (5000, 2000)),
        "[[rules.checks]]\nheight_ft = 1000.0\n[[rules.checks]]\nheight_ft = 500.0\n",
        whens(HIGH.format(1000) + FAR, HIGH.format(300) + "from_nm = 20.0\n"),
        whens(HIGH.format(1000) + UP, HIGH.format(300) + LOW),
        whens(HIGH.format(1000), HIGH.format(300).replace("speed brake", "gear")),
        whens(HIGH.format(1000), "kind = 'fast'\nuse = 'speed brake'\nby_kt = 10.0\n"),
    ],
)
def test_what_goes_together_is_read(text: str, tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_text(ONE + text, encoding="utf-8")
    assert len(read_rules(path)) == 1
