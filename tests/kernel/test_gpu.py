"""Lanes on a graphics card against lanes on the cores.

The text of the kernel runs on a card, or, told so by NUMBA_ENABLE_CUDASIM=1, in the simulator that
numba has for one: a thread is then a thread of Python, and a step a millisecond.
"""

import numba
import numpy as np
import pytest
from bores import setup_of
from folded import BB2_MM

from reedbore.errors import ReedboreError
from reedbore.kernel import executor, gpu, rows
from reedbore.kernel.executor import CPU
from reedbore.kernel.lanes import Kind
from reedbore.model.presets import load_horn, setup_for
from reedbore.model.voice import Voice
from reedbore.simulate import batch
from reedbore.simulate.batch import Lanes

SIMULATED = bool(numba.config.ENABLE_CUDASIM)
card = pytest.mark.skipif(bool(gpu.missing()), reason="there is no graphics card")
real_card = pytest.mark.skipif(SIMULATED or bool(gpu.missing()), reason="hours in the simulator")

REFERENCE = 118.0


def quick(**changes):
    """A tenor saxophone, so short that the steps of a test pass its bore, blown at once."""
    setup = setup_for(load_horn("tenor-saxophone"))
    usual = {
        "bore__length_mm": 60.0,
        "breath__rise_ms": 1.0,
        "voice__fade_ms": 5.0,
        "voice__frequency_hz": 349.2,
    }
    for key, value in (usual | changes).items():
        setup = setup.with_value(key.replace("__", "."), value)
    return setup


def with_vent(bore, fingering):
    setup = setup_of(bore, fingering).with_value("breath.rise_ms", 1.0)
    return setup.model_copy(update={"voice": Voice(frequency=233.0, fade=0.005)})


FOLDS = {"voice__drive": "folds", "voice__depth": 0.05, "voice__frequency_hz": 116.54}
KINDS = {
    "row of holes": lambda: [quick(), quick(voice__depth=0.3, voice__source="sine")],
    "massless": lambda: [quick(reed__dynamics="massless"), quick(voice__source="off")],
    "vent": lambda: [with_vent("cylinder", "vent and row")],
    "vent behind a tube": lambda: [with_vent("mouthpiece, cone and holes", "upper vent and row")],
    "mouth": lambda: [quick(tract__coupling="on", voice__vowel="a")],
    "folds": lambda: [quick(bore__length_mm=BB2_MM, **FOLDS)],
}


def shown(setups, executor, hops, steps):
    """What lanes show before and after one is dropped, and step by step."""
    lanes = Lanes(setups, REFERENCE, executor=executor)
    before = lanes.advance(hops * lanes._shared.hop / lanes.rate)
    lanes.keep([True, *(False for _ in setups[1:])])
    after = lanes.advance(hops * lanes._shared.hop / lanes.rate)
    seen = np.array(lanes.watch(steps, lambda lane, pressure: pressure.copy()))
    return before, after, seen, lanes.ticks(hops * lanes._shared.hop / lanes.rate)


@card
@pytest.mark.parametrize("kind", KINDS)
def test_the_card_steps_as_the_cores_do(kind, monkeypatch):
    # One text of the step; a card may put a product and a sum into one rounding, the simulator
    # does not: there no bit may differ. A hop of two milliseconds, or the simulator takes minutes.
    monkeypatch.setattr(batch, "HOP_S", 0.002)
    setups = KINDS[kind]()
    ours, theirs = (shown(setups, one, 1, 100) for one in (gpu.GpuLanes(), CPU))
    assert np.ptp(theirs[2]) > 1.0
    for mine, other in zip(
        [*ours[0], *ours[1], *ours[2:]], [*theirs[0], *theirs[1], *theirs[2:]], strict=True
    ):
        if SIMULATED:
            assert np.array_equal(mine, other, equal_nan=True)
        elif other.size:
            assert np.abs(mine - other).max() <= 1e-9 * np.abs(other).max()


