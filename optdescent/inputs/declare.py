"""How a field is declared: once, with its unit, its range and its sentence.

From that follow the key in the file (`altitude` with unit `ft` is `altitude_ft`), the conversion to SI, the range check
and the fault message.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, ClassVar, TypeAlias, cast

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, Strict
from pydantic.fields import FieldInfo

from optdescent.units import UNITS

ABSENT: Any = ...


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
    ignores_other_kinds: ClassVar[bool] = True
    """Whether a key that only tables of another `kind` have is ignored, so that a setting may change the kind alone."""

    @classmethod
    def __pydantic_init_subclass__(cls, **_: Any) -> None:
        """Give each dimensional field its key, range check and conversion."""
        for name, field in cls.model_fields.items():
            extra = declaration(field)
            is_exact = any(field.annotation is kind for kind in (bool, int))
            if is_exact and not any(isinstance(item, Strict) for item in field.metadata):
                field.metadata.append(Strict())
            if extra is not None and not extra.get("bound"):
                _bind(name, field, extra)
        cls.model_rebuild(force=True)


class OfOneKind(Declared):
    """Base of a table in which a key that only another `kind` has is a fault."""

    ignores_other_kinds: ClassVar[bool] = False


def declaration(field: FieldInfo) -> dict[str, Any] | None:
    """Unit and range [unit] of a field that `quantity` or `series` declared; None for every other field."""
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

    key = "_".join(filter(None, (name.rstrip("_"), unit.suffix)))
    if key != name:
        field.alias = field.validation_alias = field.serialization_alias = key
        field.alias_priority = 2
    field.metadata.append(AfterValidator(convert))
    extra["bound"] = True


def as_given(table: Declared) -> dict[str, Any]:
    """Key and value in file units of each dimensional field of a table [unit named by the key]."""
    shown: dict[str, Any] = {}
    for name, field in type(table).model_fields.items():
        value: Any = getattr(table, name)
        extra = declaration(field)
        shown[field.alias or name] = value if extra is None else _divided(value, UNITS[str(extra["unit"])].factor)
    return shown


def _divided(value: Any, factor: float) -> Any:
    if isinstance(value, tuple):
        return tuple(_divided(item, factor) for item in cast(tuple[Any, ...], value))
    return value / factor if isinstance(value, float) and math.isfinite(value) else value
