"""Setups drawn from all that is legal, and what must be true of each: stepped, heard and judged.

Also a script: ``python tests/helpers/extremes.py 10000`` runs so many and tells what came of them;
``10000 5000`` begins at another one. ``--workers 15`` runs so many processes, ``-o FILE`` keeps
what is known so far in a file, whole at any time. With ``--worst`` the contact of the reed with the
lay is tried alone: fast, light, barely damped reeds, blown hard; they are not judged.
"""

import argparse
import contextlib
import math
import multiprocessing
import os
import signal
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import NamedTuple

import numpy as np

from reedbore.errors import ModelError
from reedbore.files import write_whole
from reedbore.kernel import single
from reedbore.kernel.executor import CpuLanes
from reedbore.model.bore import Bore, BoreSection, Hole, Lattice
from reedbore.model.setup import Air, Breath, Mouthpiece, Reed, Setup, Time
from reedbore.model.units import QUANTITIES
from reedbore.model.voice import Tract, Voice
from reedbore.physics.reed import reed_parameter
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.mouth import depth
from reedbore.simulate.outside import FULL_SCALE_PA, radiated
from reedbore.simulate.take import burst, sing
from reedbore.simulate.tuning import blown
from reedbore.sound import CEILING_DBTP, to_full_scale, true_peak
from reedbore.verdict.cells import judge_cells
from reedbore.verdict.state import State

SECONDS, OFF_AT, QUIET_AFTER = 1.3, 0.25, 0.05

STRETCH = 0.25
"""Within this time modes may trade what they have; over longer times the sum only falls. [s]"""

SPENT = 0.03
"""Below this share of where all began, swings count as over."""


AIR_DENSITY = 1.2  # [kg m⁻³], about

SOUNDING = (
    State.UNSUNG, State.LOCKED, State.DRIFTING, State.ROUGH, State.IRREGULAR, State.UNDECIDED,
)  # fmt: skip
"""What the judge says of a reed that sounds."""

ALIKE = 50
"""So many setups share a bore, whose fit takes longer than all else, when many are drawn."""

PLAYED = 0.85
"""Share of the setups that are drawn so that the reed has a chance to sound: about as open and as
stiff as suits the bore, and blown at 0.45 to 1 times what closes it."""

JUDGED_S = 1.0
"""Length of a judged run. [s]"""

LATE_S = 60.0
"""A setup that takes longer to be judged, or stepped and heard, is late. [s]"""

STRANGE = "diverged", "nan", "late", State.FAILED
"""What must come of no setup."""


class Outcome(NamedTuple):
    """What came of one setup."""

    state: State | str
    """What the judge says; 'stepped' if it was not asked, or what else came of it."""
    rises: float
    """Largest growth of the swings of p⁺ from one stretch to the next once the breath is off."""
    peak_dbtp: float


def between(dice, name):
    """Draw a legal value, evenly on a logarithmic scale where the range allows it."""
    low, high = QUANTITIES[name].edge_range
    if low > 0.0 and high / low > 5.0:
        return float(np.exp(dice.uniform(math.log(low), math.log(high))))
    return float(dice.uniform(low, high))


