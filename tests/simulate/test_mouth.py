"""A voice as a source of flow: the pressure that it makes in the mouth, and what effort does."""

import numpy as np
import pytest
from voiced import levels, voiced

from reedbore.model.presets import load_horn, setup_for
from reedbore.model.setup import Setup
from reedbore.physics import glottis, tract
from reedbore.simulate import mouth
from reedbore.simulate.acoustics.airway import REED_CONDUCTANCE, Airway
from reedbore.simulate.singing import sing


@pytest.fixture(scope="module")
def tenor() -> Setup:
    return setup_for(load_horn("tenor-saxophone"))


def flowing(tenor, hz=200.0, **values):
    return voiced(tenor, hz, **({"drive": "flow"} | values)).with_value("breath.pressure_kpa", 3.0)


@pytest.mark.parametrize(("hz", "pascals"), [(880.0, 25.7), (440.0, 51.3)])
def test_flow_into_a_mouth_makes_the_pressure_of_a_spring_of_air(tenor, hz, pascals):
    # p = U ρc²/ωV of 0.1 litre a second and 100 ml, far above the walls' resonance: 51 Pa at 440
    # Hz. The walls and the reed change it by less than their resonance allows, (200/440)².
    setup = flowing(tenor, hz, source="sine").with_value("tract.coupling", "on")
    found = mouth.sung_pressure(setup)
    assert found == pytest.approx(pascals / (1.0 - (200.0 / hz) ** 2), rel=0.05)
    assert mouth.depth(setup) == pytest.approx(found / 3e3, rel=1e-12)


@pytest.mark.parametrize("vowel", ["none", "neutral", "a", "i", "u"])
@pytest.mark.parametrize("hz", [87.0, 175.0, 262.0, 294.0])
def test_a_usual_flow_sings_a_usual_depth(tenor, hz, vowel):
    # 0.02 to 0.15 at 3 kPa; a spring of air of 100 ml alone gives 205 Pa at 110 Hz and 103 at 220.
    setup = flowing(tenor, hz, source="pulse", vowel=vowel)
    low, high = tract.USUAL_DEPTHS
    assert low < mouth.depth(setup) < high
    assert setup.voice.flow == tract.USUAL_FLOW


def test_depth_goes_with_flow_over_breath(tenor):
    setup = flowing(tenor, source="pulse", vowel="a")
    usual = mouth.depth(setup)
    assert mouth.depth(setup.with_value("voice.flow_ml_per_s", 200)) == pytest.approx(2.0 * usual)
    assert mouth.depth(setup.with_value("breath.pressure_kpa", 1.5)) == pytest.approx(2.0 * usual)
    assert mouth.depth(setup.with_value("breath.pressure_kpa", 0.0)) == 0.0
    assert mouth.depth(setup.with_value("voice.drive", "pressure")) == setup.voice.depth


@pytest.mark.parametrize("vowel", ["none", "i"])
@pytest.mark.parametrize("coupling", ["off", "on"])
def test_flow_is_multiplied_by_what_the_airway_makes_of_it(tenor, vowel, coupling):
    # In pascals: the amplitude of each partial of the flow times the transfer.
    setup = flowing(tenor, source="pulse", vowel=vowel).with_value("tract.coupling", coupling)
    setup = setup.with_value("tract.volume_ml", 80).with_value("tract.returned", 0.6)
    partials = 200.0 * np.arange(1.0, 26.0)
    flow = 2.0 * np.abs(glottis.pulse_harmonics(1.0, 25))
    load = REED_CONDUCTANCE if coupling == "off" else 0.0
    gain = np.abs(Airway(vowel, setup.tract.volume, 0.6).transfer(partials, load))
    sung = mouth.sung_pressure(setup) * levels(sing(setup, 1.5), *partials)
    assert sung == pytest.approx(1e-4 * flow / flow[0] * gain, rel=0.01)


def test_effort_doubles_the_flow_and_halves_rd(tenor):
    plain = flowing(tenor, source="pulse", vowel="a", rd=1.2)
    strong = plain.with_value("voice.effort", 2)
    same = plain.with_value("voice.rd", 0.6).with_value("voice.flow_ml_per_s", 200)
    assert sing(strong, 0.5).tobytes() == sing(same, 0.5).tobytes()
    assert mouth.depth(strong) == pytest.approx(mouth.depth(same), rel=1e-12)
    sine = flowing(tenor, source="sine")
    assert mouth.depth(sine.with_value("voice.effort", 2)) == pytest.approx(2.0 * mouth.depth(sine))


def test_effort_of_a_source_of_pressure_makes_it_brighter_but_not_deeper(tenor):
    plain = voiced(tenor, source="pulse", rd=1.2)
    strong = plain.with_value("voice.effort", 2)
    assert mouth.depth(strong) == mouth.depth(plain)
    assert sing(strong, 0.5).tobytes() == sing(plain.with_value("voice.rd", 0.6), 0.5).tobytes()
    weak = plain.with_value("voice.rd", 2.0).with_value("voice.effort", 0.5)
    assert sing(weak, 0.5).tobytes() == sing(plain.with_value("voice.rd", 2.7), 0.5).tobytes()


def test_a_recording_is_a_pressure_whatever_the_drive(tenor, tmp_path):
    setup = flowing(tenor, file=str(tmp_path / "voice.wav"))
    setup = setup.with_value("voice.source", "recording")
    assert mouth.depth(setup) == setup.voice.depth
