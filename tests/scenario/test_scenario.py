"""Scenario files: what they become, and every fault of a bad one."""

from __future__ import annotations

import json
import pickle
import shutil
from dataclasses import FrozenInstanceError
from importlib import resources
from pathlib import Path

import pytest

from optdescent.air.wind import ConstantWind, NoWind, ProfileWind
from optdescent.air.wind.sounding import BUILT_IN, sounding_text
from optdescent.inputs import InputFault, with_settings
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.scenario.files import DATA, STUDY, scenario


def faults(*settings: str) -> dict[str, str]:
    with pytest.raises(InputFault) as caught:
        scenario(*settings)
    return {fault.key: f"{fault.given}; {fault.allowed}" for fault in caught.value.faults}


def test_the_study_is_read_into_si() -> None:
    first = Scenario.from_toml(STUDY)
    assert first.start.distance == pytest.approx(160.0 * NAUTICAL_MILE)
    assert first.start.altitude == pytest.approx(35000.0 * FOOT)
    assert first.cost.time == 0.0
    priced = Scenario.from_toml(STUDY, ["cost.time_kg_per_min=12"])
    assert priced.cost.time == pytest.approx(12.0 / 60.0)
    assert first.qnh == pytest.approx(101325.0)
    assert first.arrival.speed_limits[0].speed == pytest.approx(250.0 * KNOT)
    assert isinstance(first.wind, ProfileWind)
    assert "invented" in first.arrival.airport.lower()
    assert "fictional" in first.airframe.title.lower()


def test_settings_are_applied_to_a_file() -> None:
    still = Scenario.from_toml(STUDY, ["air.wind.kind=none", "start.mass_kg=58000"])
    assert isinstance(still.wind, NoWind)
    assert still.start.mass == 58000.0


def test_a_wind_is_exchanged_by_settings_alone() -> None:
    windy = scenario("air.wind.kind=constant", "air.wind.wind_from_deg=270", "air.wind.wind_speed_kt=40")
    assert isinstance(windy.wind, ConstantWind)
    sample = windy.air.sample(0.0, 5000.0, 0.0)
    assert float(sample.wind_across) == pytest.approx(40.0 * KNOT)


def test_a_scenario_is_frozen_and_can_be_sent_to_another_process() -> None:
    first = scenario()
    with pytest.raises(FrozenInstanceError):
        first.qnh = 1.0  # type: ignore[misc]
    again = pickle.loads(pickle.dumps(first))
    assert again.text == first.text
    assert again.arrival == first.arrival


def test_paths_are_relative_to_the_scenario(tmp_path: Path) -> None:
    text = STUDY.read_text(encoding="utf-8").replace('"narrow-body-twin"', '"my.toml"')
    (tmp_path / "scenario.toml").write_text(text.replace('"nashville-2014-02-21"', '"up.csv"'), encoding="utf-8")
    built_in = resources.files("optdescent.airframe").joinpath("data", "narrow-body-twin.toml")
    (tmp_path / "my.toml").write_text(built_in.read_text("utf-8"), encoding="utf-8")
    (tmp_path / "up.csv").write_text(sounding_text(BUILT_IN[0], None)[1], encoding="utf-8")
    there = Scenario.from_toml(tmp_path / "scenario.toml")
    assert there.airframe == scenario().airframe
    assert (there.wind.coefficients() == scenario().wind.coefficients()).all()


def test_the_text_holds_all_the_answer_depends_on() -> None:
    parts = json.loads(scenario().text)
    assert parts["scenario"]["start"]["mass_kg" if "mass_kg" in parts["scenario"]["start"] else "mass"] == 62000.0
    assert parts["airframe"]["title"].startswith("Fictional")
    assert "Nashville" in parts["wind"]
    assert json.loads(scenario("air.wind.kind=none").text)["wind"] == ""


