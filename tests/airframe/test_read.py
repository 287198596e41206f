"""Airframe files: the built-in one, and every fault of a bad one."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

import pytest

from optdescent.airframe import BUILT_IN, read_airframe
from optdescent.inputs import InputFault

BUILT_IN_TEXT = resources.files("optdescent.airframe").joinpath("data", "narrow-body-twin.toml").read_text("utf-8")


def changed(**values: str) -> str:
    """The built-in file with the first line of each key changed."""
    text = BUILT_IN_TEXT
    for key, value in values.items():
        text, count = re.subn(rf"(?m)^{key} = [^#\n]*", f"{key} = {value} ", text, count=1)
        assert count == 1, key
    return text


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "made.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults_of(tmp_path: Path, text: str) -> dict[str, str]:
    with pytest.raises(InputFault) as caught:
        read_airframe("made.toml", written(tmp_path, text).parent)
    assert all(fault.file.endswith("made.toml") for fault in caught.value.faults)
    return {fault.key: f"{fault.given}; {fault.allowed}" for fault in caught.value.faults}


@pytest.mark.parametrize("name", BUILT_IN)
def test_built_in_airframes_are_read_and_say_that_they_are_invented(name: str) -> None:
    airframe = read_airframe(name)
    assert "fictional" in airframe.title.lower()
    assert "invented" in airframe.source


def test_each_built_in_name_has_its_file() -> None:
    folder = resources.files("optdescent.airframe").joinpath("data")
    assert {f"{name}.toml" for name in BUILT_IN} == {file.name for file in folder.iterdir()}


def test_a_file_gives_what_the_built_in_name_gives(tmp_path: Path) -> None:
    assert read_airframe(str(written(tmp_path, BUILT_IN_TEXT))) == read_airframe("narrow-body-twin")


@pytest.mark.parametrize("name", BUILT_IN)
def test_every_number_of_a_built_in_file_names_its_range_or_source(name: str) -> None:
    text = resources.files("optdescent.airframe").joinpath("data", f"{name}.toml").read_text("utf-8")
    numbers = [line for line in text.splitlines() if re.match(r"\w+ = [-\d.]", line)]
    assert len(numbers) > 50
    uncommented = [line for line in numbers if "#" not in line and not line.startswith("count = ")]
    assert not uncommented


def test_an_absent_airframe_names_the_built_in_ones(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"absent.*airframe not found.*narrow-body-twin"):
        read_airframe("absent", tmp_path)


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (changed(area_m2="-3"), "wing.area_m2", "5 to 1000 m²"),
        (changed(area_m2='"124"'), "wing.area_m2", "number"),
        (changed(reference="1.2"), "speeds.reference", "1.23 to 1.6"),
        (changed(drag_rise_mach="nan"), "wing.drag_rise_mach", "finite"),
        (BUILT_IN_TEXT.replace("area_m2", "area_ft2"), "wing.area_ft2", "'area_m2'"),
        (BUILT_IN_TEXT.replace("rated_thrust_kn", "rated_thrust_n"), "engines.rated_thrust_n", "'rated_thrust_kn'"),
        (BUILT_IN_TEXT.replace("area_m2", "area_ft2"), "wing.area_m2", "missing"),
        (BUILT_IN_TEXT.replace("[gear]", "[gaer]"), "gaer", "'gear'"),
        (changed(least_kg="70000"), "masses", "least < most_landing <= most"),
        (changed(after_step="5"), "gear.after_step", "0 to 4"),
        (changed(last_step="-1"), "speed_brake.last_step", "0 to 4"),
    ],
)
def test_each_fault_names_key_value_and_what_is_allowed(tmp_path: Path, text: str, key: str, words: str) -> None:
    assert words in faults_of(tmp_path, text)[key]


@pytest.mark.parametrize(("key", "value"), [("count", "0"), ("count", "-2"), ("count", "true"), ("count", "2.5")])
def test_engines_are_counted_from_one(tmp_path: Path, key: str, value: str) -> None:
    assert "engines.count" in faults_of(tmp_path, changed(**{key: value}))


def test_limit_speeds_belong_to_every_step_but_clean(tmp_path: Path) -> None:
    text = re.sub(r"limit_speed_kt = 204.*\n", "", BUILT_IN_TEXT)
    text = text.replace('name = "clean"\n', 'name = "clean"\nlimit_speed_kt = 300\n')
    assert set(faults_of(tmp_path, text)) == {"steps[0].limit_speed_kt", "steps[2].limit_speed_kt"}


def test_steps_follow_each_other(tmp_path: Path) -> None:
    text = BUILT_IN_TEXT.replace("limit_speed_kt = 188", "limit_speed_kt = 210").replace(
        "maximum_lift = 2.80", "maximum_lift = 2.50"
    )
    found = faults_of(tmp_path, text)
    assert set(found) == {"steps[3].limit_speed_kt", "steps[4].maximum_lift"}
    assert "got 210" in found["steps[3].limit_speed_kt"]
    assert "(204)" in found["steps[3].limit_speed_kt"]
    assert "2.55" in found["steps[4].maximum_lift"]


def test_one_step_is_not_enough(tmp_path: Path) -> None:
    head, _, rest = BUILT_IN_TEXT.partition('[[steps]]\nname = "step 1"')
    text = (head + "[gear]" + rest.partition("[gear]")[2]).replace("after_step = 2", "after_step = 0")
    assert "steps" in faults_of(tmp_path, text.replace("last_step = 2", "last_step = 0"))


def test_every_fault_between_numbers_is_found_in_one_pass(tmp_path: Path) -> None:
    assert set(faults_of(tmp_path, changed(least_kg="70000", after_step="9", last_step="7"))) == {
        "masses",
        "gear.after_step",
        "speed_brake.last_step",
    }


def test_every_fault_of_single_numbers_is_found_in_one_pass(tmp_path: Path) -> None:
    text = changed(area_m2="-3", reference="9").replace("[gear]", "[gaer]")
    assert set(faults_of(tmp_path, text)) == {"wing.area_m2", "speeds.reference", "gear", "gaer"}
