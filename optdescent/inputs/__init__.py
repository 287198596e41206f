"""TOML to typed, frozen objects in SI, with every fault of a file in one pass. Only this room imports pydantic."""

from optdescent.inputs.declare import (
    BY_KIND,
    Declared,
    Number,
    OfOneKind,
    as_given,
    choice,
    entry,
    quantity,
    series,
    whole,
)
from optdescent.inputs.fault import Fault, InputFault
from optdescent.inputs.toml import parsed_toml, read_text, read_toml, with_settings, with_values
from optdescent.inputs.validate import key_in_words, table_keys, validated, validated_in_part

__all__ = [
    "BY_KIND",
    "Declared",
    "Fault",
    "InputFault",
    "Number",
    "OfOneKind",
    "as_given",
    "choice",
    "entry",
    "key_in_words",
    "parsed_toml",
    "quantity",
    "read_text",
    "read_toml",
    "series",
    "table_keys",
    "validated",
    "validated_in_part",
    "whole",
    "with_settings",
    "with_values",
]
