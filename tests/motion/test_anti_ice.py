"""Engine anti-ice: where it is on, and that every user of the forces sees the raised idle."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import casadi as ca
import numpy as np
import pytest

from optdescent.air.altitude import pressure_altitude_of
from optdescent.airframe import engine
from optdescent.inputs import InputFault
from optdescent.motion import Control, State, surroundings
from optdescent.motion.equations import motion
from optdescent.motion.state import ANTI_ICE_BAND, AntiIce, anti_ice_of
from optdescent.scenario.declaration import AntiIceOff
from optdescent.units import FOOT
from tests.scenario.files import scenario
from tests.simulation import CLEAN

ON = "handling.anti_ice.kind=on"
LAYER = ('handling.anti_ice={kind="layer", bottom_ft=5000.0, top_ft=22000.0}',)


def test_it_is_off_unless_asked_for() -> None:
    assert isinstance(scenario().handling.anti_ice, AntiIceOff)
    assert anti_ice_of(scenario()) is None
    assert surroundings(scenario()).anti_ice_share(3000.0) is None


def test_on_is_on_everywhere() -> None:
    around = surroundings(scenario(ON))
    assert all(around.anti_ice_share(altitude) == 1.0 for altitude in (-500.0, 0.0, 6000.0, 13000.0))


def test_a_layer_is_read_as_altimeters_show_it() -> None:
    """Below the transition altitude by QNH, a flight level above it."""
    found = anti_ice_of(scenario(*LAYER, "air.qnh_hpa=990"))
    assert found is not None
    assert found.bottom == pytest.approx(float(pressure_altitude_of(5000.0 * FOOT, 18000.0 * FOOT, 99000.0)))
    assert found.top == pytest.approx(22000.0 * FOOT)


def test_idle_changes_smoothly_inside_the_edges() -> None:
    layer = AntiIce(1500.0, 6000.0)
    places = (
        1500.0,
        1500.0 + 0.5 * ANTI_ICE_BAND,
        1500.0 + ANTI_ICE_BAND,
        4000.0,
        6000.0 - 0.5 * ANTI_ICE_BAND,
        6000.0,
    )
    assert [float(layer.share(h)) for h in places] == pytest.approx([0.0, 0.5, 1.0, 1.0, 0.5, 0.0])
    h = ca.SX.sym("h")
    second = ca.Function("f", [h], [ca.hessian(layer.share(h), h)[0]])
    for edge in (1500.0, 1500.0 + ANTI_ICE_BAND, 6000.0 - ANTI_ICE_BAND, 6000.0):
        assert abs(float(second(edge + 1e-4)) - float(second(edge - 1e-4))) < 1e-8


@pytest.mark.parametrize("altitude", [3000.0, 5000.0, 9000.0])
def test_forces_have_the_raised_idle(altitude: float) -> None:
    state = State(altitude, 150.0, -0.05, 60000.0, 0.0)
    off, on, layered = (
        motion(surroundings(scenario(*settings)), -1e5, state, Control(1.0, 0.0, 0.0), CLEAN).forces
        for settings in ((), (ON,), LAYER)
    )
    assert float(on.idle) == pytest.approx(
        float(engine.idle_thrust(scenario().airframe, on_pressure(altitude), float(on.mach), 1.0))
    )
    assert float(on.thrust) > 1.3 * float(off.thrust)
    assert float(on.fuel_flow) == float(on.idle_flow) > 1.1 * float(off.fuel_flow)
    assert float(layered.thrust) == pytest.approx(float((on if altitude < 22000.0 * FOOT else off).thrust))


def on_pressure(altitude: float) -> float:
    return float(surroundings(scenario()).air.sample(0.0, np.float64(altitude), 0.0).pressure)


@pytest.mark.parametrize(
    ("settings", "key", "words"),
    [
        (
            ('handling.anti_ice={kind="layer", bottom_ft=9000.0, top_ft=9500.0}',),
            "handling.anti_ice.top_ft",
            "got 9500, 500 ft above bottom_ft; allowed: at least 1000 ft above it",
        ),
        (
            ("handling.anti_ice.kind=always",),
            "handling.anti_ice.kind",
            "got 'always'; allowed: one of 'off', 'on', 'layer'",
        ),
        (('handling.anti_ice={kind="layer", bottom_ft=9000.0}',), "handling.anti_ice.top_ft", "missing"),
    ],
)
def test_bad_uses_are_named(settings: tuple[str, ...], key: str, words: str) -> None:
    with pytest.raises(InputFault) as caught:
        scenario(*settings)
    assert any(fault.key == key and words in str(fault) for fault in caught.value.faults), str(caught.value)


def test_an_airframe_without_raised_idle_is_named(tmp_path: Path) -> None:
    text = resources.files("optdescent.airframe").joinpath("data", "narrow-body-twin.toml").read_text("utf-8")
    path = tmp_path / "plain.toml"
    path.write_text(text.partition("[engines.anti_ice_idle]")[0], encoding="utf-8")
    with pytest.raises(InputFault, match=r"handling\.anti_ice\.kind: got 'on'; allowed: 'off', or an airframe with"):
        scenario(ON, f'airframe="{path}"')
    assert scenario(f'airframe="{path}"').airframe.engines.anti_ice_idle is None
