"""One push in a quiet bore against textbooks: how long it takes, and which way up it comes back."""

import numpy as np
import pytest

from reedbore.errors import ReedboreError
from reedbore.page import pulse as films
from reedbore.simulate.acoustics import bore as acoustics
from reedbore.simulate.pulse import End, Pulse, pulse

KELVIN = 300.15
Found = dict[tuple[str, End], Pulse]


@pytest.fixture(scope="module")
def found() -> Found:
    ends: tuple[End, ...] = ("open", "closed", "hole")
    kinds = [(name, end) for name in films.BORES for end in ends]
    kinds.remove(("cone", "hole"))
    return {(name, end): pulse(films.bore_named(name), end, KELVIN, 480, 25) for name, end in kinds}


def returns(seen: Pulse, trip: float) -> tuple[float, float]:
    """When, and how strong, the wave is that comes back after one round trip."""
    around = np.abs(seen.times - trip) < 0.2 * trip
    place = np.flatnonzero(around)[np.argmax(np.abs(seen.back[around]))]
    return float(seen.times[place]), float(seen.back[place])


@pytest.mark.parametrize("name", ["tube", "short"])
def test_the_open_end_is_longer_by_levine_and_schwinger(found: Found, name: str) -> None:
    # H. Levine and J. Schwinger, Phys. Rev. 73, 383 (1948): 0.6133 of the radius, unflanged; less
    # for a push that is no longer than the bore is wide.
    seen, stopped = found[name, "open"], found[name, "closed"]
    assert seen.speed == pytest.approx(347.4, abs=1.0)  # at 27 °C: any handbook
    assert seen.extra == pytest.approx(0.6133 * seen.bore.chain()[-1][2], rel=0.005)
    short = 2.0 * seen.positions[-1] / seen.speed
    trip = short + 2.0 * seen.extra / seen.speed
    assert returns(stopped, short)[0] == pytest.approx(short, rel=0.01)
    assert short + 0.5 * (trip - short) < returns(seen, trip)[0] < 1.005 * trip


@pytest.mark.parametrize("name", list(films.BORES))
def test_an_open_end_turns_it_over_and_a_stopper_does_not(found: Found, name: str) -> None:
    for end, upright in (("open", False), ("closed", True)):
        seen = found[name, end]  # type: ignore[index]
        trip = 2.0 * (seen.positions[-1] + seen.extra) / seen.speed
        assert (returns(seen, trip)[1] > 0.0) == upright


def test_nothing_comes_back_before_sound_can(found: Found) -> None:
    for (name, end), seen in found.items():
        if name == "cone":
            continue  # its narrow end has air of its own beside the wave
        first = seen.bore.holes[0].position if end == "hole" else seen.positions[-1]
        early = (seen.times < 1.6 * first / seen.speed) & (seen.times > 0.0)
        assert np.abs(seen.back[early]).max() < 0.02 * np.abs(seen.back).max()


def test_half_of_it_is_lost_to_a_hole_and_the_rest_runs_on(found: Found) -> None:
    seen = found["tube", "hole"]
    at = seen.bore.holes[0].position
    part = returns(seen, 2.0 * at / seen.speed)[1]
    whole = returns(found["tube", "open"], 2.0 * seen.positions[-1] / seen.speed)[1]
    assert whole < part < 0.25 * whole
    beyond = int(np.argmin(np.abs(seen.positions - 0.8 * seen.positions[-1])))
    passed = seen.forward[seen.times < 1.0 * seen.positions[-1] / seen.speed, beyond]
    assert passed.max() > 200.0


def test_a_cone_turns_it_over_at_its_narrow_end_as_well(found: Found) -> None:
    """That is why a cone needs one round trip to a period where a tube needs two."""
    for name, sign in (("tube", -1.0), ("cone", 1.0)):
        seen = found[name, "open"]
        middle = seen.positions.size // 2
        trip = 2.0 * (seen.positions[-1] + seen.extra) / seen.speed
        around = np.abs(seen.times - 1.27 * trip) < 0.15 * trip
        wave = seen.forward[around, middle]
        assert np.sign(wave[np.argmax(np.abs(wave))]) == sign


def test_the_two_waves_add_up_and_the_end_has_the_exact_impedance(found: Found) -> None:
    seen = found["tube", "open"]
    assert seen.pressure[:, 0] == pytest.approx(seen.forward[:, 0] + seen.back, abs=1e-6)
    # At an open end hardly any pressure stands: what arrives and what comes back cancel.
    arriving = np.abs(seen.forward[:, -1]).max()
    assert np.abs(seen.pressure[:, -1]).max() < 0.35 * arriving
    gas, radius = acoustics.air_keefe(KELVIN), seen.bore.chain()[-1][2]
    low = np.array([200.0])
    load = acoustics.end_impedance(seen.bore, low, gas)
    # ρ·ΔL/S: the air in the extra bit as a mass; any textbook.
    mass = gas.density * seen.extra / (np.pi * radius**2)
    assert load.imag[0] == pytest.approx(low[0] * mass, rel=0.01)


def test_captions_say_what_the_waves_do(found: Found) -> None:
    for name, end in found:
        rows, headers = films.running(name, end, 240, 25)
        frames, points = 240, 25
        back = rows[:frames] - rows[frames:]
        captions = headers["x-captions"]
        assert [first for first, *_ in captions] == sorted({first for first, *_ in captions})
        turned = next(text for _, text, kind in captions if kind == "turns")
        first = next(first for first, _, kind in captions if kind == "turns")
        late = back[first : first + 25, round(0.85 * points)]
        pushes = late[np.argmax(np.abs(late))] > 0.0
        assert ("upright" in turned, "push" in turned.rsplit("as a", 1)[1]) == (pushes, pushes)


@pytest.mark.parametrize(
    ("bore", "end"),
    [("trumpet", "open"), ("tube", "ajar"), (None, "open"), (["tube"], "open"), ("tube", {})],
)
def test_no_other_bores_or_ends_are_known(bore: object, end: object) -> None:
    with pytest.raises(ReedboreError, match="there are"):
        films.running(bore, end, 24, 20)