@pytest.mark.parametrize(
    "setting",
    ["start.mass_kg=62001", "air.qnh_hpa=1013", "title=x", "arrival.gate.sink_ft_per_min=900", "air.wind.kind=none"],
)
def test_the_digest_changes_with_any_value(setting: str) -> None:
    assert scenario().digest == scenario().digest
    assert len(scenario().digest) == 12
    assert scenario(setting).digest != scenario().digest


def test_the_digest_changes_with_the_airframe_and_the_sounding_behind_the_name(tmp_path: Path) -> None:
    shutil.copy(STUDY, tmp_path / "scenario.toml")
    name, text = sounding_text(BUILT_IN[0], None)
    assert name == BUILT_IN[0]
    digests = set()
    for number, content in enumerate((text, text.replace("180,4.2,210,9", "180,4.2,210,10"))):
        (tmp_path / "up.csv").write_text(content, encoding="utf-8")
        found = Scenario.from_toml(tmp_path / "scenario.toml", ["air.wind.sounding=up.csv"])
        digests.add(found.digest)
        assert len(digests) == number + 1


@pytest.mark.parametrize(
    ("altitude", "settings", "expected"),
    [
        (10000.0, [], 10000.0),
        (10000.0, ["air.qnh_hpa=1003.25"], 10274.4),
        (18000.0, ["air.qnh_hpa=1003.25"], 18274.4),
        (18001.0, ["air.qnh_hpa=1003.25"], 18001.0),
    ],
)
def test_published_altitudes_follow_qnh_up_to_the_transition(
    altitude: float, settings: list[str], expected: float
) -> None:
    """274.4 ft: the standard atmosphere's altitude of 1003.25 hPa (closed form)."""
    assert scenario(*settings).pressure_altitude(altitude * FOOT) / FOOT == pytest.approx(expected, abs=0.5)


def test_the_air_is_set_on_the_airport() -> None:
    column = scenario("air.qnh_hpa=990", "air.temperature_offset_k=15").air
    assert float(column.height(column.datum_pressure_altitude())) == pytest.approx(600.0 * FOOT)


def test_a_name_that_is_a_word_of_python_has_its_key_without_the_underscore() -> None:
    """`from` is one: the field is `from_`, the key `from_nm`."""
    holds = scenario("arrival.hold_downs=[{altitude_ft=11000,from_nm=50,to_nm=40}]").arrival.hold_downs
    assert holds[0].from_ == pytest.approx(50.0 * NAUTICAL_MILE)
    assert "arrival.hold_downs[0].from__nm" in faults("arrival.hold_downs=[{altitude_ft=11000,from__nm=50,to_nm=40}]")


def test_one_gate_in_a_table_is_enough() -> None:
    assert scenario().arrival.more_gates == ()
    assert scenario().arrival.gates == (scenario().arrival.gate,)


# bad input


