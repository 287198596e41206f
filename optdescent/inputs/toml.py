"""Text and TOML files read, and parsed TOML edited before it is validated."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, cast

from optdescent.inputs.fault import Fault, InputFault


def is_array(value: object) -> bool:
    """Whether a parsed value is an array [-]."""
    return isinstance(value, list)


def is_table(value: object) -> bool:
    """Whether a parsed value is a table [-]."""
    return isinstance(value, Mapping)


def read_text(path: Path) -> str:
    """Text of a UTF-8 file, without the byte-order mark that some editors put first.

    Raises
    ------
    InputFault
        The file is missing, unreadable or not UTF-8.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
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
    return parsed_toml(read_text(path), str(path))


def parsed_toml(text: str, name: str) -> dict[str, Any]:
    """Parsed TOML of the text of a file; `name` stands in messages [file units].

    Raises
    ------
    InputFault
        It is not TOML (with line and column).
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputFault([Fault(name, "", f"is not TOML ({error})", "TOML 1.0")]) from error


def with_settings(data: Mapping[str, Any], settings: Sequence[str]) -> dict[str, Any]:
    """Copy of parsed TOML with `KEY=VALUE` settings applied, before validation [file units].

    The value is read as TOML, or as plain text when it is not TOML; for the key see `with_values`.

    Raises
    ------
    InputFault
        A setting without '=', or a key that passes through something that is not a table.
    """
    pairs: list[tuple[str, Any]] = []
    for setting in settings:
        key, equals, text = setting.partition("=")
        if not equals or not key.strip():
            raise InputFault([Fault("--set", setting, "has no '='", "KEY=VALUE")])
        pairs.append((key, _parsed(text)))
    return with_values(data, pairs, "--set")


def with_values(data: Mapping[str, Any], pairs: Sequence[tuple[str, Any]], name: str) -> dict[str, Any]:
    """Copy of parsed TOML with the value [file units] of each dotted key put in its place, before validation.

    An index in brackets reaches into an array of tables. Setting a table's `kind` to another value clears the other
    keys of that table. `name` stands in messages for where the keys are from.

    Raises
    ------
    InputFault
        A key that passes through something that is not a table.
    """
    edited = copied(data)
    for key, value in pairs:
        parts = [part for part in key.strip().replace("[", ".").replace("]", "").split(".") if part]
        table: Any = edited
        try:
            for part in parts[:-1]:
                table = table[int(part)] if is_array(table) else table.setdefault(part, {})
            if parts[-1] == "kind" and table.get("kind") != value:
                table.clear()
            table[int(parts[-1]) if is_array(table) else parts[-1]] = value
        except (AttributeError, TypeError, ValueError, IndexError) as error:
            raise InputFault([Fault(name, key, "does not lead to a table", "a dotted key of the file")]) from error
    return edited


def copied(value: Any) -> Any:
    """Parsed TOML [-] copied to any depth."""
    if isinstance(value, Mapping):
        return {key: copied(item) for key, item in cast(Mapping[str, Any], value).items()}
    if isinstance(value, list):
        return [copied(item) for item in cast(list[Any], value)]
    return value


def _parsed(text: str) -> Any:
    try:
        return tomllib.loads(f"value = {text.strip()}")["value"]
    except tomllib.TOMLDecodeError:
        return text.strip()
