"""Recorded horns and voices, analysed: each horn note alone, then every one with every voice added.

Run `python tests/benchmarks/real_notes.py [tiny]`: notes of the Debian packages fluid-soundfont-gm
and freepats. They are only added up, so none may be locked. Pitches of the parts, found apart by
autocorrelation, stand for the truth; both notes of the sums are scored by mir_eval.multipitch.
"""

import sys
from collections import Counter
from pathlib import Path

import mir_eval
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
from made_mixtures import RATE, Held
from real_sounds import fluid, freepats

from reedbore.measures import pitch
from reedbore.notes import cents, note_name
from reedbore.sound import resample
from reedbore.verdict.recording import Found, analyse

TINY = "tiny" in sys.argv[1:]
HORNS = ("Tenor B3(L)", "Tenor A#4(L)", "Tenor G4(L)", "Baritone E4(L)", "Alto A#4(L)")
VOICES = ("solo_vox_c3", "solo_vox_c2", "Ahh Choir C4(L)")
RATIOS = ((3, 2), (5, 3), (5, 2), (8, 5))
PART = 0.2
"""Of the voice in a sum, the horn being 1."""


def fit(samples: np.ndarray, rate: float) -> np.ndarray:
    """Bring a note to `RATE`, of level 1, without its first tenth of a second."""
    thin, _ = pitch.thin(resample(samples, rate, 48000.0), 48000.0, RATE)
    return thin[round(0.1 * RATE) :] / np.std(thin)


def brought_to(voice: np.ndarray, ratio: float) -> np.ndarray:
    at = np.arange(0.0, voice.size - 1, ratio)
    return np.interp(at, np.arange(voice.size), voice)


def told(row: Found) -> str:
    sung = note_name(row.sung_hz) if row.sung_hz else f"one of {len(row.sung_class)}"
    why = f", {row.reason}" if row.reason else ""
    return f"{note_name(row.played_hz):9}{sung:10}{row.state}{why}"


def main() -> None:
    horns = {name: fit(*one) for name, one in fluid(*HORNS[: 1 if TINY else None]).items()}
    voices = {name: fit(*one) for name, one in fluid(*VOICES[: 1 if TINY else None]).items()}
    if not TINY:
        voices["freepats oohs"] = fit(*freepats("053_Voice_Oohs.pat")[0])
    print("horns alone:")
    for name, horn in horns.items():
        for row in analyse(Held(horn, None)):
            print(f"  {name:18}{told(row)}")
    states, true, found = Counter(), [], []
    for horn in horns.values():
        played = pitch.fundamental(horn, RATE, 50.0, 1000.0).hz
        for voice in voices.values():
            sung = pitch.fundamental(voice, RATE, 60.0, 1000.0).hz
            for p, q in RATIOS[: 1 if TINY else None]:
                fast = brought_to(voice, played * p / q / sung)
                n = min(horn.size, fast.size)
                rows = analyse(Held(horn[:n] + PART * fast[:n], fast[:n]))
                states.update(str(row.state) for row in rows)
                row = max(rows, key=lambda one: one.end_s - one.begin_s, default=None)
                both = [hz for hz in (row.played_hz, row.sung_hz) if hz] if row else []
                true.append(np.array([played, played * p / q]))
                found.append(np.array(both))
    print(f"horns and voices added up, {len(true)} sums: {dict(states)}")
    times = np.arange(len(true), dtype=float)
    scores = mir_eval.multipitch.evaluate(times, true, times, found)
    off = [abs(cents(a[0], b[0])) for a, b in zip(found, true, strict=True) if a.size]
    print(
        f"  precision {scores['Precision']:.3f}, recall {scores['Recall']:.3f}; played within "
        f"{np.median(off):.1f} c as a rule"
    )


if __name__ == "__main__":
    main()
