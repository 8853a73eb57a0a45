"""Voices for tests: made, and looked at."""

import numpy as np

from reedbore.model.setup import Setup

RATE = 96000.0

ALL = {
    "jitter": 0.01,
    "shimmer_db": 0.4,
    "vibrato_cents": 40.0,
    "wander_cents": 10.0,
    "scoop_cents": 200.0,
    "noise": 0.2,
    "false_folds": 2.0,
    "vowel": "i",
}


def voiced(setup: Setup, hz: float = 200.0, **values: float | str) -> Setup:
    voice = {"source": "sine", "frequency_hz": hz, "fade_ms": 5.0} | values
    for name, value in voice.items():
        setup = setup.with_value(f"voice.{name}", value)
    return setup


def cycles(wave):
    """Times [s] at which a sine voice rises through zero."""
    ups = np.flatnonzero((wave[:-1] < 0.0) & (wave[1:] >= 0.0))
    return (ups - wave[ups] / (wave[ups + 1] - wave[ups])) / RATE


def bent(wave, hz):
    """Times [s] and pitch [cents from hz], a value a period, of a sine voice."""
    at = cycles(wave)
    return 0.5 * (at[1:] + at[:-1]), -1200.0 * np.log2(np.diff(at) * hz)


def successive(values):
    return float(np.mean(np.abs(np.diff(values))))


def levels(wave, *hz):
    """Amplitudes of lines in the last second."""
    spectrum = np.abs(np.fft.rfft(wave[-round(RATE) :])) * 2.0 / RATE
    return spectrum[np.rint(hz).astype(int)]


def decibels(ratio):
    return 20.0 * np.log10(ratio)
