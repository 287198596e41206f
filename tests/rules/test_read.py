"""Rule files: the library, and every fault of a bad one."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from optdescent.inputs import InputFault
from optdescent.rules import LIBRARY, read_rules
from optdescent.rules.parts import AngleProfile, DistanceProfile, HeightProfile
from optdescent.units import FOOT, NAUTICAL_MILE

LIBRARY_TEXT = resources.files("optdescent.rules").joinpath("library", "three_rules.toml").read_text("utf-8")
ONE = """
[[rules]]
name = "one"
title = "one"
source = "common practice, no source"
profile = { kind = "distance", terms = [{ kind = "height_to_lose", distance_nm = 3.0 }] }
speeds = { descent_kt = 280.0, by = [{ distance_nm = 20.0, speed = "first step" }] }
"""


def faults_of(tmp_path: Path, text: str) -> dict[str, str]:
    path = tmp_path / "rules.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputFault) as caught:
        read_rules(path)
    assert all(fault.file == str(path) for fault in caught.value.faults)
    found = {fault.key: f"{fault.given}; {fault.allowed}" for fault in caught.value.faults}
    assert len(found) == len(caught.value.faults)
    return found


@pytest.mark.parametrize("name", LIBRARY)
def test_the_library_is_read(name: str) -> None:
    rules = read_rules(name)
    assert len({rule.name for rule in rules}) == len(rules)
    assert all(rule.source.strip() and rule.title.strip() for rule in rules)


def test_the_library_holds_the_three_rules_of_thumb() -> None:
    kinds = [type(rule.profile) for rule in read_rules()]
    assert kinds == [DistanceProfile, HeightProfile, AngleProfile]


def test_a_file_gives_what_the_library_gives(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(LIBRARY_TEXT, encoding="utf-8")
    assert read_rules(path) == read_rules()


def test_values_are_si_in_memory(tmp_path: Path) -> None:
    (tmp_path / "r.toml").write_text(ONE, encoding="utf-8")
    (rule,) = read_rules(tmp_path / "r.toml")
    assert isinstance(rule.profile, DistanceProfile)
    assert rule.profile.terms[0].distance == pytest.approx(3.0 * NAUTICAL_MILE)
    assert rule.profile.terms[0].per_height == pytest.approx(1000.0 * FOOT)  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("before", "after", "key", "words"),
    [
        ("descent_kt", "descend_kt", "rules[0].speeds.descend_kt", "'descent_kt'"),
        ("descent_kt = 280.0", "descent_ms = 144.0", "rules[0].speeds.descent_ms", "'descent_kt'"),
        ("descent_kt = 280.0", "descent_kt = 500.0", "rules[0].speeds.descent_kt", "150 to 400 kt"),
        ("descent_kt = 280.0", 'descent_kt = "280"', "rules[0].speeds.descent_kt", "number"),
        ('"first step"', '"fist step"', "rules[0].speeds.by[0].speed", "'first step'"),
        ('kind = "distance"', 'kind = "distances"', "rules[0].profile.kind", "'distance'"),
        ('source = "common practice, no source"', 'source = " "', "rules[0].source", "published source"),
        ('source = "common practice, no source"\n', "", "rules[0].source", "required"),
        ("[{ distance_nm = 20.0", "[{ distance_km = 20.0", "rules[0].speeds.by[0].distance_km", "'distance_nm'"),
    ],
)
def test_each_fault_names_key_value_and_what_is_allowed(
    tmp_path: Path, before: str, after: str, key: str, words: str
) -> None:
    assert before in ONE
    assert words in faults_of(tmp_path, ONE.replace(before, after))[key]


def test_a_fault_in_one_term_of_a_sum_is_one_fault_of_that_term(tmp_path: Path) -> None:
    """The kind says which term is meant: what other kinds would have wanted is no help."""
    found = faults_of(tmp_path, ONE.replace("distance_nm = 3.0", "distance_km = 3.0"))
    assert set(found) == {"rules[0].profile.terms[0].distance_km", "rules[0].profile.terms[0].distance_nm"}
    assert "3.0" in found["rules[0].profile.terms[0].distance_km"]
    assert "'distance_nm'" in found["rules[0].profile.terms[0].distance_km"]


def test_an_unknown_term_names_the_known_ones(tmp_path: Path) -> None:
    found = faults_of(tmp_path, ONE.replace("height_to_lose", "height_to_loose"))
    assert "'height_to_lose'" in found["rules[0].profile.terms[0].kind"]
    assert "height_to_loose" in found["rules[0].profile.terms[0].kind"]


@pytest.mark.parametrize(
    ("terms", "words"),
    [
        ("[]", "0 of kind height_to_lose"),
        ('[{ kind = "tailwind", distance_nm = 1.0 }]', "0 of kind height_to_lose"),
        (
            '[{ kind = "height_to_lose", distance_nm = 3.0 }, { kind = "height_to_lose", distance_nm = 1.0 }]',
            "2 of kind height_to_lose",
        ),
    ],
)
def test_a_sum_has_height_to_lose_once(tmp_path: Path, terms: str, words: str) -> None:
    text = ONE.replace('[{ kind = "height_to_lose", distance_nm = 3.0 }]', terms)
    assert words in faults_of(tmp_path, text)["rules[0].profile.terms"]


@pytest.mark.parametrize("distance", ["20.0", "25.0"])
def test_speeds_by_distance_come_farthest_first(tmp_path: Path, distance: str) -> None:
    more = f'"first step" }}, {{ distance_nm = {distance}, speed = "approach" }}'
    found = faults_of(tmp_path, ONE.replace('"first step" }', more))
    assert f"{float(distance):g} nm after 20 nm" in found["rules[0].speeds.by[1].distance_nm"]


def test_names_differ(tmp_path: Path) -> None:
    assert "'one' again" in faults_of(tmp_path, ONE + ONE)["rules[1].name"]


def test_no_rule_is_not_enough(tmp_path: Path) -> None:
    assert "at least one" in faults_of(tmp_path, "rules = []\n")["rules"]


def test_every_fault_is_found_in_one_pass(tmp_path: Path) -> None:
    bad = ONE.replace("descent_kt = 280.0", "descent_kt = 500.0").replace('"first step"', '"fist step"')
    found = faults_of(tmp_path, bad + ONE.replace("title", "titel"))
    assert set(found) == {
        "rules[0].speeds.descent_kt",
        "rules[0].speeds.by[0].speed",
        "rules[1].titel",
        "rules[1].title",
    }


def test_a_missing_file_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"absent\.toml"):
        read_rules(tmp_path / "absent.toml")


# what contradicts itself within a rule

PROFILE = 'profile = { kind = "distance", terms = [{ kind = "height_to_lose", distance_nm = 3.0 }] }'
BY = '{ distance_nm = 20.0, speed = "first step" }'


def heights(*points: tuple[float, float]) -> str:
    """A profile of heights [ft] at distances [nm]."""
    told = ", ".join(f"{{ distance_nm = {distance}, height_ft = {height} }}" for distance, height in points)
    return f'profile = {{ kind = "points", points = [{told}] }}'


def allowances(*named: str) -> str:
    """A profile of 300 ft per nm with allowances above named speeds."""
    told = ", ".join(f'{{ above = "{name}", height_ft = -500 }}' for name in named)
    return f'profile = {{ kind = "height", gradient_ft_per_nm = 300, allowances = [{told}] }}'


@pytest.mark.parametrize(
    ("before", "after", "key", "told"),
    [
        (PROFILE, heights(), "profile.points", "0; two or more heights"),
        (PROFILE, heights((40, 12000)), "profile.points", "1; two or more heights"),
        (
            PROFILE,
            heights((40, 12000), (40, 10000)),
            "profile.points[1].distance_nm",
            "a second height at one distance; distances that fall",
        ),
        (
            PROFILE,
            heights((60, 18000), (40, 12000), (50, 10000)),
            "profile.points[2].distance_nm",
            "50 nm after 40 nm; distances that fall",
        ),
        (
            PROFILE,
            heights((40, 12000), (30, 12500)),
            "profile.points[1].height_ft",
            "12500 ft after 12000 ft; heights that do not rise: a descent never climbs",
        ),
        (
            PROFILE,
            allowances("first step", "minimum clean"),
            "profile.allowances[1].above",
            "got 'minimum clean' after 'first step'; each speed once, fastest first",
        ),
        (
            PROFILE,
            allowances("first step", "first step"),
            "profile.allowances[1].above",
            "got 'first step' after 'first step'; each speed once, fastest first",
        ),
        (
            f"by = [{BY}]",
            "points = [{ distance_nm = 60, speed_kt = 250 }, { distance_nm = 60, speed_kt = 240 }]",
            "speeds.points[1].distance_nm",
            "60 nm after 60 nm; distances that fall",
        ),
        (
            BY,
            f'{BY}, {{ distance_nm = 10.0, speed = "minimum clean" }}',
            "speeds.by[1].speed",
            "got 'minimum clean' after 'first step'; speeds that fall",
        ),
        (
            BY,
            f'{BY}, {{ distance_nm = 10.0, speed = "first step" }}',
            "speeds.by[1].speed",
            "got 'first step' after 'first step'; speeds that fall",
        ),
    ],
)
def test_a_profile_or_plan_that_contradicts_itself_is_told(
    tmp_path: Path, before: str, after: str, key: str, told: str
) -> None:
    assert before in ONE
    assert faults_of(tmp_path, ONE.replace(before, after)) == {f"rules[0].{key}": told}


@pytest.mark.parametrize(
    ("by", "key", "told"),
    [
        ('speed = "first step"', "", "none of distance_nm, height_ft; exactly one of them"),
        ('distance_nm = 9, height_ft = 3000, speed = "approach"', "", "more than one of distance_nm, height_ft; exac"),
        ("distance_nm = 9", "", "none of speed, speed_kt; exactly one of them"),
        ('distance_nm = 9, speed = "approach", speed_kt = 140', "", "more than one of speed, speed_kt; exactly one"),
        ("height_ft = 6000, speed_kt = 200", ".height_ft", "6000 ft after 5000 ft; heights that fall"),
        ("height_ft = 4000, speed_kt = 220", ".speed_kt", "got 220 after 220; speeds that fall"),
        ("height_ft = 4000, speed_kt = 80", ".speed_kt", "90 to 450 kt"),
    ],
)
def test_a_speed_is_asked_for_by_one_place_and_one_speed_and_falls(
    tmp_path: Path, by: str, key: str, told: str
) -> None:
    found = faults_of(tmp_path, ONE.replace(BY, f"{BY}, {{ height_ft = 5000, speed_kt = 220 }}, {{ {by} }}"))
    assert list(found) == [f"rules[0].speeds.by[2]{key}"]
    assert told in found[f"rules[0].speeds.by[2]{key}"]


def test_a_speed_by_a_place_has_each_driver_once_and_never_the_speed_to_lose(tmp_path: Path) -> None:
    """That is what such a part plans itself; a device knows no planned speed either."""
    twice = ", ".join(['{ kind = "anti_ice", distance_nm = 1 }'] * 2)
    by = f"{{ height_ft = 5000, speed_kt = 220, terms = [{twice}] }}"
    found = faults_of(tmp_path, ONE.replace(BY, f"{BY}, {by}"))
    assert found == {"rules[0].speeds.by[1].terms[1].kind": "got 'anti_ice' again; one term for each driver"}
    lose = '[{ kind = "speed_to_lose", distance_nm = 1 }]'
    by = f"{{ height_ft = 5000, speed_kt = 220, terms = {lose} }}"
    (key,) = faults_of(tmp_path, ONE.replace(BY, f"{BY}, {by}"))
    assert key == "rules[0].speeds.by[1].terms[0].kind"
    (key,) = faults_of(tmp_path, f'{ONE}\ndevices = [{{ device = "gear", distance_nm = 8, terms = {lose} }}]\n')
    assert key == "rules[0].devices[0].terms[0].kind"


def test_level_between_two_heights_and_allowances_in_order_are_no_fault(tmp_path: Path) -> None:
    for profile in (heights((40, 12000), (30, 12000)), allowances("minimum clean", "second step", "approach")):
        (tmp_path / "r.toml").write_text(ONE.replace(PROFILE, profile), encoding="utf-8")
        assert len(read_rules(tmp_path / "r.toml")) == 1


@pytest.mark.parametrize(
    ("place", "given"),
    [
        ("", "none"),
        (", distance_nm = 8, height_ft = 2000", "more than one"),
        (", distance_nm = 8, at_capture = true", "more than one"),
        (", height_ft = 2000, at_capture = true", "more than one"),
        (", at_capture = false", "none"),
        (", distance_nm = 8", ""),
        (", height_ft = 2000", ""),
        (", at_capture = true", ""),
        (", distance_nm = 0", ""),
    ],
)
def test_a_device_is_asked_for_by_one_place(tmp_path: Path, place: str, given: str) -> None:
    text = f'{ONE}devices = [{{ device = "gear", height_ft = 3000 }}, {{ device = "first step"{place} }}]\n'
    if given:
        told = f"{given} of distance_nm, height_ft, at_capture; exactly one of them"
        assert faults_of(tmp_path, text) == {"rules[0].devices[1]": told}
    else:
        (tmp_path / "r.toml").write_text(text, encoding="utf-8")
        assert len(read_rules(tmp_path / "r.toml")[0].devices) == 2


USES = ("speed brake", "gear", "next step", "level off", "thrust")
KINDS = {
    "high": ("by_ft = 300", USES[:3]),
    "low": ("by_ft = 300", USES[3:4]),
    "fast": ("by_kt = 5", USES[:4]),
    "fast_for_step": ("margin_kt = 5", (USES[0], USES[1], USES[3])),
    "slow": ("by_kt = 5", USES[4:]),
}


@pytest.mark.parametrize("use", USES)
@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_of_excess_has_its_uses(tmp_path: Path, kind: str, use: str) -> None:
    """Thrust is for a low speed, levelling off is no cure for being high, a step is none for being too fast for it."""
    by, allowed = KINDS[kind]
    text = f'{ONE}when = [{{ kind = "{kind}", use = "{use}", {by} }}]\n'
    if use in allowed:
        (tmp_path / "r.toml").write_text(text, encoding="utf-8")
        assert read_rules(tmp_path / "r.toml")[0].when[0].use.value == use
    else:
        found = faults_of(tmp_path, text)
        assert set(found) == {"rules[0].when[0].use"}
        given, _, told = found["rules[0].when[0].use"].partition("; ")
        assert given == f"got '{use}' when {kind}"
        assert set(told.removeprefix("one of ").split(", ")) == set(allowed)


@pytest.mark.parametrize(
    ("part", "key", "told"),
    [
        (
            'kind = "high", use = "gear", by_ft = 300, until_ft = 300',
            "until_ft",
            "got 300, not below by_ft; less than 300 ft, or it ends as it begins",
        ),
        (
            'kind = "low", use = "level off", by_ft = 300, until_ft = 400',
            "until_ft",
            "got 400, not below by_ft; less than 300 ft, or it ends as it begins",
        ),
        (
            'kind = "fast", use = "gear", by_kt = 5, until_kt = 6',
            "until_kt",
            "got 6, not below by_kt; less than 5 kt, or it ends as it begins",
        ),
        (
            'kind = "slow", use = "thrust", by_kt = 5, until_kt = 5, to_nm = 20',
            "until_kt",
            "got 5, not below by_kt; less than 5 kt, or it ends as it begins",
        ),
        (
            'kind = "high", use = "gear", by_ft = 300, from_nm = 10, to_nm = 10',
            "to_nm",
            "got 10, not nearer than from_nm; less than 10 nm",
        ),
        (
            'kind = "slow", use = "thrust", by_kt = 5, from_nm = 10, to_nm = 20',
            "to_nm",
            "got 20, not nearer than from_nm; less than 10 nm",
        ),
        (
            'kind = "fast_for_step", use = "gear", above_height_ft = 3000, below_height_ft = 3000',
            "above_height_ft",
            "got 3000, not below below_height_ft; less than 3000 ft",
        ),
    ],
)
def test_an_action_that_cannot_end_or_begin_is_told(tmp_path: Path, part: str, key: str, told: str) -> None:
    text = f'{ONE}when = [{{ kind = "slow", use = "thrust", by_kt = 5, from_nm = 5 }}, {{ {part} }}]\n'
    assert faults_of(tmp_path, text) == {f"rules[0].when[1].{key}": told}


@pytest.mark.parametrize(
    ("parts", "missing", "near"),
    [
        ('devices = [{ device = "gear", distance = 8 }]', "", "devices[0].distance"),
        ('when = [{ kind = "high", use = "gear", by = 300 }]', "when[0].by_ft", "when[0].by"),
        ('when = [{ kind = "fast", use = "gear", by_knots = 9 }]', "when[0].by_kt", "when[0].by_knots"),
        ("sink = { of_speed = 100 }", "", "sink.of_speed"),
        (
            "sink_limits = [{ below_height_ft = 3000, sink_ft_min = 1 }]",
            "sink_limits[0].sink_ft_per_min",
            "sink_limits[0].sink_ft_min",
        ),
        ("checks = [{ height = 1500 }]", "", "checks[0].height"),
        (
            'devices = [{ device = "gear", at_capture = true, terms = [{ kind = "tailwind", distance = 1 }] }]',
            "devices[0].terms[0].distance_nm",
            "devices[0].terms[0].distance",
        ),
    ],
)
def test_a_key_without_its_unit_is_unknown_and_the_one_with_it_is_named(
    tmp_path: Path, parts: str, missing: str, near: str
) -> None:
    found = faults_of(tmp_path, f"{ONE}{parts}\n")
    assert set(found) == {f"rules[0].{key}" for key in (near, missing) if key}
    name = near.rpartition(".")[2].partition("_")[0]
    assert f"nearest known key is '{name}_" in found[f"rules[0].{near}"]


@pytest.mark.parametrize(
    "holder",
    [
        'profile = {{ kind = "height", gradient_ft_per_nm = 300, terms = [{}] }}',
        'profile = {{ kind = "angle", angle_deg = 3, terms = [{}] }}',
        'profile = {{ kind = "distance", terms = [{}, {{ kind = "height_to_lose", distance_nm = 3 }}] }}',
    ],
)
@pytest.mark.parametrize(
    ("given", "meant"), [("tail_wind", "tailwind"), ("mass", "mass_above"), ("antiice", "anti_ice")]
)
def test_an_unknown_driver_names_the_ones_there_are(tmp_path: Path, holder: str, given: str, meant: str) -> None:
    term = f'{{ kind = "{given}", distance_nm = 1.0 }}'
    found = faults_of(tmp_path, ONE.replace(PROFILE, holder.format(term)))
    assert set(found) == {"rules[0].profile.terms[0].kind"}
    assert f"got '{given}'; " in found["rules[0].profile.terms[0].kind"]
    assert f"'{meant}'" in found["rules[0].profile.terms[0].kind"]


def test_a_shift_does_not_have_a_height_to_lose(tmp_path: Path) -> None:
    """Its height is the profile's own."""
    term = '{ kind = "height_to_lose", distance_nm = 3.0 }'
    profile = f'profile = {{ kind = "angle", angle_deg = 3, terms = [{term}] }}'
    assert set(faults_of(tmp_path, ONE.replace(PROFILE, profile))) == {"rules[0].profile.terms[0].kind"}


