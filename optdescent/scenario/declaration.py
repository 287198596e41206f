"""What a scenario file declares."""

from __future__ import annotations

from enum import Enum
from typing import Literal

from optdescent.air.wind import NoWind, WindDeclaration
from optdescent.arrival import Arrival
from optdescent.inputs import Declared, choice, entry, quantity
from optdescent.scenario.technique import Technique


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

    temperature_offset: float = quantity(
        "k", -60, 50, "temperature above the standard, or above the sounding's", default=0.0
    )
    temperature_sounding: str | None = entry(
        "name or path of a sounding whose temperatures are met; without it the standard atmosphere's", default=None
    )
    qnh: float = quantity("hpa", 900, 1085, "altimeter setting of the airport", default=1013.25)
    wind: WindDeclaration = choice("wind; `kind` says which form", default=NoWind())


class Selection(Enum):
    """When slats, flaps and gear are selected."""

    SCHEDULED = "scheduled"
    FREE = "free"


class AntiIceOff(Declared):
    """Engine anti-ice off."""

    kind: Literal["off"] = entry("off all the way", default="off")


class AntiIceOn(Declared):
    """Engine anti-ice on."""

    kind: Literal["on"] = entry("on all the way: the airframe's raised idle")


class AntiIceLayer(Declared):
    """Engine anti-ice on in a layer of cloud; idle changes over the 500 ft inside each edge."""

    kind: Literal["layer"] = entry("on between two altitudes")
    bottom: float = quantity("ft", -1000, 60000, "on above this altitude")
    top: float = quantity("ft", 0, 60000, "on below this altitude")


AntiIceUse = AntiIceOff | AntiIceOn | AntiIceLayer
"""What the table `handling.anti_ice` of a scenario may hold; its `kind` decides."""


class Handling(Declared):
    """Limits of handling that belong to the operator, not to the airframe, and what the crew has switched on."""

    steepest_path: float = quantity("deg", 3, 15, "steepest path through the air", default=8.0)
    most_bank: float = quantity(
        "deg", 10, 45, "largest bank in a turn of the track; common practice, no source", default=30.0
    )
    speed_brake_above: float = quantity(
        "ft", 0, 10000, "height above the threshold below which the speed brake stays stowed", default=1000.0
    )
    configuration: Selection = entry(
        "scheduled: the optimum selects slats, flaps and gear at the airframe's speeds; free: where it is best",
        default=Selection.SCHEDULED,
    )
    anti_ice: AntiIceUse = choice("engine anti-ice; `kind` says when it is on", default=AntiIceOff())


class ScenarioDeclaration(Declared):
    """One scenario file."""

    title: str = entry("title of the scenario")
    airframe: str = entry("name of a built-in airframe, or path of an airframe file relative to the scenario")
    start: Start = entry("where the flight begins")
    cost: Cost = entry("what the optimum minimises", default=Cost())
    air: AirDeclaration = entry("air", default=AirDeclaration())
    arrival: Arrival = entry("arrival")
    handling: Handling = entry("limits of handling", default=Handling())
    technique: Technique = entry("how the crew flies; without it perfectly", default=Technique())
