"""TOML to typed, frozen objects in SI, with every fault of a file in one pass.

A field is declared once, with its unit, its range and its sentence. From that follow the key in the file
(`altitude` with unit `ft` is `altitude_ft`), the conversion to SI, the range check and the fault message. Only this
module imports pydantic.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, ClassVar, TypeAlias, TypeVar, cast

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict, ValidationError
from pydantic.fields import FieldInfo

from optdescent.units import UNITS

ABSENT: Any = ...
Table = TypeVar("Table", bound="Declared")


@dataclass(frozen=True)
class Fault:
    """One fault of one input file: where it is, what was given, what is allowed."""

    file: str
    key: str
    given: str
    allowed: str

    def __str__(self) -> str:
        where = f"{self.file}: {self.key}" if self.key else self.file
        given = f" {self.given}" if self.given else ""
        return f"{where}:{given}; allowed: {self.allowed}" if self.allowed else f"{where}:{given}"


class InputFault(Exception):
    """Bad input (exit status 2): carries every fault found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def quantity(unit: str, low: float, high: float, sentence: str, *, default: Any = ABSENT) -> Any:
    """Declare a dimensional field: its key in the file ends in the unit [-], its value in memory is SI.

    An underscore at the end of a name that would be a word of Python (`from_`) is left out of the key (`from_nm`).

    Parameters
    ----------
    unit : str
        Suffix of a unit of `optdescent.units`; "" for a pure number.
    low, high : float
        Smallest and largest value allowed, in `unit`.
    sentence : str
        What the field is, for messages and the file reference.
    default : float or None
        Value in `unit` when the key is absent; without it the key is required.
    """
    extra = {"unit": unit, "low": low, "high": high, "default_in_unit": None if default is ABSENT else default}
    si_default = default if default is ABSENT or default is None else default * UNITS[unit].factor
    return Field(default=si_default, strict=True, allow_inf_nan=False, description=sentence, json_schema_extra=extra)


Number: TypeAlias = Annotated[float, Field(strict=True, allow_inf_nan=False)]
"""One number of a `series`."""


def series(unit: str, low: float, high: float, sentence: str) -> Any:
    """Declare a row of numbers, or rows of rows, of one unit [-]: key, range and SI as for a `quantity`.

    The field is annotated `tuple[Number, ...]` or `tuple[tuple[Number, ...], ...]`.
    """
    return Field(description=sentence, json_schema_extra={"unit": unit, "low": low, "high": high})


def entry(sentence: str, *, default: Any = ABSENT) -> Any:
    """Declare a field without a unit: a name, a path, a choice, a flag, a nested table."""
    return Field(default=default, description=sentence)


def whole(low: int, high: int, sentence: str, *, default: Any = ABSENT) -> Any:
    """Declare a whole number [-] between two bounds."""
    return Field(default=default, strict=True, ge=low, le=high, description=sentence)


BY_KIND: Any = Field(discriminator="kind")
"""For `Annotated` unions inside a tuple: the key `kind` of each table selects what else it holds."""


def choice(sentence: str, *, default: Any = ABSENT) -> Any:
    """Declare a table whose `kind` key selects what else it holds."""
    return Field(default=default, description=sentence, discriminator="kind")


class Declared(BaseModel):
    """Base of every declared table: frozen, no unknown keys, file keys carry their unit."""

    model_config: ClassVar[ConfigDict] = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    @classmethod
    def __pydantic_init_subclass__(cls, **_: Any) -> None:
        """Give each dimensional field its key, range check and conversion."""
        for name, field in cls.model_fields.items():
            extra = _declaration(field)
            is_exact = any(field.annotation is kind for kind in (bool, int))
            if is_exact and not any(isinstance(item, Strict) for item in field.metadata):
                field.metadata.append(Strict())
            if extra is not None and not extra.get("bound"):
                _bind(name, field, extra)
        cls.model_rebuild(force=True)


def _declaration(field: FieldInfo) -> dict[str, Any] | None:
    """Unit and range of a field that `quantity` declared; None for every other field."""
    extra = field.json_schema_extra
    return cast(dict[str, Any], extra) if isinstance(extra, dict) and "unit" in extra else None


def _bind(name: str, field: FieldInfo, extra: dict[str, Any]) -> None:
    unit, low, high = UNITS[extra["unit"]], float(extra["low"]), float(extra["high"])

    def convert(value: Any) -> Any:
        if value is None:
            return None
        if isinstance(value, tuple):
            return tuple(convert(item) for item in cast(tuple[Any, ...], value))
        if not low <= value <= high:
            raise ValueError(f"{low:g} to {high:g} {unit.symbol}".strip())
        return value * unit.factor

    if unit.suffix:
        field.alias = field.validation_alias = field.serialization_alias = f"{name.rstrip('_')}_{unit.suffix}"
        field.alias_priority = 2
    field.metadata.append(AfterValidator(convert))
    extra["bound"] = True


