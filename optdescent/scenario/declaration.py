"""What a scenario file declares."""

from __future__ import annotations

from enum import Enum

from optdescent.air.wind import NoWind, WindDeclaration
from optdescent.arrival import Arrival
from optdescent.inputs import Declared, choice, entry, quantity


class Start(Declared):
    """Where the flight begins: level, in cruise, on the track."""

    distance: float = quantity("nm", 20, 400, "distance to go to the threshold")
    altitude: float = quantity("ft", 5000, 60000, "cruise altitude; above the transition altitude a flight level")
    mach: float = quantity("", 0.2, 0.95, "cruise Mach number")
    mass: float = quantity("kg", 1000, 600000, "mass at the start")


class Cost(Declared):
    """What the optimum minimises: fuel plus this much for each minute."""

    time: float = quantity("kg_per_min", 0, 300, "cost of time, as fuel", default=0.0)


class AirDeclaration(Declared):
    """Temperature, altimeter setting and wind."""

    temperature_offset: float = quantity("k", -60, 50, "difference from the standard temperature", default=0.0)
    qnh: float = quantity("hpa", 900, 1085, "altimeter setting of the airport", default=1013.25)
    wind: WindDeclaration = choice("wind; `kind` says which form", default=NoWind())


class Selection(Enum):
    """When slats, flaps and gear are selected."""

    SCHEDULED = "scheduled"
    FREE = "free"


class Handling(Declared):
    """Limits of handling that belong to the operator, not to the airframe."""

    steepest_path: float = quantity("deg", 3, 15, "steepest path through the air", default=8.0)
    speed_brake_above: float = quantity(
        "ft", 0, 10000, "height above the threshold below which the speed brake stays stowed", default=1000.0
    )
    configuration: Selection = entry(
        "scheduled: the optimum selects slats, flaps and gear at the airframe's speeds; free: where it is best",
        default=Selection.SCHEDULED,
    )


class ScenarioDeclaration(Declared):
    """One scenario file."""

    title: str = entry("title of the scenario")
    airframe: str = entry("name of a built-in airframe, or path of an airframe file relative to the scenario")
    start: Start = entry("where the flight begins")
    cost: Cost = entry("what the optimum minimises", default=Cost())
    air: AirDeclaration = entry("air", default=AirDeclaration())
    arrival: Arrival = entry("arrival")
    handling: Handling = entry("limits of handling", default=Handling())
