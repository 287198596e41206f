"""TOML to typed SI objects, with every fault of a file in one pass."""

from __future__ import annotations

import copy
import math
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optdescent.inputs import (
    BY_KIND,
    Declared,
    Fault,
    InputFault,
    OfOneKind,
    as_given,
    choice,
    entry,
    quantity,
    read_toml,
    validated,
    with_settings,
)
from tests.strategies import between, safe_text, toml_trees


class Square(Declared):
    kind: Literal["square"] = entry("a square")
    side: float = quantity("ft", 0, 10, "side")


class Circle(Declared):
    kind: Literal["circle"] = entry("a circle")
    radius: float = quantity("nm", 0, 10, "radius")


class Listed(Declared):
    """A table with a key of the name of its kind."""

    kind: Literal["side_ft"] = entry("sides one by one")
    name: str = entry("name")
    side_ft: tuple[float, ...] = entry("the sides")


class Line(OfOneKind):
    kind: Literal["line"] = entry("a line")
    length: float = quantity("ft", 0, 10, "length")


class Arc(OfOneKind):
    kind: Literal["arc"] = entry("an arc")
    radius: float = quantity("nm", 0, 10, "radius")


class Route(Declared):
    parts: tuple[Annotated[Line | Arc, BY_KIND], ...] = entry("parts")


class Drawn(Declared):
    shapes: tuple[Annotated[Square | Listed, BY_KIND], ...] = entry("shapes")


class Part(Declared):
    name: str = entry("name")
    mass: float = quantity("kg", 1, 100, "mass")


class Thing(Declared):
    altitude: float = quantity("ft", -1000, 50000, "altitude")
    mach: float = quantity("", 0.1, 0.9, "Mach number")
    sink: float | None = quantity("ft_per_min", 0, 5000, "sink rate", default=None)
    turn: float = quantity("deg", -180, 180, "turn", default=90)
    shape: Square | Circle = choice("shape", default=Square(kind="square", side_ft=1.0))
    parts: tuple[Part, ...] = entry("parts", default=())


GOOD: dict[str, Any] = {
    "altitude_ft": 10000,
    "mach": 0.5,
    "shape": {"kind": "circle", "radius_nm": 2},
    "parts": [{"name": "a", "mass_kg": 3.0}],
}


def faults(data: dict[str, Any]) -> dict[str, Fault]:
    """Faults of a file by key."""
    with pytest.raises(InputFault) as caught:
        validated(Thing, data, "thing.toml")
    assert len({fault.key for fault in caught.value.faults}) == len(caught.value.faults)
    return {fault.key: fault for fault in caught.value.faults}


def edited(*settings: str) -> dict[str, Any]:
    return with_settings(GOOD, settings)


def test_values_are_si_in_memory() -> None:
    thing = validated(Thing, GOOD, "thing.toml")
    assert thing.altitude == pytest.approx(3048.0, rel=1e-15)
    assert thing.mach == 0.5
    assert thing.sink is None
    assert thing.turn == pytest.approx(math.pi / 2.0)
    assert isinstance(thing.shape, Circle)
    assert thing.shape.radius == pytest.approx(3704.0)
    assert thing.parts[0].mass == 3.0


def test_a_default_is_given_in_the_unit_of_the_file() -> None:
    assert (
        validated(Thing, {"altitude_ft": 0, "mach": 0.5, "turn_deg": 90.0}, "x").turn
        == validated(Thing, GOOD, "x").turn
    )


def test_objects_are_frozen() -> None:
    thing = validated(Thing, GOOD, "thing.toml")
    with pytest.raises(ValueError, match="frozen"):
        thing.mach = 0.6  # type: ignore[misc]


@given(between(-1000.0, 50000.0), between(0.1, 0.9), st.none() | between(0.0, 5000.0))
def test_what_is_shown_is_what_was_given(altitude: float, mach: float, sink: float | None) -> None:
    thing = validated(Thing, {"altitude_ft": altitude, "mach": mach, "sink_ft_per_min": sink}, "x")
    shown = as_given(thing)
    assert shown["altitude_ft"] == pytest.approx(altitude, rel=1e-14, abs=1e-9)
    assert shown["mach"] == mach
    assert shown["sink_ft_per_min"] == (None if sink is None else pytest.approx(sink, rel=1e-14))


@given(between(-5000.0, 60000.0))
def test_exactly_the_declared_range_is_allowed(altitude: float) -> None:
    data = {**GOOD, "altitude_ft": altitude}
    if -1000.0 <= altitude <= 50000.0:
        validated(Thing, data, "x")
    else:
        assert faults(data)["altitude_ft"].allowed == "-1000 to 50000 ft"


