"""Bands a third of an octave wide, beside the table of IEC 61260-1:2014 and sums by hand."""

import numpy as np
import pytest

from reedbore.measures import bands

# Nominal middles of IEC 61260-1:2014, Annex E (from memory); exact ones are within 2.5 % of them.
NOMINAL = (*(100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000), *(1250, 1600, 2000, 2500))


def test_middles_are_those_of_the_standard() -> None:
    amplitude = np.ones(26)
    found = bands.thirds(amplitude, 100.0)
    assert found.hz == pytest.approx([n for n in NOMINAL if n not in (125, 160, 250)], rel=0.025)


def test_energies_add_up_and_nothing_is_lost() -> None:
    dice = np.random.default_rng(1)
    amplitude = dice.uniform(0.1, 1.0, 30)
    found = bands.thirds(amplitude, 131.0)
    assert np.sum(10.0 ** (found.level_db / 10.0)) == pytest.approx(np.sum(amplitude**2))
    one = bands.thirds(np.array([0.5]), 440.0)
    assert one.level_db == pytest.approx([20.0 * np.log10(0.5)])


def test_partials_of_a_note_that_sways_before_two_microphones() -> None:
    t = np.arange(48000) / 48000.0
    cycles = 155.0 * t + 0.1 * np.sin(2.0 * np.pi * 1.5 * t)  # 10 cents either way
    wanted = np.array([1.0, 0.1, 0.5, 0.02])
    tone = sum(a * np.sin(2.0 * np.pi * (k + 1) * cycles) for k, a in enumerate(wanted))
    found = bands.partials([tone, 0.01 * tone], 48000.0, 155.0, 5)
    assert found[:4] / found[0] == pytest.approx(wanted, rel=0.03)
    assert found[4] < 0.002 * found[0]


def test_a_note_of_32_periods_is_long_enough() -> None:
    turns = 100.0 * np.arange(15360) / 48000.0
    tone = np.sin(2.0 * np.pi * turns) + 0.5 * np.sin(4.0 * np.pi * turns)
    found = bands.partials([tone], 48000.0, 100.0, 2)
    assert found == pytest.approx(np.array([1.0, 0.5]) / np.sqrt(0.625), rel=1e-3)


def test_silence_has_no_partials() -> None:
    assert not bands.partials([np.zeros(24000)], 48000.0, 155.0, 5).any()
