"""Parsed TOML to a typed object, with every fault in one pass."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar, cast

from pydantic import BaseModel, ValidationError

from optdescent.inputs.declare import Declared
from optdescent.inputs.fault import Fault, InputFault
from optdescent.inputs.toml import copied, is_array, is_table

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
