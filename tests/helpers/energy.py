"""What reed, lay and bore hold while a setup sounds and after its breath is off.

Energies of the step itself: of central differences with averaged stiffness they belong half-way
between two steps, and without a lay reed and pressure then trade them exactly.
"""

import math
from typing import NamedTuple

import extremes
import naive
import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from reedbore.kernel import rows, single
from reedbore.simulate.acoustics.bore import gas_of
from reedbore.simulate.acoustics.numbers import numbers_of
from reedbore.simulate.tuning import blown

Reals = NDArray[np.float64]

SECONDS, OFF_AT = 0.75, 0.25
"""A run, and when its breath ends. [s]"""

REMEMBERED_S = 0.4
"""After so long nothing comes back from a bore. [s]"""


class Energies(NamedTuple):
    """What a run holds, half-way after each step but the first; each array of shape (n,)."""

    off: int
    """The first without breath."""
    reed: Reals
    """Of its swing and its bend. [J]"""
    lay: Reals
    """What the curled reed has pressed into it. [J]"""
    given: Reals
    """What the bore has been given by the reed, its losses not taken off. [J]"""
    wave: Reals
    """What goes out into the bore, as a wave in a tube as wide as its entry. [Pa]"""
    opening: Reals
    """After each step. [m]"""

    @property
    def account(self) -> Reals:
        """All of it [J]: without breath only the valve and the reed's damping take from it."""
        return self.reed + self.lay + self.given


def run(setup, *, lay_damps_more=True, seconds=SECONDS):
    """Blow a setup, stop, and return its energies; None if it diverges.

    Without `lay_damps_more` the lay damps only as much as the reed does.
    """
    numbers, rate = numbers_of(setup), setup.time.rate
    numbers.table[rows.LAY_DAMPED] *= lay_damps_more
    mouth = blown(setup, seconds)
    mouth[round(OFF_AT * rate) :] = 0.0
    traces = single.run(numbers, mouth)
    if not np.abs(traces.pressure).max() < rows.BURST_PA:
        return None
    return of(setup, traces)


def of(setup, traces):
    """Return the energies of a run of a reed with mass."""
    reed, rate, gas = setup.reed.held(), setup.time.rate, gas_of(setup)
    swing, rest, opening = 2.0 * math.pi * reed.frequency, reed.opening, traces.opening
    stiffness = reed.area * reed.stiffness  # of the whole reed [N/m]
    middle, speed = 0.5 * (opening[2:] + opening[1:-1]), np.diff(opening)[1:] * rate
    held = stiffness * 0.5 * ((speed / swing) ** 2 + (middle - rest) ** 2)
    lay = stiffness * reed.contact * np.maximum(-middle, 0.0) ** 3 / (3.0 * rest)
    drop = traces.mouth - traces.pressure
    slit = reed.width * np.maximum(opening, 0.0)
    jet = slit * np.sqrt(2.0 * np.abs(drop) / gas.density) * np.sign(drop)
    flow = jet[1:-1] - reed.area * (opening[2:] - opening[:-2]) * 0.5 * rate
    pressure = traces.pressure[1:-1]
    given = np.cumsum(pressure * flow) / rate
    wave = 0.5 * (pressure + entry_impedance(setup) * flow)
    return Energies(round(OFF_AT * rate), held, lay, given, wave, opening[2:])


def entry_impedance(setup):
    """Return ρc/S of the bore's entry. [Pa s m⁻³]"""
    gas, width = gas_of(setup), setup.bore.diameter_at(0.0)
    return gas.density * gas.sound_speed / (math.pi * width**2 / 4.0)


def in_bore(setup, found, steps):
    """Return what still comes back from the bore at some steps, if nothing more goes in. [J]"""
    rate = setup.time.rate
    pulse, impedance = naive.reflected_pulse(setup, rate, REMEMBERED_S)
    size = next_fast_len(2 * pulse.size, real=True)
    answer = rfft(pulse, size)
    held = []
    for step in steps:
        past = np.zeros(pulse.size)
        sent = found.wave[max(step + 1 - pulse.size, 0) : step + 1]
        past[pulse.size - sent.size :] = sent
        back = irfft(rfft(past, size) * answer, size)[pulse.size : 2 * pulse.size - 1]
        held.append(float(np.sum(back**2)) / impedance / rate)
    return np.array(held)


def gained(found):
    """Return by how much the account rises, at most, over what it once was, from flight to flight.

    Where the reed is farthest from the lay and off it; in parts of what there was when the breath
    ended. Within a bounce it may rise: the lay grips a step late.
    """
    account, opening, lay = (one[found.off :] for one in (found.account, found.opening, found.lay))
    flying = (opening[1:-1] >= opening[:-2]) & (opening[1:-1] > opening[2:]) & (lay[1:-1] == 0.0)
    told = np.append(account[0], account[1:-1][flying])
    return float(np.max(told - np.minimum.accumulate(told)) / account[0])


def bouncing(seed, contact=None):
    """Return one of `extremes.draw_worst`, its holes still; None if it is refused or massless."""
    setup = extremes.draw_worst(seed, seed // extremes.ALIKE).with_value("bore.vent_after_ms", 0.0)
    setup = setup.with_value("voice.source", "off")
    if contact is not None:
        setup = setup.with_value("reed.contact", contact)
    return None if extremes.refused(setup) else setup