def test_all_that_contradicts_itself_is_told_in_one_pass(tmp_path: Path) -> None:
    bad = ONE.replace(PROFILE, heights((40, 12000), (40, 10000))).replace('"common practice, no source"', '" "')
    bad += 'devices = [{ device = "gear" }]\nwhen = [{ kind = "slow", use = "gear", by_kt = 5 }]\n'
    assert set(faults_of(tmp_path, bad + bad)) == {
        "rules[1].name",
        *(
            f"rules[{number}].{key}"
            for number in (0, 1)
            for key in ("source", "profile.points[1].distance_nm", "devices[0]", "when[0].use")
        ),
    }


@pytest.mark.parametrize(
    ("told", "meant", "key", "allowed"),
    [
        (
            "distance_nm = 3.0 }",
            "distance_nm = 3.0, per_wind_kt = 10.0 }",
            "profile.terms[0].per_wind_kt",
            "nearest known key is 'per_height_ft'",
        ),
        ("terms = [{", "angle_deg = 3.0, terms = [{", "profile.angle_deg", "round_up_nm"),
        ("terms = [{", "points = [], terms = [{", "profile.points", "round_up_nm"),
        (
            "speeds =",
            'when = [{ kind = "high", use = "gear", by_ft = 300.0, by_kt = 9.0 }]\nspeeds =',
            "when[0].by_kt",
            "nearest known key is 'by_ft'",
        ),
    ],
)
def test_a_key_of_another_kind_is_not_ignored(tmp_path: Path, told: str, meant: str, key: str, allowed: str) -> None:
    """A rule says all that it is: a key that does nothing would be believed to do something."""
    found = faults_of(tmp_path, ONE.replace(told, meant, 1))
    assert list(found) == [f"rules[0].{key}"]
    assert found[f"rules[0].{key}"].startswith("key of another kind (value ")
    assert allowed in found[f"rules[0].{key}"]
