"""How near a horn comes to recorded notes when its player is fitted to them, and to its own sound.

Run `python tests/benchmarks/fits.py [tiny]`: twelve notes of the Debian package fluid-soundfont-gm,
both channels of each; then notes of our own, whose player is known. A note is fitted where no more
than `fit.REFUSED_DB` is left. Seconds are those of one core.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
from real_sounds import fluid

from reedbore.measures import pitch, two_notes
from reedbore.model.presets import load_horn
from reedbore.notes import cents, note_name
from reedbore.simulate.outside import SOUND_RATE
from reedbore.simulate.take import render
from reedbore.simulate.tuning import tune
from reedbore.sound import resample
from reedbore.verdict.fit import SAID, fit

TINY = "tiny" in sys.argv[1:]
RECORDED = (
    *(("tenor-saxophone", f"Tenor {name}") for name in ("B3", "C#4", "D#4", "E4", "G4", "A#4")),
    *(("alto-saxophone", "Alto E4"), ("alto-saxophone", "Alto A#4")),
    *(("baritone-saxophone", "Baritone E3"), ("soprano-saxophone", "Soprano A#4")),
    *(("clarinet-b-flat", "Clarinet E4"), ("clarinet-b-flat", "Clarinet G#4")),
)
OWN = (("tenor-saxophone", 116.54), ("alto-saxophone", 220.0), ("clarinet-b-flat", 174.614))
PLAYERS = (
    {"reed.opening_mm": 0.8, "reed.strength": 0.0, "reed.damping": 1.0, "breath.pressure_kpa": 0.8},
    {"reed.opening_mm": 1.1, "reed.strength": 0.5, "reed.damping": 0.7, "breath.pressure_kpa": 1.2},
)
"""Of our own: factors of opening, damping and breath, and what is added to the strength."""


def recorded(name: str) -> tuple[list[np.ndarray], float]:
    """Both channels at 48 kHz, without the start, and what is played [Hz]."""
    sides = [fluid(f"{name}({side})")[f"{name}({side})"] for side in "LR"]
    channels = [resample(samples, rate, 48000.0)[4800:52800] for samples, rate in sides]
    thin, rate = pitch.thin(sum(channels), 48000.0)
    note = two_notes.played(thin[: thin.size // 96 * 96], rate)
    return channels, pitch.refine(thin, rate, note.hz)


def line(title: str, sounds: list[np.ndarray], rate: float, hz: float, horn: str) -> bool:
    begin = time.process_time()
    found = fit(sounds, rate, hz, load_horn(horn))
    took = time.process_time() - begin
    told = "  ".join(f"{one.value:6.2f}" for one in found.settings)
    told += f"  {found.slope:+.1f}"
    verdict = "" if found.fits else f"refused: {found.left.feature}"
    print(
        f"  {title:24}{note_name(hz):9}{found.preset_db:6.1f}{found.rest_db:6.1f} dB  {told}  "
        f"{took:4.1f} s  {verdict}",
        flush=True,
    )
    return found.fits


def own(horn: str, hz: float, player: dict[str, float]) -> None:
    setup = tune(load_horn(horn), hz)
    for name, by in player.items():
        value = setup.value(name)
        setup = setup.with_value(name, value + by if name == "reed.strength" else value * by)
    sound = render(setup, 1.5).sound[-round(0.6 * SOUND_RATE) :]
    thin, rate = pitch.thin(sound, SOUND_RATE)
    played = pitch.refine(thin, rate, two_notes.played(thin, rate).hz)
    found = fit([sound], SOUND_RATE, played, load_horn(horn))
    off = [
        one.value - setup.value(one.name)
        if one.name == "reed.strength"
        else 100.0 * (one.value / setup.value(one.name) - 1.0)
        for one in found.settings
    ]
    inside = sum(one.low <= setup.value(one.name) <= one.high for one in found.settings)
    print(
        f"  {horn:24}{note_name(hz):9}{found.preset_db:6.1f}{found.rest_db:6.2f} dB  "
        f"off {off[0]:+5.1f} % {off[1]:+5.1f} % {off[2]:+5.2f} {off[3]:+5.1f} %  plays "
        f"{cents(played, hz):+.0f} c  {inside} of 4 in range",
        flush=True,
    )


def main() -> None:
    print(f"{'':35}preset  left      {'  '.join(name.split('.')[1][:6] for name in SAID)}  dB/oct")
    print("recorded notes:")
    some = RECORDED[:1] if TINY else RECORDED
    fits = [line(name, *_placed(name), horn) for horn, name in some]
    print(f"  fitted: {sum(fits)} of {len(fits)}")
    print("our own, with another player:")
    for horn, hz in OWN[:1] if TINY else OWN:
        for player in PLAYERS[:1] if TINY else PLAYERS:
            own(horn, hz, player)


def _placed(name: str) -> tuple[list[np.ndarray], float, float]:
    channels, hz = recorded(name)
    return channels, 48000.0, hz


if __name__ == "__main__":
    main()
