"""How a scenario shows itself in notebooks: what is asked, in units of the trade."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from optdescent.arrival import Arrival, Gate, SpeedLimit, Window
from optdescent.markup import card, folded, pairs, preformatted, sentences
from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, HECTOPASCAL, KNOT, MINUTE, NAUTICAL_MILE

if TYPE_CHECKING:
    from optdescent.scenario.scenario import Scenario


def scenario_html(scenario: Scenario) -> str:
    """What a scenario asks [nm, ft, kt, kg], its digest and the caution."""
    start, arrival, declared = scenario.start, scenario.arrival, scenario.told.declared
    rows = [
        ("airframe", scenario.airframe.title),
        (
            "start",
            f"{start.distance / NAUTICAL_MILE:.6g} nm to go, {start.altitude / FOOT:.0f} ft, "
            f"Mach {start.mach:g}, {start.mass:.0f} kg",
        ),
        ("cost of time", f"{scenario.cost.time * MINUTE:.6g} kg/min"),
        ("wind", declared.air.wind.kind),
        ("temperature offset", f"{scenario.temperature_offset:+g} K"),
        ("QNH", f"{scenario.qnh / HECTOPASCAL:.6g} hPa"),
        ("airport", f"{arrival.airport}, {arrival.elevation / FOOT:.0f} ft, course {arrival.course / DEGREE:.6g}°"),
        ("glide path", f"{arrival.glide_path.angle / DEGREE:.3g}°, captured from {arrival.glide_path.capture.value}"),
        *(("gate", _gate(gate)) for gate in arrival.gates),
    ]
    demands = sentences(_demands(arrival))
    text = folded("everything the answer depends on", preformatted(scenario.text))
    return card(f"Scenario: {scenario.title}", [pairs(rows), demands, text], f"scenario {scenario.digest}")


def _gate(gate: Gate) -> str:
    asked = [f"{gate.height / FOOT:.0f} ft", f"sink at most {gate.sink / FOOT_PER_MINUTE:.0f} ft/min"]
    return ", ".join(asked)


def _demands(arrival: Arrival) -> Iterator[str]:
    """Windows and limits in words, in the order of the file."""
    yield from (_window(window) for window in arrival.windows)
    yield from (_speed_limit(limit) for limit in arrival.speed_limits)
    for limit in arrival.sink_limits:
        yield f"sink at most {limit.sink / FOOT_PER_MINUTE:.0f} ft/min below {limit.below_height / FOOT:.0f} ft"
    for hold in arrival.hold_downs:
        between = f"from {hold.from_ / NAUTICAL_MILE:.6g} to {hold.to / NAUTICAL_MILE:.6g} nm to go"
        yield f"level at {hold.altitude / FOOT:.0f} ft {between}"
    if arrival.floor:
        yield f"a floor of {len(arrival.floor)} points"


def _window(window: Window) -> str:
    altitudes = (
        ("at least", window.altitude_at_least),
        ("at most", window.altitude_at_most),
        ("at", window.altitude_at),
    )
    speeds = (("at least", window.speed_at_least), ("at most", window.speed_at_most), ("at", window.speed_at))
    asked = [f"{word} {value / FOOT:.0f} ft" for word, value in altitudes if value is not None]
    asked += [f"{word} {value / KNOT:.0f} kt" for word, value in speeds if value is not None]
    return f"{window.name}, {window.distance / NAUTICAL_MILE:.6g} nm to go: {', '.join(asked) or 'nothing asked'}"


def _speed_limit(limit: SpeedLimit) -> str:
    if limit.below_altitude is not None:
        return f"at most {limit.speed / KNOT:.0f} kt below {limit.below_altitude / FOOT:.0f} ft"
    return f"at most {limit.speed / KNOT:.0f} kt from {(limit.within or 0.0) / NAUTICAL_MILE:.6g} nm to go on"