def _is_array(value: object) -> bool:
    return isinstance(value, list)


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping)


def _lookup(data: object, location: Sequence[str | int]) -> tuple[list[str], object]:
    """Dotted path of a location without pydantic's union tags, and the value found there."""
    path: list[str] = []
    current = data
    for part in location:
        if isinstance(part, int) and _is_array(current) and part < len(cast(list[object], current)):
            current = cast(list[object], current)[part]
            path[-1:] = [f"{path[-1]}[{part}]"] if path else [f"[{part}]"]
        elif _is_table(current):
            table = cast(Mapping[str, object], current)
            if part not in table and table.get("kind") == part:
                continue
            current = table.get(str(part))
            path.append(str(part))
        else:
            path.append(str(part))
    return path, current


def _models_at(model: type[BaseModel], path: Sequence[str]) -> list[type[BaseModel]]:
    """Tables that may stand at a path: several where a key `kind` chooses."""
    found = [model]
    for part in path:
        name = part.partition("[")[0]
        annotations = [
            field.annotation
            for table in found
            for own, field in table.model_fields.items()
            if (field.alias or own) == name
        ]
        found = [table for annotation in annotations for table in _direct(annotation)]
    return found


def _direct(annotation: object) -> list[type[BaseModel]]:
    """Tables that an annotation names itself, through unions and tuples but not through fields."""
    declared = _as_model(annotation)
    if declared is not None:
        return [declared]
    return [table for argument in getattr(annotation, "__args__", ()) for table in _direct(argument)]


def _is_of_another_kind(model: type[BaseModel], path: Sequence[str]) -> bool:
    """Whether a key belongs to its table under another `kind`: left over when only the kind was edited, and ignored."""
    return any(path[-1] in _keys(table) and "kind" in table.model_fields for table in _models_at(model, path[:-1]))


def _hint(model: type[BaseModel], path: Sequence[str]) -> str:
    """What an unknown key may have meant: the nearest one of its table, or else anywhere."""
    key, here = path[-1], _models_at(model, path[:-1])
    everywhere = [name for table in _models_below(model) for name in _keys(table)]
    for known in ([name for table in here for name in _keys(table)], everywhere):
        nearest = difflib.get_close_matches(key, [name for name in known if name != key], n=1, cutoff=0.5)
        if nearest:
            return f"nearest known key is '{nearest[0]}'"
    return "no such key is known"


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _models_below(model: type[BaseModel]) -> set[type[BaseModel]]:
    found: set[type[BaseModel]] = set()

    def visit(annotation: object) -> None:
        declared = _as_model(annotation)
        if declared is None:
            for argument in getattr(annotation, "__args__", ()):
                visit(argument)
        elif declared not in found:
            found.add(declared)
            for field in declared.model_fields.values():
                visit(field.annotation)

    visit(model)
    return found


def _as_model(annotation: object) -> type[BaseModel] | None:
    return annotation if isinstance(annotation, type) and issubclass(annotation, BaseModel) else None


def _shown(value: object) -> str:
    return f"{value!r}" if isinstance(value, str) else str(value)


def _fault(error: Mapping[str, Any], data: object, file: str, model: type[BaseModel]) -> Fault:
    path, given = _lookup(data, error["loc"])
    key = ".".join(path)
    kind = str(error["type"])
    if kind == "extra_forbidden":
        return Fault(file, key, f"unknown key (value {_shown(given)})", _hint(model, path))
    if kind == "missing":
        return Fault(file, key, "missing", "this key is required")
    if kind == "value_error":
        return Fault(file, key, f"got {_shown(given)}", str(error["ctx"]["error"]))
    if kind in ("union_tag_invalid", "union_tag_not_found"):
        tag = cast(Mapping[str, object], given).get("kind") if isinstance(given, Mapping) else given
        tags = error.get("ctx", {}).get("expected_tags", "a table with the key 'kind'")
        return Fault(file, f"{key}.kind", f"got {_shown(tag)}", str(tags))
    if kind in ("literal_error", "enum"):
        return Fault(file, key, f"got {_shown(given)}", str(error["ctx"]["expected"]))
    wanted = str(error["msg"]).removeprefix("Input should be ").removeprefix("Value error, ")
    return Fault(file, key, f"got {_shown(given)}", wanted)


