"""The coefficients that recordings may tell: drag by configuration, and idle thrust.

They are the numbers of an airframe in coefficient form (`airframe.declaration`), named by their keys in its file:
zero-lift drag and induced-drag factor of each step of slats and flaps, drag of the gear and of the speed brake, and
the three coefficients of idle thrust. Everything else of the airframe is taken as declared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe import Airframe
from optdescent.curves.elementary import Value
from optdescent.inputs import Declared, Fault, InputFault

Table = TypeVar("Table", bound=Declared)


class Role(Enum):
    """What a coefficient does; the value is how a sentence calls it."""

    ZERO_LIFT = "zero-lift drag"
    INDUCED = "induced-drag factor"
    GEAR = "gear drag"
    BRAKE = "speed brake drag"
    IDLE = "idle thrust"
    IDLE_BY_MACH = "change of idle thrust with Mach number"
    IDLE_FLOOR = "part of idle thrust that does not fall with pressure"


PLACE: Mapping[Role, tuple[str, ...]] = {
    Role.ZERO_LIFT: ("polar", "zero_lift_drag"),
    Role.INDUCED: ("polar", "induced_drag_factor"),
    Role.GEAR: ("gear", "drag"),
    Role.BRAKE: ("speed_brake", "drag"),
    Role.IDLE: ("engines", "idle", "thrust"),
    Role.IDLE_BY_MACH: ("engines", "idle", "thrust_by_mach"),
    Role.IDLE_FLOOR: ("engines", "idle", "thrust_floor"),
}
"""Keys of each role in an airframe file, from its step or from the file; the order is that of local coefficients."""
ROLES = tuple(PLACE)
OF_A_STEP = (Role.ZERO_LIFT, Role.INDUCED)


@dataclass(frozen=True)
class Coefficient:
    """One coefficient: what it does, the step it belongs to (or none), its name there, its declared value [-]."""

    role: Role
    step: int | None
    step_name: str
    declared: float

    @property
    def key(self) -> str:
        """Key in an airframe file, as messages and `--fix` write it."""
        inside = ".".join(PLACE[self.role])
        return inside if self.step is None else f"steps[{self.step}].{inside}"

    @property
    def sentence(self) -> str:
        """How a sentence calls it."""
        return self.role.value if self.step is None else f"{self.role.value} of {self.step_name!r}"


def coefficients_of(airframe: Airframe, name: str) -> tuple[Coefficient, ...]:
    """Every coefficient of an airframe: the steps' first, in their order, then those that all steps share.

    Raises
    ------
    InputFault
        The airframe, called `name` in messages, is not in coefficient form: tables have no coefficients to fit.
    """
    found: list[Coefficient] = []
    faults: list[Fault] = []
    places = [(role, index) for index in range(len(airframe.steps)) for role in OF_A_STEP]
    for role, step in [*places, *((role, None) for role in ROLES if role not in OF_A_STEP)]:
        owner: Any = airframe if step is None else airframe.steps[step]
        for part in PLACE[role]:
            owner = getattr(owner, part, None)
        is_number = isinstance(owner, float)
        declared = float(owner) if is_number else float("nan")
        one = Coefficient(role, step, "" if step is None else airframe.steps[step].name, declared)
        found.append(one)
        if not is_number:
            allowed = 'a number (kind = "coefficients"): what is fitted are coefficients, not tables'
            faults.append(Fault(name, one.key, "is not there: the airframe gives a table", allowed))
    if faults:
        raise InputFault(faults)
    return tuple(found)


def local_indices(coefficients: Sequence[Coefficient], step: int) -> NDArray[np.intp]:
    """Places (role,) among all coefficients of those that act in a step [-], in the order of `ROLES`."""
    wanted = {
        coefficient.role: place
        for place, coefficient in enumerate(coefficients)
        if coefficient.step is None or coefficient.step == step
    }
    return np.array([wanted[role] for role in ROLES], dtype=np.intp)


def flown_as_clean(airframe: Airframe, local: Value) -> Airframe:
    """Airframe whose clean configuration has the local coefficients (role,) [-], as expressions.

    A settled configuration is flown as a clean one with its own numbers, so that one compiled function serves all.
    """
    made = airframe
    for place, role in enumerate(ROLES):
        made = with_coefficient(made, role, 0 if role in OF_A_STEP else None, local[place])
    return made


def with_coefficient(airframe: Airframe, role: Role, step: int | None, value: Value) -> Airframe:
    """Copy of an airframe with another value [-] of one coefficient; an expression too: nothing is validated."""
    if step is None:
        return _set(airframe, PLACE[role], value)
    steps = tuple(_set(one, PLACE[role], value) if at == step else one for at, one in enumerate(airframe.steps))
    return airframe.model_copy(update={"steps": steps})


def _set(table: Table, path: Sequence[str], value: Value) -> Table:
    """Copy of a declared table with another value at a path of keys."""
    inner = value if len(path) == 1 else _set(getattr(table, path[0]), path[1:], value)
    return table.model_copy(update={path[0]: inner})


def fixed_values(texts: Sequence[str], coefficients: Sequence[Coefficient]) -> dict[str, float]:
    """Values [-] by key of coefficients held fixed, from `KEY=VALUE` or `KEY`, which holds the declared value.

    Raises
    ------
    InputFault
        An unknown key, or a value that is no number.
    """
    known = {coefficient.key: coefficient for coefficient in coefficients}
    fixed: dict[str, float] = {}
    faults: list[Fault] = []
    for text in texts:
        key, equals, value = (part.strip() for part in text.partition("="))
        if key not in known:
            faults.append(Fault("--fix", key, "is no coefficient that is fitted", ", ".join(known)))
            continue
        try:
            fixed[key] = float(value) if equals else known[key].declared
        except ValueError:
            faults.append(Fault("--fix", key, f"got {value!r}", "a number, or the key alone for the declared value"))
    if faults:
        raise InputFault(faults)
    return fixed
