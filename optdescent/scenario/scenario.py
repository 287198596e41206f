"""Scenario: all that was asked, immutable, from one file."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from optdescent.air import Air
from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.altitude import pressure_altitude_of
from optdescent.air.atmosphere import pressure
from optdescent.air.warmth import warmth_of
from optdescent.air.wind import Wind, WindPlace, sounding_of, wind_of
from optdescent.airframe import Airframe, read_airframe
from optdescent.airframe.speeds import manoeuvre_speed, reference_speed
from optdescent.arrival import Arrival, arrival_faults
from optdescent.inputs import Fault, InputFault, read_toml, validated_in_part, with_settings
from optdescent.scenario.declaration import (
    AntiIceLayer,
    AntiIceOff,
    AntiIceUse,
    Cost,
    Handling,
    ScenarioDeclaration,
    Start,
)
from optdescent.scenario.midway import CRUISE, Midway
from optdescent.scenario.shown import scenario_html
from optdescent.scenario.start import start_faults
from optdescent.scenario.technique import PERFECT, Technique, technique_faults
from optdescent.units import FOOT, KNOT


@dataclass(frozen=True)
class Told:
    """What a scenario was made from: declaration, airframe, and the texts that wind and temperature are from."""

    declared: ScenarioDeclaration
    airframe: Airframe
    wind: str
    temperature: str

    @property
    def text(self) -> str:
        """As JSON with sorted keys [SI]. A perfect crew is left out: there was no other when texts began to be kept."""
        scenario = self.declared.model_dump(mode="json")
        if self.declared.technique == PERFECT:
            del scenario["technique"]
        parts: dict[str, Any] = {
            "scenario": scenario,
            "airframe": self.airframe.model_dump(mode="json"),
            "wind": self.wind,
            "temperature": self.temperature,
        }
        return json.dumps(parts, sort_keys=True, indent=1)


@dataclass(frozen=True)
class Scenario:
    """All that was asked, in SI.

    `warmth` holds the coefficients of a measured day's temperature (`air.warmth`), None for the standard atmosphere.
    `told` is everything the answer depends on: the declared values, the airframe's and the texts of soundings. `text`
    is the same as JSON, and `digest` its short fingerprint. Files declare flights that begin in cruise; `midway`, which
    neither tells, says what an optimum has out that begins anywhere on the way down.
    """

    title: str
    airframe: Airframe
    start: Start
    cost: Cost
    wind: Wind
    temperature_offset: float
    qnh: float
    arrival: Arrival
    handling: Handling
    told: Told
    warmth: tuple[float, ...] | None = None
    technique: Technique = PERFECT
    midway: Midway = CRUISE

    @classmethod
    def from_toml(cls, path: str | Path, settings: Sequence[str] = ()) -> Scenario:
        """Scenario of a file, with `KEY=VALUE` settings applied before validation [SI in memory].

        Raises
        ------
        InputFault
            Every fault of the file and of the files it names.
        """
        path = Path(path)
        return cls.from_data(with_settings(read_toml(path), settings), str(path), path.parent)

    @classmethod
    def from_data(cls, data: dict[str, Any], name: str, folder: Path | None = None) -> Scenario:
        """Scenario of parsed TOML; `name` stands in messages, `folder` is where relative paths start [SI in memory].

        Raises
        ------
        InputFault
            Every fault of the data and of the files it names.
        """
        declared, found = validated_in_part(ScenarioDeclaration, data, name)
        if declared is None:
            raise InputFault(found)
        faults = list(found)
        airframe, wind, warmth, warm_text = None, None, None, ""
        try:
            airframe = read_airframe(declared.airframe, folder)
        except InputFault as fault:
            faults += fault.placed(name, "airframe", declared.airframe)
        place = WindPlace(name, folder, declared.start.distance, declared.arrival.route)
        try:
            wind = wind_of(declared.air.wind, place)
        except InputFault as fault:
            faults += fault.faults
        try:
            warmth, warm_text = _warmth(declared.air.temperature_sounding, place)
        except InputFault as fault:
            faults += fault.faults
        faults += _scenario_faults(declared, airframe, name)
        if airframe is None or wind is None or faults:
            raise InputFault(faults)
        return cls(
            title=declared.title,
            airframe=airframe,
            start=declared.start,
            cost=declared.cost,
            wind=wind,
            temperature_offset=declared.air.temperature_offset,
            qnh=declared.air.qnh,
            arrival=declared.arrival,
            handling=declared.handling,
            told=Told(declared, airframe, wind.text, warm_text),
            warmth=warmth,
            technique=declared.technique,
        )

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return scenario_html(self)

    @cached_property
    def text(self) -> str:
        """Everything the answer depends on, as JSON [file and SI units]."""
        return self.told.text

    @property
    def digest(self) -> str:
        """First twelve hexadecimal digits [-] of the SHA-256 of the text."""
        return hashlib.sha256(self.text.encode()).hexdigest()[:12]

    @property
    def air(self) -> Air:
        """Atmosphere and wind, as numbers."""
        elevation = self.arrival.elevation
        warmth = None if self.warmth is None else np.asarray(self.warmth)
        return Air(self.temperature_offset, self.qnh, elevation, self.wind.field, self.wind.coefficients(), warmth)

    def pressure_altitude(self, altitude: float) -> float:
        """Pressure altitude [m] of a published altitude [m]: by QNH, or a flight level above the transition."""
        return float(pressure_altitude_of(altitude, self.arrival.transition_altitude, self.qnh))


_MOST_BURN = 5e-3
"""Fuel [kg/m] of one engine that bounds what a descent burns: 9 kg a mile, cruise included (cruise: 4 to 6)."""


def _scenario_faults(declared: ScenarioDeclaration, airframe: Airframe | None, name: str) -> list[Fault]:
    faults = [Fault(name, *fault) for fault in arrival_faults(declared.arrival)]
    start, arrival = declared.start, declared.arrival
    faults += [Fault(name, *fault) for fault in start_faults(start, arrival)]
    faults += [Fault(name, *fault) for fault in technique_faults(declared.technique)]
    bottom = arrival.elevation + arrival.glide_path.capture_at_most
    if start.altitude <= bottom:
        allowed = f"above the highest capture of the glide path, {bottom / FOOT:.0f} ft"
        faults.append(Fault(name, "start.altitude_ft", f"got {start.altitude / FOOT:.0f}", allowed))
    faults += _anti_ice_faults(declared.handling.anti_ice, airframe, name)
    if airframe is None:
        return faults
    lightest = max(start.mass - airframe.engines.count * _MOST_BURN * start.distance, airframe.masses.least)
    reference = float(reference_speed(airframe, lightest))
    for index, limit in enumerate(arrival.speed_limits):
        if limit.speed < reference:
            allowed = f"at least {reference / KNOT:.0f} kt, the reference speed for landing at {lightest:.0f} kg"
            faults.append(
                Fault(name, f"arrival.speed_limits[{index}].speed_kt", f"got {limit.speed / KNOT:.0f}", allowed)
            )
    speed = float(calibrated_from_mach(start.mach, pressure(start.altitude)))
    if speed > airframe.limits.maximum_speed:
        given = f"Mach {start.mach:g} at {start.altitude / FOOT:.0f} ft is {speed / KNOT:.0f} kt calibrated"
        allowed = f"at most {airframe.limits.maximum_speed / KNOT:.0f} kt ({airframe.title})"
        faults.append(Fault(name, "start.mach", given, allowed))
    masses = airframe.masses
    if not masses.least <= start.mass <= masses.most:
        allowed = f"{masses.least:.0f} to {masses.most:.0f} kg ({airframe.title})"
        faults.append(Fault(name, "start.mass_kg", f"got {start.mass:.0f}", allowed))
    landing = masses.most_landing + airframe.engines.count * _MOST_BURN * start.distance
    if landing < start.mass <= masses.most:
        allowed = f"at most {landing:.0f} kg, to land with {masses.most_landing:.0f} kg ({airframe.title})"
        faults.append(Fault(name, "start.mass_kg", f"got {start.mass:.0f}", allowed))
    least = float(manoeuvre_speed(airframe, 0, start.mass))
    if speed < least:
        given = f"Mach {start.mach:g} at {start.altitude / FOOT:.0f} ft is {speed / KNOT:.0f} kt calibrated"
        allowed = f"at least {least / KNOT:.0f} kt, the least manoeuvring speed at {start.mass:.0f} kg"
        faults.append(Fault(name, "start.mach", given, allowed))
    if start.mach > airframe.limits.maximum_mach:
        allowed = f"at most {airframe.limits.maximum_mach:g} ({airframe.title})"
        faults.append(Fault(name, "start.mach", f"got {start.mach:g}", allowed))
    return faults


_THINNEST = 1000.0 * FOOT
"""Thinnest layer [m] in which idle is raised in full."""


def _anti_ice_faults(use: AntiIceUse, airframe: Airframe | None, name: str) -> list[Fault]:
    """Faults of the use of engine anti-ice [SI]."""
    faults: list[Fault] = []
    if isinstance(use, AntiIceLayer) and use.top - use.bottom < _THINNEST - 1e-6:
        given = f"got {use.top / FOOT:.0f}, {(use.top - use.bottom) / FOOT:.0f} ft above bottom_ft"
        faults.append(Fault(name, "handling.anti_ice.top_ft", given, f"at least {_THINNEST / FOOT:.0f} ft above it"))
    if not isinstance(use, AntiIceOff) and airframe is not None and airframe.engines.anti_ice_idle is None:
        allowed = f"'off', or an airframe with engines.anti_ice_idle ({airframe.title} has none)"
        faults.append(Fault(name, "handling.anti_ice.kind", f"got {use.kind!r}", allowed))
    return faults


def _warmth(source: str | None, place: WindPlace) -> tuple[tuple[float, ...] | None, str]:
    """Coefficients of a sounding's temperature [-] and the sounding's text."""
    if source is None:
        return None, ""
    sounding = sounding_of(source, place, "air.temperature_sounding")
    return tuple(warmth_of(sounding, source).tolist()), sounding.text