@real_card
def test_the_card_finds_the_line_that_the_cores_find():
    setups = [quick(bore__length_mm=BB2_MM - k, voice__depth=0.1) for k in range(70)]
    ours, theirs = (shown(setups, one, 60, 2000) for one in (gpu.GpuLanes(), CPU))
    for mine, other in zip(ours[:2], theirs[:2], strict=True):
        assert np.abs(mine.line - other.line).max() <= 1e-9 * np.abs(other.line).max()


@card
def test_what_is_handed_over_at_a_time_changes_nothing(monkeypatch):
    monkeypatch.setattr(batch, "HOP_S", 0.002)
    monkeypatch.setattr(gpu, "MOST_THREADS", 1)
    setups = KINDS["row of holes"]()
    whole = shown(setups, gpu.GpuLanes(), 1, 8)
    monkeypatch.setattr(gpu, "HANDED_BYTES", 1)
    parts = shown(setups, gpu.GpuLanes(), 1, 8)
    assert np.array_equal(whole[0].rms, parts[0].rms)
    assert np.array_equal(whole[2], parts[2])
    assert np.array_equal(whole[3], parts[3])


def test_without_a_card_one_sentence_says_so(monkeypatch):
    monkeypatch.setattr(gpu.cuda, "is_available", lambda: False)
    with pytest.raises(ReedboreError, match=r"no graphics card.*reedbore\[gpu\]"):
        gpu.GpuLanes()


# --- rows -----------------------------------------------------------------------------------------

ALL = Kind("mass", vented=True, coupled=True, folds=False, pairs=rows.PAIRS, far=8, batch=8)


def test_a_kind_that_uses_every_row_has_every_row():
    packed = gpu.rows_for(ALL)
    own = {name: value for name, value in vars(rows).items() if name.isupper()}
    assert {name: vars(packed)[name] for name in own} == own
    assert gpu.places_of(packed).tolist() == list(range(rows.ROWS))


@pytest.mark.parametrize(
    "changes", [{"pairs": 8}, {"vented": False}, {"coupled": False}, {"pairs": 1}]
)
def test_rows_that_a_kind_does_not_use_are_left_out(changes):
    # Each row that is left stands where its name says.
    packed = gpu.rows_for(ALL._replace(**changes))
    places = gpu.places_of(packed)
    assert places.size == packed.ROWS < rows.ROWS
    assert (np.diff(places) > 0).all()
    for name, first in (("REST", 0), ("DIRECT", 0), ("OPENING", 1), ("VENT_FLOW", 1), ("TAP", 2)):
        before = (0, packed.NUMBERS, 0)[first], (0, rows.NUMBERS, 0)[first]
        assert places[before[0] + vars(packed)[name]] == before[1] + vars(rows)[name]


# --- the machine that is chosen -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "lanes", "there", "chosen"),
    [
        ("auto", executor.WORTH_A_CARD - 1, True, executor.CpuLanes),
        ("auto", executor.WORTH_A_CARD, True, gpu.GpuLanes),
        ("auto", executor.WORTH_A_CARD, False, executor.CpuLanes),
        ("cpu", 10**6, True, executor.CpuLanes),
        ("gpu", 1, True, gpu.GpuLanes),
    ],
)
def test_a_card_is_taken_where_there_is_one_and_the_work_is_large(
    on, lanes, there, chosen, monkeypatch
):
    monkeypatch.setattr(gpu, "missing", lambda: None if there else "none")
    # How much a card holds is asked of the card.
    monkeypatch.setattr(gpu.GpuLanes, "for_this_card", classmethod(lambda card: card()))
    assert isinstance(executor.machine(on, lanes), chosen)


@pytest.mark.parametrize(("count", "on_card"), [(2, False), (3, True)])
def test_few_lanes_are_left_to_the_cores(count, on_card, monkeypatch):
    monkeypatch.setattr(gpu, "missing", lambda: None)
    monkeypatch.setattr(gpu, "GpuRunning", lambda *_: "card")
    machine = gpu.GpuLanes(threads=4, few=3).shared(2)
    lanes = Lanes([quick()] * count, REFERENCE, executor=machine)
    assert (lanes._running == "card") == on_card
    assert machine.threads == 2