def test_an_unknown_key_names_the_nearest_known_one() -> None:
    fault = faults({**GOOD, "mcah": 0.5})["mcah"]
    assert "unknown key" in fault.given
    assert "0.5" in fault.given
    assert "'mach'" in fault.allowed


def test_an_unknown_key_in_a_nested_table_names_the_nearest_of_that_table() -> None:
    fault = faults(edited("parts[0].mas_kg=3"))["parts[0].mas_kg"]
    assert "'mass_kg'" in fault.allowed


def test_a_key_in_the_wrong_table_is_not_offered_as_its_own_correction() -> None:
    """`mach` is known at the top, not in a part: to answer 'unknown key mach; nearest is mach' helps nobody."""
    fault = faults(edited("parts[0].mach=0.5"))["parts[0].mach"]
    assert "nearest known key is 'mach'" not in fault.allowed


def test_a_wrong_unit_is_said_and_the_right_one_named() -> None:
    found = faults({"altitude_m": 3000.0, "mach": 0.5})
    assert found["altitude_m"].given == "is not given in m (value 3000.0)"
    assert found["altitude_m"].allowed == "nearest known key is 'altitude_ft'"
    part = faults(edited("parts[0].mass_ft_per_min=3"))["parts[0].mass_ft_per_min"]
    assert (part.given, part.allowed) == ("is not given in ft_per_min (value 3)", "nearest known key is 'mass_kg'")
    assert found["altitude_ft"].given == "missing"


def test_a_key_without_its_unit_is_not_accepted() -> None:
    assert "'altitude_ft'" in faults({**GOOD, "altitude": 3000.0})["altitude"].allowed


@pytest.mark.parametrize("value", ["10000", True, [1.0], {"ft": 1.0}, math.nan, math.inf])
def test_a_quantity_must_be_a_finite_number(value: object) -> None:
    fault = faults({**GOOD, "altitude_ft": value})["altitude_ft"]
    assert "number" in fault.allowed


def test_a_fault_far_inside_is_found_by_its_path() -> None:
    found = faults(edited("parts[0].mass_kg=0.5", "shape.radius_nm=11"))
    assert set(found) == {"parts[0].mass_kg", "shape.radius_nm"}
    assert found["shape.radius_nm"].allowed == "0 to 10 nm"


def test_every_fault_is_found_in_one_pass() -> None:
    data = {"altitude_ft": 1e6, "mcah": 0.5, "shape": {"kind": "circle", "side_ft": 1}, "parts": [{"name": 4}]}
    assert set(faults(data)) == {
        "altitude_ft",
        "mach",
        "mcah",
        "shape.radius_nm",
        "parts[0].name",
        "parts[0].mass_kg",
    }


def test_a_key_of_another_kind_is_ignored() -> None:
    """Left over in a copy in which only the kind was edited; a key that no kind has is a fault."""
    left_over = {**GOOD, "shape": {"kind": "circle", "radius_nm": 2.0, "side_ft": 1.0}}
    assert validated(Thing, left_over, "thing.toml") == validated(Thing, GOOD, "thing.toml")
    assert set(faults({**GOOD, "shape": {"kind": "circle", "radius_nm": 2.0, "sid_ft": 1.0}})) == {"shape.sid_ft"}


def test_a_key_of_another_kind_is_a_fault_where_a_table_is_to_say_all_that_it_is() -> None:
    parts = [{"kind": "arc", "radius_nm": 2.0}, {"kind": "line", "length_ft": 1.0, "radius_nm": 2.0, "widht": 1}]
    with pytest.raises(InputFault) as caught:
        validated(Route, {"parts": parts}, "route.toml")
    assert sorted((fault.key, fault.given) for fault in caught.value.faults) == [
        ("parts[1].radius_nm", "key of another kind (value 2.0)"),
        ("parts[1].widht", "unknown key (value 1)"),
    ]
    assert {fault.allowed for fault in caught.value.faults} == {"keys of this table: kind, length_ft"}


@pytest.mark.parametrize(
    ("shape", "key", "given"),
    [
        ({"kind": "side_ft", "name": 4, "side_ft": [1.0]}, "name", "got 4"),
        ({"kind": "side_ft", "side_ft": [1.0]}, "name", "missing"),
        ({"kind": "side_ft", "name": "a", "side_ft": 3}, "side_ft", "got 3"),
        ({"kind": "side_ft", "name": "a", "side_ft": [1.0, "b"]}, "side_ft[1]", "got 'b'"),
        ({"kind": "side_ft", "name": "a", "side_ft": [1.0], "nmae": 2}, "nmae", "unknown key (value 2)"),
        ({"kind": "square", "side_ft": "wide"}, "side_ft", "got 'wide'"),
    ],
)
def test_a_kind_that_is_the_name_of_a_key_does_not_hide_the_key(shape: dict[str, object], key: str, given: str) -> None:
    with pytest.raises(InputFault) as caught:
        validated(Drawn, {"shapes": [shape]}, "drawn.toml")
    (fault,) = caught.value.faults
    assert (fault.key, fault.given) == (f"shapes[0].{key}", given)