@pytest.mark.parametrize(
    ("settings", "key", "words"),
    [
        (["start.mas_kg=1"], "start.mas_kg", "'mass_kg'"),
        (["strat.mass_kg=1"], "strat", "'start'"),
        (["start.altitude_m=10668"], "start.altitude_m", "'altitude_ft'"),
        (["start.distance_km=300"], "start.distance_km", "'distance_nm'"),
        (["arrival.windows[1].speed_at_most_ms=100"], "arrival.windows[1].speed_at_most_ms", "'speed_at_most_kt'"),
        (["arrival.speed_limits[0].speed=250"], "arrival.speed_limits[0].speed", "'speed_kt'"),
        (['start.mach="0.78"'], "start.mach", "number"),
        (["start.mach=[0.78]"], "start.mach", "number"),
        (["start.mach=true"], "start.mach", "number"),
        (["arrival.course_deg=400"], "arrival.course_deg", "0 to 360"),
        (["air.qnh_hpa=29.92"], "air.qnh_hpa", "900 to 1085"),
        (["air.wind.kind=tornado"], "air.wind.kind", "'profile'"),
        (["air.wind.kind=constant"], "air.wind.wind_speed_kt", "required"),
        (["airframe=absent"], "airframe", "narrow-body-twin"),
        (["air.wind.sounding=absent.csv"], "air.wind.sounding", "nashville-2014-02-21"),
        (["start.mass_kg=41999"], "start.mass_kg", "42000 to 76000 kg"),
        (["start.mass_kg=76001"], "start.mass_kg", "42000 to 76000 kg"),
        (["start.mach=0.82"], "start.mach", "at most 0.81"),
        (
            ["arrival.windows[0].altitude_at_least_ft=36000", "arrival.windows[0].altitude_at_most_ft=37000"],
            "arrival.windows[0].altitude_at_least_ft",
            "at most start.altitude_ft (35000)",
        ),
        (
            ["arrival.hold_downs=[{altitude_ft=11000,from_nm=170,to_nm=40}]"],
            "arrival.hold_downs[0].from_nm",
            "less than start.distance_nm (160.0)",
        ),
        (
            ["arrival.hold_downs=[{altitude_ft=35000,from_nm=140,to_nm=130}]"],
            "arrival.hold_downs[0].altitude_ft",
            "below start.altitude_ft (35000)",
        ),
        (
            ["arrival.floor=[{distance_nm=150,altitude_ft=36000},{distance_nm=100,altitude_ft=1000}]"],
            "arrival.floor",
            "up to 1000 ft above the start",
        ),
        (
            ["arrival.speed_limits=[{within_nm=200,speed_kt=250}]"],
            "arrival.speed_limits[0].speed_kt",
            "kt of the cruise where it holds from the start",
        ),
        (
            ["arrival.windows=[]", "start.distance_nm=50", "start.altitude_ft=9000", "start.mach=0.5"],
            "arrival.speed_limits[0].speed_kt",
            "250 kt below 10000 ft",
        ),
        (["arrival.speed_limits=[{speed_kt=250}]"], "arrival.speed_limits[0]", "exactly one of below_altitude_ft"),
        (["arrival.glide_path.capture=beside"], "arrival.glide_path.capture", "'below' or 'above'"),
        (
            ["arrival.floor=[{distance_nm=20,height_ft=5000}]"],
            "arrival.floor[0].height_ft",
            "keys of this table: distance_nm, altitude_ft",
        ),
        (["arrival.windows[0].distance_nm=160"], "arrival.windows[0].distance_nm", "start.distance_nm (160.0)"),
        (
            ["arrival.windows[0].altitude_at_most_ft=15000"],
            "arrival.windows[0].altitude_at_least_ft",
            "cross by 1000 ft",
        ),
        (
            ["arrival.windows[0].altitude_at_least_ft=3000", "arrival.windows[0].altitude_at_most_ft=6000"],
            "arrival.windows",
            "these need 1000 ft",
        ),
    ],
)
def test_each_fault_names_key_value_and_what_is_allowed(settings: list[str], key: str, words: str) -> None:
    assert words in faults(*settings)[key]


@pytest.mark.parametrize(
    ("setting", "key"),
    [
        ('arrival.gate.gear_down="yes"', "arrival.gate.gear_down"),
        ("arrival.gate.gear_down=1", "arrival.gate.gear_down"),
        ("arrival.gate.landing_configuration=0", "arrival.gate.landing_configuration"),
        ("title=3", "title"),
    ],
)
def test_a_value_of_the_wrong_type_is_not_guessed_at(setting: str, key: str) -> None:
    assert key in faults(setting)


def test_a_start_that_is_not_above_the_airport_is_refused() -> None:
    """Cruise at 5000 ft to an airport at 15 000 ft: no descent leads there."""
    assert faults("arrival.elevation_ft=15000", "start.altitude_ft=5000", "arrival.windows=[]")


def test_a_start_faster_than_the_largest_speed_is_refused() -> None:
    """M 0.78 at 10 000 ft is about 440 kt calibrated, limit 335 kt."""
    assert faults("start.altitude_ft=11000", "arrival.windows=[]")


