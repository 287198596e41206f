"""Parsed TOML to a typed object, with every fault in one pass."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar, cast, get_args

from pydantic import BaseModel, ValidationError

from optdescent.inputs.declare import Declared
from optdescent.inputs.fault import Fault, InputFault
from optdescent.inputs.toml import copied, is_array, is_table
from optdescent.units import UNITS

Table = TypeVar("Table", bound=Declared)


def _lookup(data: object, location: Sequence[str | int]) -> tuple[list[str], object]:
    """Dotted path of a location without pydantic's union tags, and the value found there."""
    path: list[str] = []
    current = data
    for part in _without_tags(data, location):
        if isinstance(part, int) and is_array(current) and part < len(cast(list[object], current)):
            current = cast(list[object], current)[part]
            path[-1:] = [f"{path[-1]}[{part}]"] if path else [f"[{part}]"]
        elif is_table(current):
            current = cast(Mapping[str, object], current).get(str(part))
            path.append(str(part))
        else:
            path.append(str(part))
    return path, current


def _without_tags(data: object, location: Sequence[str | int]) -> list[str | int]:
    """A location without the tags of unions: of the parts below a table the first, where it is the table's `kind`.

    The table at the top is of no union. A key of the table may have the name of its kind.
    """
    parts: list[str | int] = []
    current: object = data
    may_be_tag = False
    for part in location:
        table: Mapping[str, object] = cast(Mapping[str, object], current) if is_table(current) else {}
        if may_be_tag and part == table.get("kind"):
            may_be_tag = False
            continue
        parts.append(part)
        if isinstance(part, int) and is_array(current) and part < len(cast(list[object], current)):
            current = cast(list[object], current)[part]
        else:
            current = table.get(str(part))
        may_be_tag = True
    return parts


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


def table_keys(model: type[BaseModel], key: str) -> tuple[str, ...]:
    """Keys of the table that stands at a dotted key of a file, or of each table of a list there; none if none does."""
    return tuple(dict.fromkeys(name for table in _models_at(model, key.split(".")) for name in _keys(table)))


def key_in_words(model: type[BaseModel], key: str) -> str:
    """What a dotted key of a file is, as short as its declaration says it [-]; the key itself if nothing declares it.

    Of several in a list also which one; of a `kind` what it is the kind of.
    """
    path = key.split(".")
    told = path[:-1] if path[-1] == "kind" and len(path) > 1 else path
    fields = [
        field
        for table in _models_at(model, told[:-1])
        for own, field in table.model_fields.items()
        if (field.alias or own) == told[-1].partition("[")[0]
    ]
    if not fields or not any(path[-1].partition("[")[0] in _keys(table) for table in _models_at(model, path[:-1])):
        return key
    parts = [part.partition("[") for part in path]
    which = "".join(f", {name.replace('_', ' ')} {number.rstrip(']')}" for name, _, number in parts if number)
    return f"{re.split('[;:,]', fields[0].description or key)[0]}{which}"


def _direct(annotation: object) -> list[type[BaseModel]]:
    """Tables that an annotation names itself, through unions and tuples but not through fields."""
    declared = _as_model(annotation)
    if declared is not None:
        return [declared]
    return [table for argument in getattr(annotation, "__args__", ()) for table in _direct(argument)]


def _is_of_another_kind(model: type[BaseModel], path: Sequence[str]) -> bool:
    """Whether an unknown key belongs to its table under another `kind`."""
    return any(path[-1] in _keys(table) and "kind" in table.model_fields for table in _models_at(model, path[:-1]))


def _is_ignored(model: type[BaseModel], path: Sequence[str]) -> bool:
    """Whether an unknown key is left over from when only the kind was edited, and no fault."""
    tables = (table for table in _models_at(model, path[:-1]) if issubclass(table, Declared))
    return _is_of_another_kind(model, path) and all(table.ignores_other_kinds for table in tables)


def _hint(model: type[BaseModel], path: Sequence[str], table: object) -> str:
    """What an unknown key of a table may have meant: the nearest one that this has, else which there are."""
    here = _models_at(model, path[:-1])
    kind = cast(Mapping[str, object], table).get("kind") if is_table(table) else None
    here = [own for own in here if kind in _kinds(own)] or here
    known = list(dict.fromkeys(name for own in here for name in _keys(own)))
    nearest = difflib.get_close_matches(path[-1], known, n=1, cutoff=0.5)
    return f"nearest known key is '{nearest[0]}'" if nearest else f"keys of this table: {', '.join(known)}"


def _in_another_unit(model: type[BaseModel], path: Sequence[str]) -> tuple[str, str]:
    """Unit of an unknown key whose table has the same key in another one, and that key; nothing if it has none."""
    name, unit = _parted(path[-1])
    known = [own for table in _models_at(model, path[:-1]) for own in _keys(table)] if unit else []
    return unit, next((own for own in known if _parted(own)[0] == name and own != path[-1]), "")