@pytest.mark.parametrize("shape", [{"kind": "triangle"}, {}, {"radius_nm": 2.0}])
def test_an_unknown_kind_names_the_known_ones(shape: dict[str, object]) -> None:
    assert "shape.kind" in faults({**GOOD, "shape": shape})


def test_an_unknown_kind_lists_what_is_allowed() -> None:
    fault = faults(edited("shape.kind=triangle"))["shape.kind"]
    assert "triangle" in fault.given
    assert "square" in fault.allowed
    assert "circle" in fault.allowed


def test_a_message_names_file_key_value_and_what_is_allowed() -> None:
    assert str(faults({**GOOD, "mach": 3.0})["mach"]) == "thing.toml: mach: got 3.0; allowed: 0.1 to 0.9"


def test_the_exception_reads_as_its_faults() -> None:
    given = [Fault("a.toml", "x", "got 1", "2"), Fault("b.toml", "", "cannot be read", "")]
    assert str(InputFault(given)) == "a.toml: x: got 1; allowed: 2\nb.toml: cannot be read"


def test_a_missing_file_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"absent\.toml: cannot be read"):
        read_toml(tmp_path / "absent.toml")


@pytest.mark.parametrize("content", [b"a = ", b"a = 1\na = 2\n", b"\xff\xfe"])
def test_a_file_that_is_not_toml_is_a_fault(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bad.toml"
    path.write_bytes(content)
    with pytest.raises(InputFault, match=r"is not (TOML|text)"):
        read_toml(path)


def test_a_byte_order_mark_is_no_part_of_a_file(tmp_path: Path) -> None:
    path = tmp_path / "marked.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert read_toml(path) == {"a": 1}


def test_a_toml_fault_says_where(tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    path.write_text("good = 1\nbad =\n", encoding="utf-8")
    with pytest.raises(InputFault, match="line 2"):
        read_toml(path)


# --set


def test_a_setting_changes_one_key_and_leaves_the_original() -> None:
    before = copy.deepcopy(GOOD)
    assert edited("mach=0.7")["mach"] == 0.7
    assert before == GOOD


@pytest.mark.parametrize(
    ("setting", "value"),
    [
        ("x=1", 1),
        ("x=1.5", 1.5),
        ("x=true", True),
        ('x="1"', "1"),
        ("x=none", "none"),
        ("x = plain words ", "plain words"),
        ("x=[1, 2]", [1, 2]),
        ("x={a = 1}", {"a": 1}),
        ("x=a=b", "a=b"),
        ("x=", ""),
    ],
)
def test_a_value_is_toml_or_else_text(setting: str, value: object) -> None:
    assert with_settings({}, [setting])["x"] == value


def test_a_dotted_key_makes_the_tables_it_needs() -> None:
    assert with_settings({}, ["a.b.c=1"]) == {"a": {"b": {"c": 1}}}


def test_an_index_reaches_into_an_array_of_tables() -> None:
    data = {"w": [{"x": 1}, {"x": 2}]}
    assert with_settings(data, ["w[1].x=5"]) == {"w": [{"x": 1}, {"x": 5}]}


def test_another_kind_clears_the_other_keys() -> None:
    assert edited("shape.kind=square")["shape"] == {"kind": "square"}


def test_the_same_kind_clears_nothing() -> None:
    assert edited("shape.kind=circle")["shape"] == GOOD["shape"]


def test_settings_apply_in_order() -> None:
    assert edited("shape.kind=square", "shape.side_ft=2", "shape.side_ft=3")["shape"] == {
        "kind": "square",
        "side_ft": 3,
    }
    assert edited("shape.radius_nm=3", "shape.kind=square")["shape"] == {"kind": "square"}


@pytest.mark.parametrize(
    "setting", ["mach", "=1", "  =1", ".=1", "mach.x=1", "parts[4].x=1", "parts.kind=1", "parts.x=1"]
)
def test_a_setting_that_leads_nowhere_is_a_fault(setting: str) -> None:
    with pytest.raises(InputFault, match=r"^--set: "):
        edited(setting)


@given(st.dictionaries(safe_text, toml_trees, max_size=3), st.lists(safe_text, min_size=1, max_size=3), st.integers())
def test_a_setting_is_read_back_or_refused_and_never_crashes(data: dict[str, Any], keys: list[str], value: int) -> None:
    original = copy.deepcopy(data)
    try:
        after: Any = with_settings(data, [f"{'.'.join(keys)}={value}"])
    except InputFault:
        after = None
    assert data == original
    if after is not None:
        for key in keys:
            after = after[key]
        assert after == value
