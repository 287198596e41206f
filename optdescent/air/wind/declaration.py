"""What the table `air.wind` of a scenario may hold, and the wind it declares."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Literal, assert_never

from optdescent.air.wind.constant import ConstantWind
from optdescent.air.wind.field import Wind
from optdescent.air.wind.grid import GridDeclaration, read_grid
from optdescent.air.wind.none import NoWind
from optdescent.air.wind.perturbed import Disturbance, PerturbedWind
from optdescent.air.wind.profile import ProfileDeclaration, ProfileWind
from optdescent.air.wind.route import Route
from optdescent.air.wind.section import SectionDeclaration, section_of
from optdescent.air.wind.section_field import NEAREST, knots_along
from optdescent.air.wind.sounding import Sounding, read_sounding, sounding_text
from optdescent.inputs import Fault, InputFault, choice, entry
from optdescent.units import NAUTICAL_MILE

Measured = NoWind | ConstantWind | ProfileDeclaration | SectionDeclaration | GridDeclaration


class PerturbedDeclaration(Disturbance):
    """Another wind, disturbed."""

    kind: Literal["perturbed"] = entry("another wind made stronger, shifted, sheared or disturbed at random")
    of: Measured = choice("the wind that is disturbed; `kind` says which form")


WindDeclaration = Measured | PerturbedDeclaration


@dataclass(frozen=True)
class WindPlace:
    """What a wind needs to know of the scenario around it.

    ``name`` of the scenario file and its ``folder``; ``start_distance`` to go [m]; ``route`` gives the positions of
    coordinates along the track [m], or None where the scenario says nothing of where on earth it is.
    """

    name: str
    folder: Path | None
    start_distance: float
    route: Callable[[tuple[float, ...]], Route | None]


def wind_of(declared: WindDeclaration, place: WindPlace) -> Wind:
    """The wind that a scenario declares [m/s].

    Raises
    ------
    InputFault
        Every fault of the files it names.
    """
    match declared:
        case NoWind() | ConstantWind():
            return declared
        case ProfileDeclaration():
            return ProfileWind(sounding_of(declared.sounding, place, "air.wind.sounding"))
        case SectionDeclaration():
            return _section(declared, place)
        case GridDeclaration():
            route = place.route(knots_along(place.start_distance))
            if route is None:
                raise InputFault(
                    [Fault(place.name, "arrival.position", "is not there", "a position, for a wind on a grid")]
                )
            path = Path(declared.file) if place.folder is None else place.folder / declared.file
            return read_grid(path, route, declared.time)
        case PerturbedDeclaration():
            return PerturbedWind(wind_of(declared.of, place), declared, place.start_distance)
        case _:
            assert_never(declared)


def _section(declared: SectionDeclaration, place: WindPlace) -> Wind:
    faults: list[Fault] = []
    stations: list[tuple[float, Sounding]] = []
    for index, station in enumerate(declared.stations):
        try:
            sounding = sounding_of(station.sounding, place, f"air.wind.stations[{index}].sounding")
            stations.append((station.distance, sounding))
        except InputFault as fault:
            faults += fault.faults
    distances = [station.distance for station in declared.stations]
    if len(set(distances)) < max(2, len(distances)):
        given = f"{len(distances)} stations at {len(set(distances))} distances"
        faults.append(Fault(place.name, "air.wind.stations", given, "at least two, at distances that differ"))
    ordered = sorted(distances)
    near = [(a, b) for a, b in pairwise(ordered) if 0.0 < b - a < NEAREST]
    if near:
        given = f"stations {(near[0][1] - near[0][0]) / NAUTICAL_MILE:.2f} nm apart"
        faults.append(Fault(place.name, "air.wind.stations", given, f"at least {NEAREST / NAUTICAL_MILE:.1f} nm apart"))
    if faults:
        raise InputFault(faults)
    return section_of(stations, place.start_distance)


def sounding_of(source: str, place: WindPlace, key: str) -> Sounding:
    """A sounding [SI]; a fault about the whole file is told at the scenario's key.

    Raises
    ------
    InputFault
        Every fault of the file.
    """
    try:
        return read_sounding(*sounding_text(source, place.folder))
    except InputFault as fault:
        raise InputFault(fault.placed(place.name, key, source)) from fault
