"""Setups drawn from all that is legal, and what must be true of each; for a test and a benchmark.

Also a script: ``python tests/helpers/extremes.py 10000`` runs so many and tells what came of them.
"""

import math
import sys
from collections import Counter
from typing import NamedTuple

import numpy as np

from reedbore.errors import ModelError
from reedbore.kernel import single
from reedbore.model.bore import Bore, BoreSection, Hole, Lattice
from reedbore.model.setup import Air, Breath, Mouthpiece, Reed, Setup, Time
from reedbore.model.units import QUANTITIES
from reedbore.model.voice import Tract, Voice
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.mouth import depth
from reedbore.simulate.outside import FULL_SCALE_PA, radiated
from reedbore.simulate.take import burst, sing
from reedbore.simulate.tuning import blown
from reedbore.sound import to_full_scale, true_peak

SECONDS, OFF_AT, QUIET_AFTER = 1.3, 0.25, 0.05

STRETCH = 0.25
"""Within this time modes may trade what they have; over longer times the sum only falls. [s]"""

SPENT = 0.03
"""Below this share of where it began, what is left is the mean pressure that evens out."""


class Outcome(NamedTuple):
    """What came of one setup."""

    state: str
    """'sounded', 'silent', 'failed' (diverged) or 'refused'."""
    rises: float
    """Largest growth of the rms of p⁺ from one stretch to the next once the breath is off."""
    peak_dbtp: float


def between(dice, name):
    """Draw a legal value, evenly on a logarithmic scale where the range allows it."""
    low, high = QUANTITIES[name].edge_range
    if low > 0.0 and high / low > 5.0:
        return float(np.exp(dice.uniform(math.log(low), math.log(high))))
    return float(dice.uniform(low, high))


def draw_bore(dice):
    """Draw a chain of one to four pieces with tone holes, closed, open or half open."""
    sections, entry = [], float(np.exp(dice.uniform(math.log(4.0), math.log(40.0))))
    for _ in range(dice.integers(1, 5)):
        far = entry * float(np.exp(dice.uniform(-0.1, 1.0))) if dice.random() < 0.7 else entry
        length = float(np.exp(dice.uniform(math.log(15.0), math.log(1500.0))))
        sections.append(BoreSection(length_mm=length, entry_mm=entry, exit_mm=min(far, 400.0)))
        entry = min(far, 400.0)
    plain = Bore(sections=tuple(sections))
    whole = sum(section.length for section in sections) * 1e3
    holes = []
    if whole > 60.0:
        for place in np.sort(dice.uniform(20.0, whole - 5.0, dice.integers(0, 16))):
            widest = min(0.95 * plain.diameter_at(place / 1e3) * 1e3, 60.0)
            share = float(dice.choice((0.0, 1.0, dice.uniform(0.01, 1.0))))
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


def draw_setup(seed):
    """Draw one legal setup."""
    dice = np.random.default_rng(seed)
    rate = float(dice.choice((44100.0, 48000.0, 96000.0, 192000.0)))
    names = ("opening_mm", "width_mm", "stiffness_kpa_per_mm", "damping", "area_mm2", "contact")
    reed = {name: between(dice, f"reed.{name}") for name in (*names, "strength", "lip")}
    reed["frequency_hz"] = float(np.exp(dice.uniform(math.log(200.0), math.log(0.05 * rate))))
    reed["dynamics"] = str(dice.choice(("mass", "mass", "massless")))
    lungs = np.random.default_rng([seed, 1])
    return Setup(
        air=Air(temperature_c=between(dice, "air.temperature_c")),
        bore=draw_bore(dice),
        mouthpiece=Mouthpiece(volume_ml=between(dice, "mouthpiece.volume_ml")),
        reed=Reed(**reed),
        breath=Breath(pressure_kpa=between(dice, "breath.pressure_kpa"), rise_ms=50.0),
        voice=Voice(
            source=str(dice.choice(("pulse", "sine", "off"))),
            frequency_hz=between(dice, "voice.frequency_hz"),
            depth=float(dice.uniform(0.0, 1.0)),
            rd=between(dice, "voice.rd"),
            vowel=str(lungs.choice(("none", "neutral", "a", "i", "u"))),
            drive=str(lungs.choice(("pressure", "flow"))),
            flow_ml_per_s=between(lungs, "voice.flow_ml_per_s"),
            effort=between(lungs, "voice.effort"),
        ),
        tract=Tract(
            coupling=str(lungs.choice(("off", "on"))),
            returned=between(lungs, "tract.returned"),
            volume_ml=between(lungs, "tract.volume_ml"),
        ),
        time=Time(rate_hz=rate),
    )


def outcome(setup):
    """Blow, sing, stop blowing, and look."""
    rate = setup.time.rate
    try:
        numbers = numbers_of(setup)
    except ModelError:
        return Outcome("refused", 0.0, -math.inf)
    mouth = blown(setup, SECONDS) * (1.0 + depth(setup) * sing(setup, SECONDS))
    mouth[round(OFF_AT * rate) :] = 0.0
    run = single.run(numbers, mouth)
    if burst(run) is not None or not np.isfinite(run.pressure).all():
        return Outcome("failed", math.inf, -math.inf)
    window = round(STRETCH * rate)
    quiet = run.outgoing[round((OFF_AT + QUIET_AFTER) * rate) :]
    parts = quiet[: quiet.size // window * window].reshape(-1, window)
    rms = np.sqrt(np.mean(parts**2, axis=1))
    floor = SPENT * rms[0] + 1e-12
    # The mean pressure goes to and fro, slowly, between a bore and coupled lungs.
    swing = np.std(parts, axis=1) if setup.tract.coupling == "on" else rms
    rms = np.maximum(swing, floor)
    blowing = np.ptp(run.pressure[round(0.1 * rate) : round(OFF_AT * rate)])
    sound = to_full_scale(radiated(setup, run.outgoing), FULL_SCALE_PA).samples
    state = "sounded" if blowing > 0.05 * max(setup.breath.pressure, 1.0) else "silent"
    return Outcome(
        state,
        float(np.max(rms[1:] / rms[:-1])) - 1.0,
        20.0 * math.log10(max(true_peak(sound), 1e-9)),
    )


def main(count):
    """Run many and tell."""
    states, rises, loudest, worst = Counter(), 0.0, -math.inf, None
    for seed in range(count):
        found = outcome(draw_setup(seed))
        states[found.state] += 1
        loudest = max(loudest, found.peak_dbtp)
        if found.rises > rises:
            rises, worst = found.rises, seed
        if seed % 1000 == 999:
            sys.stdout.write(f"{seed + 1}: {dict(states)}, rise {rises:.3g}\n")
            sys.stdout.flush()
    sys.stdout.write(f"{count} setups: {dict(states)}\n")
    sys.stdout.write(f"largest rise after the breath is off: {rises:.3g} (seed {worst})\n")
    sys.stdout.write(f"loudest: {loudest:.2f} dBTP\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