@pytest.mark.parametrize("key", ["title", "airframe", "start", "arrival"])
def test_what_is_required_is_missed(key: str) -> None:
    data = {name: value for name, value in DATA.items() if name != key}
    with pytest.raises(InputFault, match=f"{key}: missing"):
        Scenario.from_data(data, "scenario.toml")


def test_faults_of_the_file_are_all_found_in_one_pass() -> None:
    found = faults("start.mas_kg=1", 'start.mach="fast"', "arrival.course_deg=400", "arrival.windows[0].distance_km=5")
    assert set(found) == {
        "start.mas_kg",
        "start.mach",
        "arrival.course_deg",
        "arrival.windows[0].distance_km",
    }


def test_faults_between_values_and_of_named_files_are_all_found_in_one_pass(tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("# bad\nheight\n1\n", encoding="utf-8")
    settings = [
        "air.wind.sounding=bad.csv",
        "start.mass_kg=90000",
        "start.mach=0.85",
        "arrival.windows[0].altitude_at_most_ft=15000",
    ]
    with pytest.raises(InputFault) as caught:
        Scenario.from_data(with_settings(DATA, settings), "scenario.toml", tmp_path)
    assert {fault.key for fault in caught.value.faults} == {
        "header",
        "start.mass_kg",
        "start.mach",
        "arrival.windows[0].altitude_at_least_ft",
    }
    assert {Path(fault.file).name for fault in caught.value.faults} == {"bad.csv", "scenario.toml"}


def test_a_misspelt_key_does_not_hide_windows_that_contradict() -> None:
    """Issue 2: every fault of a file in one pass, of whatever sort."""
    found = faults("cost.tiem_kg_per_min=3", "arrival.windows[0].altitude_at_most_ft=14000")
    assert set(found) == {"cost.tiem_kg_per_min", "arrival.windows[0].altitude_at_least_ft"}


def test_a_missing_scenario_is_one_fault(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"absent\.toml: cannot be read"):
        Scenario.from_toml(tmp_path / "absent.toml")


def test_the_file_is_named_in_every_fault(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(STUDY.read_text(encoding="utf-8").replace("mass_kg", "mass_lb"), encoding="utf-8")
    with pytest.raises(InputFault) as caught:
        Scenario.from_toml(path)
    assert {fault.file for fault in caught.value.faults} == {str(path)}


def test_a_copy_with_only_the_kind_of_wind_edited_works() -> None:
    edited = with_settings(DATA, ())
    edited["air"]["wind"]["kind"] = "none"
    assert Scenario.from_data(edited, "scenario.toml", STUDY.parent).wind.coefficients().max() == 0.0


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("airframe=wide-twin", "scenario.toml: airframe: got 'wide-twin': airframe not found"),
        ("air.wind.sounding=nashvile", "scenario.toml: air.wind.sounding: got 'nashvile': sounding cannot be read"),
        ("start.mass_kg=72000", "to land with 66000 kg"),
        ("start.mach=0.5", "the least manoeuvring speed"),
        ("arrival.speed_limits=[{speed_kt=100,within_nm=20}]", "the reference speed for landing"),
        (
            "arrival.legs=[{course_deg=35,until_nm=160,radius_nm=2.5}]",
            "that begin at less than start.distance_nm",
        ),
        ("arrival.position={latitude_deg=85,longitude_deg=0}", "degrees of the equator"),
        ("air.wind={kind='grid',file='none.nc'}", "arrival.position: is not there"),
        ("air.temperature_sounding=nowhere", "air.temperature_sounding: got 'nowhere'"),
        ("air.windd.kind=none", "nearest known key is 'wind'"),
    ],
)
def test_faults_name_the_scenario_s_own_key(setting: str, words: str) -> None:
    with pytest.raises(InputFault) as caught:
        scenario(setting)
    assert words in str(caught.value)
