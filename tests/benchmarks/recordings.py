"""How often a recording is told right: over length, noise, room and bleed of the horn.

Run `.ci/run bench` or `python tests/benchmarks/recordings.py [tiny] [named] [COUNT [SEED]]`: pieces
of takes whose truth comes from the phases inside each piece (`tests/helpers/recordings.py`). Clock,
human and folds' voices; five ratios and odd pairs on three horns; takes that leave their register
are left out. With `named` the horn alone, and its player's voice: the sung note by rendering each
member of its class, some seconds a piece.
"""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import mir_eval
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
from made_mixtures import Held
from recordings import RATE, Case, Piece, Source, Truth, cut, recorded, source

from reedbore.measures import pitch
from reedbore.model.presets import load_horn
from reedbore.notes import cents, choose_ratio
from reedbore.verdict.recording import Found, Known, analyse
from reedbore.verdict.state import State

TINY = "tiny" in sys.argv[1:]
NAMED = "named" in sys.argv[1:]
NUMBERS = [int(word) for word in sys.argv[1:] if word.isdigit()]
COUNT = NUMBERS[0] if NUMBERS else 4 if TINY else 60 if NAMED else 480
SEED = NUMBERS[1] if NUMBERS[1:] else 20

HORNS = (("tenor-saxophone", 116.54), ("alto-saxophone", 155.563), ("clarinet-b-flat", 174.614))
PAIRS = (
    *(((3, 2), 3.0), ((5, 2), -4.0), ((5, 3), 2.0), ((4, 3), -2.0), ((2, 1), 3.0)),
    *(((3, 2), 55.0), ((5, 3), -60.0), ((7, 3), 45.0), ((3, 2), -40.0), ((5, 2), 0.0)),
)
DEPTHS, VOICES = (0.05, 0.1, 0.2), ("clock", "human", "folds")

SECONDS = (0.2, 0.5, 1.0, 2.0)
NOISES = (0.0, 10.0, 20.0, 30.0)
ROOMS = (0.0, 0.6, 1.5)
BLEEDS = (None, -20.0, -10.0, 0.0)
JUMPED_CENTS = 40.0


class Told(NamedTuple):
    """A piece, its truth, and what was said of it with and without the throat."""

    case: Case
    seconds: float
    noise: float
    room: float
    bleed: float | None
    truth: Truth
    with_throat: Found | None
    alone: Found | None


def cases() -> list[Case]:
    found, seed = [], 0
    for row, (horn, played) in enumerate(HORNS[:1] if TINY else HORNS):
        for place, (ratio, off) in enumerate(PAIRS[:2] if TINY else PAIRS):
            voice = VOICES[0] if TINY else VOICES[(place + row) % 3]
            depth = DEPTHS[(place + row) % 3]
            found.append(Case(horn, played, ratio, off, depth, voice, seed))
            seed += 1
    return found


def takes() -> Iterator[tuple[Case, Source]]:
    for case in cases():
        take = source(case)
        truth = cut(case, 2.0, 1.0, take).truth
        if abs(cents(truth.played, case.played)) < JUMPED_CENTS:
            yield case, take


def longest(rows: tuple[Found, ...]) -> Found | None:
    return max(rows, key=lambda row: row.end_s - row.begin_s, default=None)


def judged(piece: Piece, case: Case, noise: float, room: float, bleed: float | None, seed: int):
    microphones = recorded(piece, noise_db=noise, reverberation=room, bleed_db=bleed, seed=seed)
    horn, throat = (pitch.thin(one, RATE)[0] for one in microphones)
    rate = pitch.thin(microphones[0], RATE)[1]
    return [longest(analyse(Held(horn, one, rate))) for one in (throat, None)]


def trials() -> Iterator[Told]:
    dice, known = np.random.default_rng(SEED), list(takes())
    for number in range(COUNT):
        case, take = known[number % len(known)]
        seconds, noise, room = (dice.choice(each) for each in (SECONDS, NOISES, ROOMS))
        bleed = BLEEDS[int(dice.integers(len(BLEEDS)))]
        piece = cut(case, 1.0 + dice.uniform(0.0, 4.0 - seconds), float(seconds), take)
        if abs(cents(piece.truth.played, case.played)) > JUMPED_CENTS:
            continue
        both = judged(piece, case, float(noise), float(room), bleed, number)
        yield Told(case, float(seconds), float(noise), float(room), bleed, piece.truth, *both)