def read_text(path: Path) -> str:
    """Text of a UTF-8 file.

    Raises
    ------
    InputFault
        The file is missing, unreadable or not UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        given = f"cannot be read ({error.strerror})"
        raise InputFault([Fault(str(path), "", given, "an existing text file")]) from error
    except UnicodeDecodeError as error:
        raise InputFault([Fault(str(path), "", f"is not text ({error.reason})", "UTF-8 text")]) from error


def read_toml(path: Path) -> dict[str, Any]:
    """Parsed TOML of a file.

    Raises
    ------
    InputFault
        The file is missing, unreadable or not TOML (with line and column).
    """
    try:
        return tomllib.loads(read_text(path))
    except tomllib.TOMLDecodeError as error:
        raise InputFault([Fault(str(path), "", f"is not TOML ({error})", "TOML 1.0")]) from error


def with_settings(data: Mapping[str, Any], settings: Sequence[str]) -> dict[str, Any]:
    """Copy of parsed TOML with `KEY=VALUE` settings applied, before validation.

    A key is dotted; an index in brackets reaches into an array of tables. The value is read as TOML, or as plain text
    when it is not TOML. Setting a table's `kind` to another value clears the other keys of that table.

    Raises
    ------
    InputFault
        A setting without '=', or a key that passes through something that is not a table.
    """
    edited = _copied(data)
    for setting in settings:
        key, equals, text = setting.partition("=")
        if not equals or not key.strip():
            raise InputFault([Fault("--set", setting, "has no '='", "KEY=VALUE")])
        parts = [part for part in key.strip().replace("[", ".").replace("]", "").split(".") if part]
        table: Any = edited
        try:
            for part in parts[:-1]:
                table = table[int(part)] if _is_array(table) else table.setdefault(part, {})
            if parts[-1] == "kind" and table.get("kind") != _parsed(text):
                table.clear()
            table[int(parts[-1]) if _is_array(table) else parts[-1]] = _parsed(text)
        except (AttributeError, TypeError, ValueError, IndexError) as error:
            raise InputFault([Fault("--set", key, "does not lead to a table", "a dotted key of the file")]) from error
    return edited


def _copied(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _copied(item) for key, item in cast(Mapping[str, Any], value).items()}
    if isinstance(value, list):
        return [_copied(item) for item in cast(list[Any], value)]
    return value


def _parsed(text: str) -> Any:
    try:
        return tomllib.loads(f"value = {text.strip()}")["value"]
    except tomllib.TOMLDecodeError:
        return text.strip()


def validated(model: type[Table], data: Mapping[str, Any], file: str) -> Table:
    """Typed object of a parsed file.

    Raises
    ------
    InputFault
        Everything that is wrong with the data, each fault with its dotted key.
    """
    found, faults = validated_in_part(model, data, file)
    if found is None or faults:
        raise InputFault(faults)
    return found


def validated_in_part(model: type[Table], data: Mapping[str, Any], file: str) -> tuple[Table | None, tuple[Fault, ...]]:
    """Typed object of a parsed file and its faults; unknown keys are faults but do not stand in the way of the rest.

    A key that its table has under another `kind` is ignored, so that a copy with only the kind edited works. The object
    is None when anything else is wrong with the data.
    """
    try:
        return model.model_validate(data), ()
    except ValidationError as error:
        errors = [cast(Mapping[str, Any], item) for item in error.errors()]
    left_over = [
        item
        for item in errors
        if item["type"] == "extra_forbidden" and _is_of_another_kind(model, _lookup(data, item["loc"])[0])
    ]
    faults = tuple(_fault(item, data, file, model) for item in errors if item not in left_over)
    if any(item["type"] != "extra_forbidden" for item in errors):
        return None, faults
    rest = _copied(data)
    for item in errors:
        _remove(rest, item["loc"])
    try:
        return model.model_validate(rest), faults
    except ValidationError:
        return None, faults


def _remove(data: Any, location: Sequence[str | int]) -> None:
    """Take the key at a location of a parsed file out of its table."""
    table = data
    for part in location[:-1]:
        if isinstance(part, str) and part not in table:
            continue  # the tag of a union is no key of the file
        table = table[part]
    table.pop(location[-1], None)


def as_given(table: Declared) -> dict[str, Any]:
    """Key and value in file units of each dimensional field of a table [unit named by the key]."""
    shown: dict[str, Any] = {}
    for name, field in type(table).model_fields.items():
        value: Any = getattr(table, name)
        extra = _declaration(field)
        shown[field.alias or name] = value if extra is None else _divided(value, UNITS[str(extra["unit"])].factor)
    return shown


def _divided(value: Any, factor: float) -> Any:
    if isinstance(value, tuple):
        return tuple(_divided(item, factor) for item in cast(tuple[Any, ...], value))
    return value / factor if isinstance(value, float) and math.isfinite(value) else value
