"""Units that are suspected to be wrong: one column says what another would have to be.

Where a known unit explains a disagreement, nothing sensible can be worked out: it is a fault that names the units.
Where none does, the recording is read and the disagreement is told as a warning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.air.airspeed import true_from_calibrated
from optdescent.air.atmosphere import pressure, speed_of_sound, standard_temperature
from optdescent.airframe.engine import idle_flow, maximum_flow
from optdescent.airframe.speeds import reference_speed
from optdescent.recording import rough
from optdescent.recording.declaration import ColumnMap
from optdescent.recording.doubts import Doubts
from optdescent.recording.quantity import QUANTITIES
from optdescent.recording.unit import FOREIGN, units_of
from optdescent.recording.values import Array, Raw
from optdescent.scenario import Scenario
from optdescent.units import KNOT, NAUTICAL_MILE

Flags = NDArray[np.bool_]
_CLIMB, _WAY = 150.0, 2000.0
"""Changes [m] of altitude and distance in a minute that are large enough to compare."""
_NEAR = 5.0 * NAUTICAL_MILE
_FALLS, _FLOWN, _BLOWN, _SAME, _ON_PATH = (0.7, 1.4), (0.75, 1.33), (0.58, 1.72), (0.8, 1.25), (0.55, 1.8)
"""Ratios [-] that instruments and wind explain: climb, distance, ground to air speed, two airspeeds, final gradient."""
_STILL = 1e-3
_COLD = 45.0
"""Difference [K] from the standard temperature that no place on earth has at most altitudes."""


def check_units(raw: Raw, away: Flags, asked: ColumnMap, scenario: Scenario, doubts: Doubts) -> None:
    """Compare every column with the others and with the scenario [SI]; `away` (row,) are rows after a go-around [-].

    Raises
    ------
    InputFault
        Columns that disagree by what lies between two units, or by their sign.
    """
    _Check(raw, away, asked, scenario, doubts).run()
    doubts.refuse()


@dataclass(frozen=True)
class _Check:
    raw: Raw
    away: Flags
    asked: ColumnMap
    scenario: Scenario
    doubts: Doubts

    def run(self) -> None:
        self._altitudes()
        self._speeds()
        self._final()
        self._calibrated()
        self._temperature()
        self._mass()
        self._fuel_flow()

    def _altitudes(self) -> None:
        raw = self.raw
        found = rough.altitudes(raw)
        changes = {name: rough.changes(raw.time, values) for name, values in found.items()}
        if raw.has("vertical_speed"):
            climbed = rough.changes(raw.time, rough.summed(raw.time, raw.values["vertical_speed"]))
            for name, change in changes.items():
                self._judge(name, "vertical_speed", rough.ratio(change, climbed, _CLIMB), _FALLS)
        first, *others = found
        for name in others:
            self._judge(first, name, rough.ratio(changes[first], changes[name], _CLIMB), _SAME)

    def _speeds(self) -> None:
        raw = self.raw
        if raw.has("ground_speed", "distance_to_go"):
            flown = rough.changes(raw.time, rough.summed(raw.time, raw.values["ground_speed"]))
            left = -rough.changes(raw.time, raw.values["distance_to_go"])
            self._judge("distance_to_go", "ground_speed", rough.ratio(left, flown, _WAY), _FLOWN)
        at = rough.altitude(raw)
        found = rough.calibrated(raw)
        true = {
            name: np.asarray(true_from_calibrated(speed, pressure(at), speed_of_sound(at, 0.0)), dtype=float)
            for name, speed in found.items()
        }
        if raw.has("ground_speed"):
            for name, speed in true.items():
                self._judge(name, "ground_speed", _middle(speed, raw.values["ground_speed"]), _BLOWN)
        if found:
            first, *others = found
            for name in others:
                self._judge(first, name, _middle(found[first], found[name]), _SAME)

    def _final(self) -> None:
        """Altitude against the glide path's gradient, over the last miles up to where an approach is left."""
        raw = self.raw
        if not raw.has("distance_to_go"):
            return
        to_go = raw.values["distance_to_go"]
        path = self.scenario.arrival.glide_path
        near = (to_go < _NEAR) & (to_go > 0.0)
        for name, altitude in rough.altitudes(raw).items():
            rows = np.flatnonzero(near & np.isfinite(altitude) & ~self.away)
            if rows.size < 3 or np.ptp(to_go[rows]) < 0.3 * _NEAR:
                continue
            slope = float(np.polyfit(to_go[rows], altitude[rows], 1)[0])
            self._judge(name, "distance_to_go", slope / path.gradient, _ON_PATH, "the glide path")

    def _calibrated(self) -> None:
        """The fastest tenth against what the airframe flies; no other unit is suspected where ground speed agrees."""
        airframe = self.scenario.airframe
        slow = 1.05 * float(reference_speed(airframe, airframe.masses.least))
        fast = 1.15 * airframe.limits.maximum_speed
        for name, speed in rough.calibrated(self.raw).items():
            known = speed[np.isfinite(speed)]
            top = float(np.percentile(known, 95.0)) if known.size else float("nan")
            if slow <= top <= fast or not np.isfinite(top):
                continue
            said = f"its fastest is {top / KNOT:.0f} kt calibrated"
            bounds = f"{slow / KNOT:.0f} to {fast / KNOT:.0f} kt ({airframe.title})"
            if self._agrees_with_ground_speed(speed):
                self._tell(name, said, bounds, [])
            else:
                self._explain(name, said, bounds, top, slow, fast)

    def _agrees_with_ground_speed(self, calibrated: Array) -> bool:
        """Whether a calibrated airspeed (row,) [m/s] is what wind explains of the ground speed in most rows."""
        if not self.raw.has("ground_speed"):
            return False
        at = rough.altitude(self.raw)
        true = np.asarray(true_from_calibrated(calibrated, pressure(at), speed_of_sound(at, 0.0)), dtype=float)
        low, high = _BLOWN
        return low <= _middle(true, self.raw.values["ground_speed"]) <= high

    def _temperature(self) -> None:
        if not self.raw.has("temperature"):
            return
        found = self.raw.values["temperature"]
        standard = np.asarray(standard_temperature(rough.altitude(self.raw)), dtype=float)
        off = float(np.nanmedian(found - standard)) if np.isfinite(found - standard).any() else 0.0
        if abs(off) <= _COLD:
            return
        unit = FOREIGN[self.asked.columns["temperature"].unit]
        cells = (found - unit.zero) / unit.factor
        others = [
            other.name
            for other in units_of("K")
            if abs(float(np.nanmedian(cells * other.factor + other.zero - standard))) <= _COLD
        ]
        said = f"is {off:.0f} K from the standard temperature at most altitudes, in {unit.name}"
        self._tell("temperature", said, f"within {_COLD:.0f} K", others)

    def _mass(self) -> None:
        if self.raw.has("mass") and np.isfinite(self.raw.values["mass"]).any():
            masses, found = self.scenario.airframe.masses, float(np.nanmedian(self.raw.values["mass"]))
            low, high = 0.8 * masses.least, 1.1 * masses.most
            if not low <= found <= high:
                bounds = f"{low:.0f} to {high:.0f} kg ({self.scenario.airframe.title})"
                self._explain("mass", f"its middle value is {found:.0f} kg", bounds, found, low, high)

    def _fuel_flow(self) -> None:
        """The middle fuel flow between a third of idle and twice the largest at sea level."""
        if self.raw.has("fuel_flow") and np.isfinite(self.raw.values["fuel_flow"]).any():
            airframe, found = self.scenario.airframe, float(np.nanmedian(self.raw.values["fuel_flow"]))
            low = float(idle_flow(airframe, pressure(9000.0), 0.7)) / 3.0
            high = 2.0 * float(maximum_flow(airframe, 1.225, 0.3))
            if not low <= found <= high:
                bounds = f"{low:.3g} to {high:.3g} kg/s ({airframe.title})"
                self._explain("fuel_flow", f"its middle value is {found:.3g} kg/s", bounds, found, low, high)

    def _judge(
        self, first: str, second: str, ratio: float, band: tuple[float, float], against: str | None = None
    ) -> None:
        """Compare the first quantity over the second [-] with a band; the second may be the scenario's."""
        low, high = band
        if np.isnan(ratio) or low <= ratio <= high or abs(ratio) < _STILL:
            return  # what stands still is no matter of units: see `frozen`
        columns = self.asked.columns
        other = against or columns[second].column
        said = f"is {ratio:.3g} times what {other} says (rates and changes over the whole recording)"
        if low <= -ratio <= high:
            self.doubts.fault(columns[first].column, said, f"scale = -1 for it or for {other}")
            return
        found = [(abs(np.log(abs(ratio) * factor)), unit, first) for unit, factor in self._factors(first)]
        if against is None:
            found += [(abs(np.log(abs(ratio) / factor)), unit, second) for unit, factor in self._factors(second)]
        middle = np.log(high)
        fits = [f"unit = {unit!r} for {columns[name].column}" for off, unit, name in sorted(found) if off < middle]
        if fits and ratio > 0.0:
            allowed = f"columns that agree: {', or '.join(fits[:3])}?"
            self.doubts.fault(columns[first].column, said, allowed)
        else:
            self.doubts.warn(f"{columns[first].column} {said}, which no unit explains")

    def _factors(self, name: str) -> list[tuple[str, float]]:
        """Other units of a column, and by what it would be larger in each [-]."""
        one = self.asked.columns[name]
        mapped = FOREIGN[one.unit]
        return [
            (other.name, other.factor / mapped.factor)
            for other in units_of(QUANTITIES[name].si)
            if other.factor != mapped.factor and QUANTITIES[name].is_usual(other.name)
        ]

    def _explain(self, name: str, said: str, bounds: str, value: float, low: float, high: float) -> None:
        """Note a value [SI] that lies outside its bounds, with the units in which it would not."""
        others = [unit for unit, factor in self._factors(name) if low <= value * factor <= high]
        self._tell(name, said, bounds, others)

    def _tell(self, name: str, said: str, bounds: str, others: list[str]) -> None:
        """Note a column that is not plausible: a fault where another unit would make it so, else a warning."""
        one = self.asked.columns[name]
        if others:
            hint = f"unit = {' or '.join(repr(other) for other in others)}"
            self.doubts.fault(one.column, said, f"{bounds}; {hint}?")
        else:
            self.doubts.warn(f"{one.column}: {said}, not {bounds}")


def _middle(first: Array, second: Array) -> float:
    """Middle ratio [-] of two columns (row,)."""
    known = np.isfinite(first) & np.isfinite(second) & (second > 1.0)
    return float(np.median(first[known] / second[known])) if int(known.sum()) >= 3 else float("nan")