def draw_bore(dice, usual):
    """Draw a chain of one to four pieces with tone holes, closed, open or half open.

    A usual one is about as wide as horns are, and its holes are shut more often than open.
    """
    narrow, wide, shortest = (8.0, 25.0, 150.0) if usual else (4.0, 40.0, 15.0)
    sections, entry = [], float(np.exp(dice.uniform(math.log(narrow), math.log(wide))))
    for _ in range(dice.integers(1, 5)):
        far = entry * float(np.exp(dice.uniform(-0.1, 1.0))) if dice.random() < 0.7 else entry
        length = float(np.exp(dice.uniform(math.log(shortest), math.log(1500.0))))
        sections.append(BoreSection(length_mm=length, entry_mm=entry, exit_mm=min(far, 400.0)))
        entry = min(far, 400.0)
    plain = Bore(sections=tuple(sections))
    whole = sum(section.length for section in sections) * 1e3
    holes = []
    if whole > 60.0:
        for place in np.sort(dice.uniform(20.0, whole - 5.0, dice.integers(0, 16))):
            widest = min(0.95 * plain.diameter_at(place / 1e3) * 1e3, 60.0)
            shut = usual and dice.random() < 0.9
            share = 0.0 if shut else float(dice.choice((0.0, 1.0, dice.uniform(0.01, 1.0))))
            hole = Hole(
                position_mm=float(place),
                diameter_mm=float(dice.uniform(0.5, max(widest, 0.6))),
                chimney_mm=between(dice, "bore.holes.chimney_mm"),
                open=share,
            )
            holes.append(hole)
    end = str(dice.choice(("unflanged", "flanged", "lattice")))
    row = {}
    if end == "lattice":
        names = ("diameter_mm", "chimney_mm", "spacing_mm")
        row["lattice"] = Lattice(**{name: between(dice, f"bore.lattice.{name}") for name in names})
    late = float(dice.choice((0.0, 100.0)))
    return Bore(sections=plain.sections, holes=tuple(holes), end=end, vent_after_ms=late, **row)


def draw_place(seed):
    """Draw what a setup is blown in: air, bore, mouthpiece, tract, and the rate."""
    dice = np.random.default_rng([seed, 2])
    usual = bool(dice.random() < PLAYED)
    volume = float(dice.uniform(0.0, 20.0)) if usual else between(dice, "mouthpiece.volume_ml")
    return {
        "air": Air(temperature_c=between(dice, "air.temperature_c")),
        "bore": draw_bore(dice, usual),
        "mouthpiece": Mouthpiece(volume_ml=volume),
        "tract": Tract(
            coupling=str(dice.choice(("off", "on"))),
            returned=between(dice, "tract.returned"),
            volume_ml=between(dice, "tract.volume_ml"),
        ),
        "time": Time(rate_hz=float(dice.choice((44100.0, 48000.0, 96000.0, 192000.0)))),
    }


def draw_setup(seed, place=None):
    """Draw one legal setup, in the place of this number; by default in one of its own."""
    where = draw_place(seed if place is None else place)
    rate = where["time"].rate
    dice = np.random.default_rng(seed)
    names = ("opening_mm", "width_mm", "stiffness_kpa_per_mm", "damping", "area_mm2", "contact")
    reed = {name: between(dice, f"reed.{name}") for name in (*names, "strength", "lip")}
    reed["frequency_hz"] = float(np.exp(dice.uniform(math.log(200.0), math.log(0.05 * rate))))
    reed["dynamics"] = str(dice.choice(("mass", "mass", "massless")))
    breath = between(dice, "breath.pressure_kpa")
    if dice.random() < PLAYED:
        reed, breath = playable(dice, reed, where["bore"].diameter_at(0.0))
    return Setup(
        **where,
        reed=Reed(**reed),
        breath=Breath(pressure_kpa=breath, rise_ms=50.0),
        voice=Voice(
            source=str(dice.choice(("pulse", "sine", "off"))),
            frequency_hz=between(dice, "voice.frequency_hz"),
            depth=float(dice.uniform(0.0, 1.0)),
            rd=between(dice, "voice.rd"),
            vowel=str(dice.choice(("none", "neutral", "a", "i", "u"))),
            drive=str(dice.choice(("pressure", "flow"))),
            flow_ml_per_s=between(dice, "voice.flow_ml_per_s"),
            effort=between(dice, "voice.effort"),
        ),
    )


def draw_worst(seed, place=None):
    """Draw a legal setup whose reed meets the lay as fast and bounces as freely as it may."""
    setup = draw_setup(seed, place)
    dice, rate = np.random.default_rng([seed, 3]), setup.time.rate
    fastest = QUANTITIES["reed.frequency_hz"].edge_range[1]
    reed = {
        "dynamics": "mass",
        "frequency_hz": min(float(dice.uniform(0.03, 0.07)) * rate, fastest),
        "damping": float(dice.uniform(0.05, 0.1)),
        "contact": between(dice, "reed.contact"),
        "stiffness_kpa_per_mm": float(np.exp(dice.uniform(-0.5, 2.0))),
    }
    for name, value in reed.items():
        setup = setup.with_value(f"reed.{name}", value)
    # A coupled mouth stays full for a while, and blows a soft reed anew as it empties.
    return setup.with_value("tract.coupling", "off").with_value("breath.pressure_kpa", 20.0)


