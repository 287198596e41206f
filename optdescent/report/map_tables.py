"""Tables of what is reachable and of what slows: corridor, last useful points, slope chart, worked rule sheet."""

from __future__ import annotations

import numpy as np

from optdescent.results.corridor import Corridor
from optdescent.results.last_action import NOTHING, LastActions
from optdescent.results.rule_sheet import RULE_SHEET_COLUMNS, WORKED, RuleSheet
from optdescent.results.slope import SlopeChart
from optdescent.results.tables import Heading, Table, Value
from optdescent.units import DEGREE, FOOT, KNOT

_DISTANCE = Heading("distance", "to go", "nm")


def corridor_tables(found: Corridor) -> tuple[Table, ...]:
    """A table for each speed: highest height with each set of devices, and the lowest without thrust."""
    highest, lowest = found.values("highest"), found.values("lowest")
    distances = found.values("distance_to_go")
    headings = (
        _DISTANCE,
        *(Heading(f"highest_{place}", devices, "ft") for place, devices in enumerate(found.devices, start=1)),
        Heading("lowest", "lowest, without thrust", "ft"),
    )
    note = f"Height above the threshold at {found.mass / 1000.0:.1f} t; blank: from no height. Windows are left out."
    tables: list[Table] = []
    for column, speed in enumerate(found.values("speed")):
        knots = f"{speed / KNOT:.0f}"
        rows = tuple(
            (float(distance), *(float(one) for one in highest[:, row, column]), float(lowest[row, column]))
            for row, distance in enumerate(distances)
        )
        title = f"Highest heights from which the gate can be met at {knots} kt"
        tables.append(Table(f"corridor-{knots}-kt", title, headings, rows, note, found.provenance.source))
    return tuple(tables)


def last_useful_table(found: tuple[LastActions, ...]) -> Table:
    """A row for each flight and set of devices: where it is last of use."""
    headings = (
        Heading("flight", "flight", is_text=True),
        Heading("devices", "devices", is_text=True),
        _DISTANCE,
        Heading("height", "height", "ft"),
        Heading("speed", "speed", "kt"),
        Heading("remark", "remark", is_text=True),
    )
    rows: list[tuple[Value, ...]] = []
    for one in found:
        for action in one.actions:
            remark = "too high and fast from the first point asked"
            if action.is_of_use:
                remark = "enough all the way to the gate" if action.is_kept else ""
            place = (action.distance_to_go, action.height, action.speed) if action.has_point else (None, None, None)
            rows.append((one.flight, action.devices, *place, remark))
        if (lost := one.lost) is not None:
            place = lost.distance_to_go, lost.height, lost.speed
            rows.append((one.flight, NOTHING, *place, "from here on nothing saves it"))
    return Table("last-useful", "Last useful points", headings, tuple(rows), source=found[0].provenance.source)


def slope_tables(found: SlopeChart) -> tuple[Table, ...]:
    """Least deceleration by configuration and wind at the largest mass, and the room between speeds."""
    mass = found.values("mass")
    heaviest = int(np.argmax(mass))
    winds = found.charted("tailwind")
    configuration = Heading("configuration", "configuration", is_text=True)
    names = [f"{wind:+.0f} kt" if wind else "no wind" for wind in winds]
    own = (Heading(f"tailwind_{w:.0f}_kt", name, "kt_per_nm") for w, name in zip(winds, names, strict=True))
    headings = (configuration, *own)
    slowing = found.values("deceleration")[:, heaviest]
    rows = tuple(
        (name, *(float(one.min(where=np.isfinite(one), initial=np.inf)) for one in values))
        for name, values in zip(found.names("configuration"), slowing, strict=True)
        if np.isfinite(values).any()
    )
    note = (
        f"Least fall of speed at idle over the speeds flown, by tailwind, at {mass[heaviest] / 1000.0:.1f} t, on a "
        f"path of {found.angle / DEGREE:g} degrees at {found.altitude / FOOT:.0f} ft; below zero it speeds up."
    )
    source, room = found.provenance.source, found.values("room")
    masses = [float(value) / 1000.0 for value in found.values("room_mass")[[0, -1]]]
    rooms = (
        Heading("step", "step", is_text=True),
        Heading("room_light", f"room at {masses[0]:.0f} t", "kt"),
        Heading("room_heavy", f"room at {masses[1]:.0f} t", "kt"),
    )
    steps = zip(found.names("step"), room, strict=True)
    between = tuple((name, float(values[0]), float(values[-1])) for name, values in steps)
    told = "From the manoeuvring speed of a step up to the limit speed of the next."
    return (
        Table("slope", "Slowing on the slope", headings, rows, note, source),
        Table("room", "Room between speeds", rooms, between, told, source),
    )


def sheet_table(found: RuleSheet) -> Table:
    """Height to have, speed and, if the rule sets it, sink rate at the worked distances, by wind."""
    said = {"height_to_have": "height", "planned_speed": "speed", "sink_rate": "sink rate"}
    names = ["height_to_have", "planned_speed", *(["sink_rate"] if found.sets_sink_rate else [])]
    headings = [Heading("distance", "to go", "nm", step=1.0)]
    columns: list[list[float]] = [list(WORKED)]
    for index, wind in enumerate(found.winds):
        for name in names:
            unit = RULE_SHEET_COLUMNS[name].charted
            headings.append(Heading(f"{name}_{index + 1}", f"{wind}: {said[name]}", unit))
            columns.append(
                [float(value) * RULE_SHEET_COLUMNS[name].chart_unit.factor for value in found.worked(name)[index]]
            )
    rows = tuple(zip(*columns, strict=True))
    note = f"Heights above the threshold; the wind is the same at every height. Source of the rule: {found.source}."
    note += f" {found.note}" if found.note else ""
    title = f"Worked numbers of {found.title}"
    return Table(f"sheet-{found.name}", title, tuple(headings), rows, note, found.provenance.source)