def true_ratio(one: Told) -> tuple[int, int] | None:
    return choose_ratio(one.truth.sung / one.truth.played, 20.0, 8)


def throat_line(name: str, some: list[Told]) -> None:
    told = [one for one in some if one.with_throat and one.with_throat.sung_hz]
    off = [abs(cents(one.with_throat.sung_hz, one.truth.sung)) for one in told]
    right = [one.with_throat.ratio == true_ratio(one) for one in told]
    fast = [one for one in some if abs(one.truth.drift) > 0.5 / one.seconds and one.with_throat]
    locked = [one for one in fast if one.with_throat.state == State.LOCKED]
    drifts = [
        abs(one.with_throat.drift_hz - one.truth.drift)
        for one in told
        if one.with_throat.drift_hz is not None and one.with_throat.ratio == one.case.ratio
    ]
    if not off:
        return
    print(
        f"  {name:26} {len(some):4} told {len(told) / len(some):4.0%}  sung {np.median(off):5.2f} "
        f"{np.quantile(off, 0.95):7.2f} c  ratio {np.mean(right):4.0%}  drift "
        f"{np.quantile(drifts or [np.nan], 0.95):5.2f} Hz  false locks {len(locked)}/{len(fast)}"
    )


def covered(name: str, some: list[tuple[float, float]]) -> None:
    """Tell how often an error lies within what was told, which claims 95 %; and both medians."""
    off, within = np.array(some).reshape(-1, 2).T
    if off.size:
        print(
            f"  {name:26} {off.size:4} within {np.mean(off <= within):4.0%}  told "
            f"{np.median(within):.3f}, off {np.median(off):.3f}"
        )


def coverage(some: list[Told]) -> None:
    """Whether the truth lies where `within` says, of both microphones and of the horn alone."""
    both, alone = (
        [o for o in some if row(o)] for row in (lambda o: o.with_throat, lambda o: o.alone)
    )
    for name, rows in (
        ("throat", [(o.with_throat, o) for o in both]),
        ("alone", [(o.alone, o) for o in alone]),
    ):
        covered(
            f"{name}: played [cents]",
            [(abs(cents(row.played_hz, o.truth.played)), row.played_within) for row, o in rows],
        )
        covered(
            f"{name}: drift [Hz]",
            [
                (abs(abs(row.drift_hz) - abs(o.truth.drift)), row.drift_within)
                for row, o in rows
                if row.drift_hz is not None and row.common_hz and same_ratio(row, o)
            ],
        )
    covered(
        "throat: sung [cents]",
        [
            (abs(cents(o.with_throat.sung_hz, o.truth.sung)), o.with_throat.sung_within)
            for o in both
            if o.with_throat.sung_hz
        ],
    )
    covered(
        "alone: class [Hz]",
        [
            (min(abs(hz - o.truth.sung) for hz in o.alone.sung_class), o.alone.class_within)
            for o in alone
            if o.alone.sung_class and o.case.ratio[1] > 1
        ],
    )


def same_ratio(row: Found, one: Told) -> bool:
    """Whether the drift told is at the ratio of the case, as the true one is."""
    return row.ratio == one.case.ratio if row.ratio else row.q == one.case.ratio[1] > 1


def multipitch(some: list[Told]) -> None:
    """Score both notes as a published library does, half a semitone being right."""
    times = np.arange(len(some), dtype=float)
    true = [np.array([one.truth.played, one.truth.sung]) for one in some]
    for name, rows in (
        ("throat", [one.with_throat for one in some]),
        ("horn alone", [one.alone for one in some]),
    ):
        found = [
            np.array([hz for hz in (row.played_hz, row.sung_hz) if hz] if row else [])
            for row in rows
        ]
        scores = mir_eval.multipitch.evaluate(times, true, times, found)
        print(f"  {name:26} precision {scores['Precision']:.3f} recall {scores['Recall']:.3f}")


def alone_line(name: str, some: list[Told]) -> None:
    played = [
        one for one in some if one.alone and abs(cents(one.alone.played_hz, one.truth.played)) < 30
    ]
    told = [one for one in some if one.alone and one.alone.sung_class]
    right = [min(abs(hz - one.truth.sung) for hz in one.alone.sung_class) < 1.0 for one in told]
    named = [one for one in some if one.alone and one.alone.sung_hz is not None]
    good = [abs(cents(one.alone.sung_hz, one.truth.sung)) < 30 for one in named]
    if not some:
        return
    print(
        f"  {name:26} {len(some):4} played {len(played) / len(some):4.0%}  class told "
        f"{len(told) / len(some):4.0%}, right {np.mean(right or [np.nan]):4.0%}  "
        f"named {len(named)}, right {np.mean(good or [np.nan]):4.0%}"
    )


