"""What was asked on the command line, kept with what comes of it."""

from __future__ import annotations

import shlex
from dataclasses import replace
from typing import Any, ClassVar, Protocol, TypeVar

import click
from click.core import ParameterSource

from optdescent.results import Provenance

_OF_THE_CONSOLE = ("as_json", "debug", "resume")
"""Options that change what is said or gone on with, and nothing of what is written."""


class _Result(Protocol):
    """A dataclass that says where it is from."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def provenance(self) -> Provenance: ...


Result = TypeVar("Result", bound=_Result)


def as_asked(found: Result, *, rules: str = "", conditions: str = "") -> Result:
    """The result with the command that runs, and the texts of the files of rules and conditions that it read."""
    told = replace(found.provenance, command=command_line(), rules=rules, conditions=conditions)
    return replace(found, provenance=told)


def command_line() -> str:
    """The running command as it would be typed again: arguments and options given, in the order of its help."""
    running = click.get_current_context()
    words = [str(running.info_name)]
    for parameter in running.command.params:
        name = parameter.name or ""
        if running.get_parameter_source(name) is not ParameterSource.COMMANDLINE or name in _OF_THE_CONSOLE:
            continue
        value: Any = running.params[name]
        for one in value if parameter.multiple or parameter.nargs == -1 else (value,):
            words += _words(parameter, one)
    return shlex.join(["optdescent", *words])


def _words(parameter: click.Parameter, value: Any) -> list[str]:
    """An option with its value or values, an argument without its name."""
    option = [max(parameter.opts, key=len)] if isinstance(parameter, click.Option) else []
    if value is True:
        return option
    values: tuple[Any, ...] = value if parameter.nargs > 1 else (value,)
    return [*option, *(f"{one:.15g}" if isinstance(one, float) else str(one) for one in values)]