def playable(dice, reed, entry):
    """Give a reed a closing pressure that can be blown, and a width that suits the bore."""
    closes = float(np.exp(dice.uniform(math.log(500.0), math.log(15000.0))))
    held = Reed(**reed).held()
    factor = closes / (held.stiffness * held.opening)
    zeta = reed_parameter(held.width * held.opening, closes, wave_impedance(entry), AIR_DENSITY)
    wanted = {
        "stiffness_kpa_per_mm": reed["stiffness_kpa_per_mm"] * factor,
        "width_mm": reed["width_mm"] * float(dice.uniform(0.3, 0.8)) / zeta,
        "frequency_hz": max(reed["frequency_hz"], 500.0),
        "damping": float(np.exp(dice.uniform(math.log(0.05), math.log(1.0)))),
    }
    legal = {
        name: float(np.clip(value, *QUANTITIES[f"reed.{name}"].edge_range))
        for name, value in wanted.items()
    }
    breath = Reed(**{**reed, **legal}).closes_at * dice.uniform(0.45, 1.0) / 1e3
    return {**reed, **legal}, min(breath, QUANTITIES["breath.pressure_kpa"].edge_range[1])


def wave_impedance(diameter):
    """Characteristic impedance of a tube, about. [Pa s m⁻³]"""
    return AIR_DENSITY * 343.0 / (math.pi * diameter**2 / 4.0)


@contextlib.contextmanager
def patience(seconds):
    """Raise a TimeoutError in what takes longer, once compiled code comes back. [s]"""

    def late(_number, _frame):
        raise TimeoutError

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def outcomes(setups, judged=True):
    """Judge setups of one rate side by side, unless that is left out, then step and hear each.

    One that is refused, late, or that diverges has no verdict.
    """
    kept = [k for k, setup in enumerate(setups) if not refused(setup)]
    alive = [setups[k] for k in kept]
    states = verdicts(alive) if judged else ["stepped"] * len(alive)
    found = dict(zip(kept, map(outcome_in_time, alive, states), strict=True))
    return [found.get(k, Outcome("refused", 0.0, -math.inf)) for k in range(len(setups))]


def verdicts(setups):
    """Return what the judge says of setups of one rate; if all take long, each is asked alone."""
    try:
        with patience(LATE_S * len(setups)):
            one_thread = CpuLanes(threads=1)
            notes = [440.0] * len(setups)
            cells = judge_cells(setups, notes, seconds=JUDGED_S, executor=one_thread)
            return [cell.state for cell in cells]
    except TimeoutError:
        return [one for setup in setups for one in verdicts([setup])] if setups[1:] else ["late"]


def outcome_in_time(setup, state):
    """As `outcome`, of one that is not late."""
    try:
        with patience(LATE_S):
            return outcome(setup, state)
    except TimeoutError:
        return Outcome("late", 0.0, -math.inf)


def refused(setup):
    """Tell whether the program refuses a setup."""
    try:
        numbers_of(setup)
    except ModelError:
        return True
    return False