def named() -> None:
    """Name the sung note from the horn alone, of pieces of a second at 30 dB in a room of 0.6 s."""
    dice, known = np.random.default_rng(SEED), [each for each in takes() if each[0].ratio[1] > 1]
    told = []
    for number in range(COUNT):
        case, take = known[number % len(known)]
        piece = cut(case, 1.0 + dice.uniform(0.0, 3.0), 1.0, take)
        horn, _ = recorded(piece, noise_db=30.0, reverberation=0.6, bleed_db=None, seed=number)
        thin, rate = pitch.thin(horn, RATE)
        reach = piece.truth.sung / 2.0, 1.5 * piece.truth.sung
        knows = Known(reach=reach, instrument=load_horn(case.horn))
        row = longest(analyse(Held(thin, None, rate), knows))
        if row is None or row.margin_db is None:
            continue
        sung = row.sung_hz
        right = sung is not None and abs(cents(sung, piece.truth.sung)) < 30.0
        told.append((row.margin_db, sung is not None, right))
        print(
            f"  {case.horn:18}{case.ratio[0]}/{case.ratio[1]} {case.off:+4.0f} c {case.voice:6}"
            f"of {len(row.sung_class)}, margin {row.margin_db:4.1f} dB  "
            f"{'right' if right else 'wrong' if sung else 'cannot tell'}",
            flush=True,
        )
    said = [right for _, named, right in told if named]
    print(f"  named {len(said)} of {len(told)} compared, right {np.mean(said or [np.nan]):.0%}")


def main() -> None:
    print(f"seed {SEED}, {COUNT} pieces drawn")
    if NAMED:
        named()
        return
    told = list(trials())
    print(f"{len(told)} pieces kept; sung: median and 95 % of the error")
    print("with a throat microphone, by bleed (0.5 s and longer, 20 dB and cleaner):")
    clean = [one for one in told if one.seconds >= 0.5 and one.noise >= 20.0]
    for bleed in BLEEDS:
        throat_line(f"bleed {bleed}", [one for one in clean if one.bleed == bleed])
    throat_line(
        "bleed -20 and less, q > 1",
        [one for one in clean if one.bleed in (None, -20.0) and one.case.ratio[1] > 1],
    )
    print("by noise (0.5 s and longer, bleed -20 dB and less):")
    quiet = [one for one in told if one.bleed in (None, -20.0)]
    for noise in NOISES:
        throat_line(f"{noise:g} dB", [o for o in quiet if o.noise == noise and o.seconds >= 0.5])
    print("by length (20 dB and cleaner, bleed -20 dB and less):")
    for seconds in SECONDS:
        throat_line(f"{seconds:g} s", [o for o in quiet if o.seconds == seconds and o.noise >= 20])
    print("by room (0.5 s and longer, 20 dB and cleaner, any bleed):")
    for room in ROOMS:
        throat_line(f"RT {room:g} s", [one for one in clean if one.room == room])
    print("both notes by mir_eval.multipitch (0.5 s, 20 dB, bleed -20 dB, or better):")
    multipitch([one for one in clean if one.bleed in (None, -20.0)] or told)
    print("from the horn alone, q > 1:")
    sung = [one for one in told if one.case.ratio[1] > 1]
    for noise in NOISES:
        alone_line(
            f"{noise:g} dB, 0.5 s and longer",
            [o for o in sung if o.noise == noise and o.seconds >= 0.5],
        )
    for seconds in SECONDS:
        alone_line(
            f"{seconds:g} s, 20 dB and cleaner",
            [o for o in sung if o.seconds == seconds and o.noise >= 20],
        )
    print("how often the truth lies within what is told, which should be 95 %:")
    coverage(told)
    for voice in VOICES:
        print(f"  {voice}:")
        coverage([one for one in told if one.case.voice == voice])
    print("from the horn alone, q = 1 (never named):")
    alone_line("all", [one for one in told if one.case.ratio[1] == 1])
    every = [one.alone for one in told if one.alone and abs(one.truth.drift) > 0.5 / one.seconds]
    false = sum(one.state == State.LOCKED for one in every)
    print(f"  false locks from the horn alone: {false}/{len(every)}")


if __name__ == "__main__":
    main()
