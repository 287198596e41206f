"""Rules that contradict themselves in limits, checks, devices and actions: named with key and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from optdescent.rules import read_rules
from tests.rules.test_read import ONE, faults_of


def limits(*pairs: tuple[float, float]) -> str:
    return "".join(f"[[rules.sink_limits]]\nbelow_height_ft = {h}\nsink_ft_per_min = {s}\n" for h, s in pairs)


def whens(*parts: str) -> str:
    return "".join(f"[[rules.when]]\n{part}\n" for part in parts)


def devices(*parts: tuple[str, str]) -> str:
    return "".join(f"[[rules.devices]]\ndevice = '{name}'\n{place}\n" for name, place in parts)


TERM = "{ kind = 'tailwind', distance_nm = 1 }"
BAND = TERM.replace(" }", ", above_height_ft = {}, below_height_ft = {} }}").replace("{ kind", "{{ kind")
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
        (
            devices(("last step", "distance_nm = 30"), ("first step", "distance_nm = 10")),
            "devices[1].distance_nm",
            "got 10 nm, with 'last step' by 30 nm already; 30 nm or more: a step brings those before it",
        ),
        (
            devices(("first step", "height_ft = 3000"), ("second step", "height_ft = 5000")),
            "devices[0].height_ft",
            "got 3000 ft, with 'second step' by 5000 ft already",
        ),
        (
            devices(("gear", f"distance_nm = 9\nterms = [{BAND.format(9000, 9000)}]")),
            "devices[0].terms[0].above_height_ft",
            "got 9000, not below below_height_ft; less than 9000 ft",
        ),
        (
            devices(("gear", f"distance_nm = 9\nterms = [{TERM.replace(' }', ', below_height_ft = 9000 }')}]")),
            "devices[0].terms[0]",
            "one of above_height_ft, below_height_ft; both, or none: the wind on the nose",
        ),
        (
            devices(("gear", f"distance_nm = 9\nterms = [{BAND.format(0, 9000)}, {BAND.format(0, 9000)}]")),
            "devices[0].terms[1].kind",
            "got 'tailwind' again; one term for each driver",
        ),
        (
            devices(("gear", f"distance_nm = 9\nterms = [{TERM}, {TERM.replace('1', '-1', 1)}]")),
            "devices[0].terms[1].kind",
            "got 'tailwind' again; one term for each driver",
        ),
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
        devices(("first step", "distance_nm = 30"), ("last step", "distance_nm = 30"), ("gear", "distance_nm = 9")),
        devices(("last step", "at_capture = true"), ("first step", "distance_nm = 5")),
        devices(("last step", "distance_nm = 30"), ("first step", f"distance_nm = 10\nterms = [{TERM}]")),
        devices(("gear", f"distance_nm = 9\nterms = [{TERM}, {TERM.replace('tailwind', 'headwind_only')}]")),
        devices(("gear", f"distance_nm = 9\nterms = [{BAND.format(0, 9000)}, {BAND.format(9000, 20000)}, {TERM}]")),
    ],
)
def test_what_goes_together_is_read(text: str, tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_text(ONE + text, encoding="utf-8")
    assert len(read_rules(path)) == 1


@pytest.mark.parametrize(
    "profile",
    [
        "kind = 'distance', terms = [{ kind = 'height_to_lose', distance_nm = 3 }, ",
        "kind = 'angle', angle_deg = 3, terms = [{ kind = 'always', distance_nm = 3 }, ",
        "kind = 'height', gradient_ft_per_nm = 300, terms = [{ kind = 'always', distance_nm = 3 }, ",
    ],
)
def test_terms_of_one_driver_that_cancel_are_named(profile: str, tmp_path: Path) -> None:
    own = f"profile = {{ {profile}{TERM}, {TERM.replace('1', '-1')}] }}"
    text = "\n".join(own if line.startswith("profile") else line for line in ONE.splitlines())
    told = {"rules[0].profile.terms[2].kind": "got 'tailwind' again; one term for each driver"}
    assert faults_of(tmp_path, text) == told