def _parted(key: str) -> tuple[str, str]:
    """A key without its unit, and the longest unit that it ends with."""
    units = (unit for unit in UNITS if unit and key.endswith(f"_{unit}"))
    unit = max(units, key=len, default="")
    return key.removesuffix(f"_{unit}") if unit else key, unit


def _kinds(model: type[BaseModel]) -> tuple[object, ...]:
    """What the key `kind` of a table may be; nothing if it has none."""
    return get_args(model.model_fields["kind"].annotation) if "kind" in model.model_fields else ()


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _as_model(annotation: object) -> type[BaseModel] | None:
    return annotation if isinstance(annotation, type) and issubclass(annotation, BaseModel) else None


def _shown(value: object) -> str:
    return f"{value!r}" if isinstance(value, str) else str(value)


def _fault(error: Mapping[str, Any], data: object, file: str, model: type[BaseModel]) -> Fault:
    path, given = _lookup(data, error["loc"])
    key, above = ".".join(path), error["loc"][:-1]
    kind = str(error["type"])
    if kind == "extra_forbidden":
        given = f"(value {_shown(given)})"
        unit, right = _in_another_unit(model, path)
        if _is_of_another_kind(model, path):
            called = "key of another kind"
        elif right:
            return Fault(file, key, f"is not given in {unit} {given}", f"nearest known key is '{right}'")
        else:
            called = "unknown key"
        return Fault(file, key, f"{called} {given}", _hint(model, path, _lookup(data, above)[1]))
    if kind == "missing":
        return Fault(file, key, "missing", "this key is required")
    if kind == "value_error":
        return Fault(file, key, f"got {_shown(given)}", str(error["ctx"]["error"]))
    if kind in ("union_tag_invalid", "union_tag_not_found") and is_table(given):
        table = cast(Mapping[str, object], given)
        told = f"got {_shown(table['kind'])}" if "kind" in table else "missing"
        return Fault(file, f"{key}.kind", told, _kinds_at(model, path))
    if kind in ("literal_error", "enum"):
        return Fault(file, key, f"got {_shown(given)}", str(error["ctx"]["expected"]))
    return Fault(file, key, f"got {_shown(given)}", _wanted(error, model, path))


_WORDS = {
    "bool_type": "true or false",
    "float_type": "a number",
    "int_from_float": "a whole number",
    "int_type": "a whole number",
    "string_type": "a text in quotes",
    "tuple_type": "a list",
}
"""What a value should have been, by the validator's word for what it is not."""


def _wanted(error: Mapping[str, Any], model: type[BaseModel], path: Sequence[str]) -> str:
    """What a value should have been."""
    match str(error["type"]):
        case "model_type" | "model_attributes_type" | "union_tag_not_found":
            tables = _models_at(model, path)
            if len(tables) == 1:
                return f"a table with the keys {', '.join(_keys(tables[0]))}"
            return f"a table whose key 'kind' is {_kinds_at(model, path)}"
        case "greater_than_equal":
            return f"{error['ctx']['ge']} or more"
        case "less_than_equal":
            return f"{error['ctx']['le']} or less"
        case kind:
            msg = str(error["msg"]).removeprefix("Input should be ").removeprefix("Value error, ")
            return _WORDS.get(kind, msg)


def _kinds_at(model: type[BaseModel], path: Sequence[str]) -> str:
    """What the key `kind` of a table at a path may be."""
    kinds = dict.fromkeys(kind for table in _models_at(model, path) for kind in _kinds(table))
    return f"one of {', '.join(_shown(kind) for kind in kinds)}"


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

    A key that its table has under another `kind` is ignored where the table does so, so that a copy with only the kind
    edited works. The object is None when anything else is wrong with the data.
    """
    try:
        return model.model_validate(data), ()
    except ValidationError as error:
        errors = [cast(Mapping[str, Any], item) for item in error.errors()]
    left_over = [
        item
        for item in errors
        if item["type"] == "extra_forbidden" and _is_ignored(model, _lookup(data, item["loc"])[0])
    ]
    faults = tuple(_fault(item, data, file, model) for item in errors if item not in left_over)
    if any(item["type"] != "extra_forbidden" for item in errors):
        return None, faults
    rest = copied(data)
    for item in errors:
        _remove(rest, item["loc"])
    try:
        return model.model_validate(rest), faults
    except ValidationError:
        return None, faults


def _remove(data: Any, location: Sequence[str | int]) -> None:
    """Take the key at a location of a parsed file out of its table."""
    *above, last = _without_tags(data, location)
    table = data
    for part in above:
        table = table[part]
    table.pop(last, None)