def outcome(setup, state):
    """Blow, sing, stop blowing, and listen; what the judge says of it is known."""
    rate, numbers = setup.time.rate, numbers_of(setup)
    mouth = blown(setup, SECONDS) * (1.0 + depth(setup) * sing(setup, SECONDS))
    mouth[round(OFF_AT * rate) :] = 0.0
    run = single.run(numbers, mouth)
    if burst(run) is not None:
        strange = "diverged" if np.isfinite(run.pressure).all() else "nan"
        return Outcome(strange, math.inf, -math.inf)
    window = round(STRETCH * rate)
    quiet = run.outgoing[round((OFF_AT + QUIET_AFTER) * rate) :]
    parts = quiet[: quiet.size // window * window].reshape(-1, window)
    rms = np.maximum(swings(parts), SPENT * np.sqrt(np.mean(parts[0] ** 2)) + 1e-12)
    sound = to_full_scale(radiated(setup, run.outgoing), FULL_SCALE_PA).samples
    return Outcome(
        state,
        float(np.max(rms[1:] / rms[:-1])) - 1.0,
        20.0 * math.log10(max(true_peak(sound), 1e-9)),
    )


def swings(parts):
    """Return the rms of each stretch but for its mean, which evens out slowly, up or down."""
    course = np.polynomial.legendre.legvander(np.linspace(-1.0, 1.0, parts.shape[1]), 2)
    base = np.linalg.qr(course)[0]
    return np.sqrt(np.mean((parts - (parts @ base) @ base.T) ** 2, axis=1))


class Tally:
    """What came of all so far, told and kept in a file if one is named."""

    def __init__(self, path):
        self.path, self.began = path, time.monotonic()
        self.states, self.strange, self.longest = Counter(), [], 0.0
        self.grown, self.rises, self.worst = 0, 0.0, None
        self.over, self.peak = 0, -math.inf

    def add(self, seeds, found):
        """Take in some more."""
        self.states.update(str(one.state) for one in found)
        for seed, one in zip(seeds, found, strict=True):
            if one.state in STRANGE:
                self.strange.append(seed)
            elif one.rises > self.rises:
                self.rises, self.worst = one.rises, seed
            self.grown += 0.0 < one.rises < math.inf
            self.over += one.peak_dbtp > CEILING_DBTP + 1e-9
            self.peak = max(self.peak, one.peak_dbtp)
        if self.path:
            write_whole(self.path, self.told().encode())

    def told(self):
        """Return all of it in words."""
        whole, states = (
            self.states.total(),
            ", ".join(f"{state} {count}" for state, count in self.states.most_common()),
        )
        sounding = sum(self.states[state] for state in SOUNDING)
        judged = whole - self.states["refused"] - self.states["stepped"]
        strange = ", ".join(f"{self.states[one]} {one}" for one in STRANGE)
        seconds = (time.monotonic() - self.began) / max(whole, 1)
        return (
            f"{whole} setups, {seconds:.3f} s each: {states}\n"
            f"{sounding} of {judged} judged sound ({sounding / max(judged, 1):.0%})\n"
            f"{strange}{': seeds ' if self.strange else ''}{' '.join(map(str, self.strange))}\n"
            f"{self.grown} grew once the breath was off, by {self.rises:.3g} at most "
            f"(seed {self.worst})\n"
            f"{self.over} over {CEILING_DBTP:g} dBTP; the loudest {self.peak:.3f} dBTP\n"
        )


def batch(seeds, worst):
    """Draw some setups of one place, and tell what comes of them."""
    draw = draw_worst if worst else draw_setup
    return outcomes([draw(seed, seed // ALIKE) for seed in seeds], judged=not worst)


def main(count, first, workers, path, worst):
    """Run many and tell."""
    tally, last = Tally(path), first + count
    parts = [range(start, min(start + ALIKE, last)) for start in range(first, last, ALIKE)]
    with ProcessPoolExecutor(workers, multiprocessing.get_context("spawn")) as pool:
        runs = {pool.submit(batch, part, worst): part for part in parts}
        for run in as_completed(runs):
            tally.add(runs[run], run.result())
            sys.stdout.write(f"{tally.states.total()} of {count}\n")
            sys.stdout.flush()
    sys.stdout.write(tally.told())


if __name__ == "__main__":
    words = argparse.ArgumentParser(description="Setups drawn from all that is legal.")
    words.add_argument("count", type=int, nargs="?", default=1000, help="how many are drawn")
    words.add_argument("first", type=int, nargs="?", default=0, help="number of the first one")
    words.add_argument("--worst", action="store_true", help="those that bounce hardest, not judged")
    words.add_argument("--workers", type=int, default=os.cpu_count(), help="processes")
    words.add_argument("-o", dest="path", type=Path, help="keep what is known so far in this file")
    asked = words.parse_args()
    main(asked.count, asked.first, asked.workers, asked.path, asked.worst)
