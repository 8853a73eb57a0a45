"""Slow rivals of the time step, written from the published equations, and tables made by hand."""

import math

import numpy as np
from scipy.optimize import brentq

from reedbore.kernel import rows
from reedbore.kernel.numbers import Numbers, Taps
from reedbore.simulate.acoustics import bore
from reedbore.simulate.acoustics.numbers import lay_damped


def numbers(table, trip, opening, valve, rate):
    """A table made by hand as numbers: whole steps of delay, no early echoes, no vent."""
    taps = Taps(trip, np.array((1.0, 0.0, 0.0, 0.0)))
    none, nowhere = np.zeros(0), np.zeros(0, np.int64)
    return Numbers(table, 0, taps, None, none, nowhere, 0, opening, valve, False, rate)


def plain_tube(trip, returned, zeta):
    """A massless reed on a tube that returns a fixed share of every wave, `trip` steps later.

    Pressures are in units of the closing pressure, flow in those of that over Z_c.
    """
    table = np.zeros(rows.NUMBERS)
    table[[rows.CLOSING, rows.REST, rows.CONDUCTANCE]] = 1.0
    table[rows.SLIT] = zeta
    table[rows.WAVE] = 2.0
    table[rows.DIRECT] = -returned
    return numbers(table, trip, 1.0, "massless", 1.0)


def lone_reed(frequency, damping, rate, start, rest=1e-3, stiffness=1e7, contact=100.0):
    """A reed over a shut channel, held at the opening `start` [m] and let go: no air moves it."""
    swing = 2.0 * math.pi * frequency / rate
    table = np.zeros(rows.NUMBERS)
    table[rows.STIFF] = swing**2 / 4.0
    table[rows.DAMPED] = damping * swing / 2.0
    table[rows.REST] = rest
    table[rows.GIVE] = swing**2 / stiffness
    table[rows.CONTACT] = contact / rest
    table[rows.LAY_DAMPED] = lay_damped(damping, swing)
    table[rows.CONDUCTANCE] = 1.0
    table[rows.WAVE] = 2.0
    return numbers(table, 3, start, "mass", rate)


def outgoing_waves(mouth, trip, returned, zeta):
    """Outgoing wave of the same tube, sample by sample, the flow law solved by halving.

    T. A. Wilson and G. S. Beavers, J. Acoust. Soc. Am. 56, 653 (1974): u = ζ (1 - X) √|X| sgn X;
    M. E. McIntyre, R. T. Schumacher and J. Woodhouse, J. Acoust. Soc. Am. 74, 1325 (1983):
    u = p⁺ - p⁻ with p = p⁺ + p⁻, and p⁻ is the wave that left one trip ago, reflected.
    """
    outgoing = np.zeros(mouth.size)
    for n, blown in enumerate(mouth):
        arriving = -returned * outgoing[n - trip] if n >= trip else 0.0
        low, high = -10.0, 10.0
        while high - low > 1e-13:
            drop = 0.5 * (low + high)
            flow = math.copysign(zeta * max(1.0 - drop, 0.0) * math.sqrt(abs(drop)), drop)
            if drop + flow > blown - 2.0 * arriving:
                high = drop
            else:
                low = drop
        outgoing[n] = blown - drop - arriving
    return outgoing


def reflected_pulse(setup, rate, seconds=0.06):
    """What comes back of a unit pulse, step by step, and the resistance ρc/S of the throat.

    R. T. Schumacher, Acustica 48, 71 (1981): the inverse transform of R = (Z - Zc)/(Z + Zc), here
    of the exact two-ports with the mouthpiece. What has no delay and no end in frequency, the
    mouthpiece's volume and the inertance of a cone's throat on Zc alone, is sampled by the
    trapezoidal rule; the rest is faded out from a quarter of the rate.
    """
    gas, count = bore.gas_of(setup), round(rate)
    omega = 2.0 * math.pi * np.fft.rfftfreq(count, 1.0 / rate)[1:]
    length, entry, far = setup.bore.chain()[0]
    resistance = gas.density * gas.sound_speed / (math.pi * entry**2)
    volume = setup.mouthpiece.volume * resistance / (gas.density * gas.sound_speed**2)
    throat = max(far - entry, 0.0) / (entry * length) * gas.sound_speed

    def lumped(s):
        return 2.0 / (2.0 + s * volume + throat / s) - 1.0

    admittance = bore.bore_admittance(setup.bore, omega, gas)
    admittance = resistance * admittance + 1j * omega * volume
    rest = (1.0 - admittance) / (1.0 + admittance) - lumped(1j * omega)
    fade = np.clip(4.0 * np.arange(1, rest.size + 1) / count - 1.0, 0.0, 1.0)
    sampled = lumped(2j * rate * np.tan(np.minimum(0.5 * omega / rate, 1.5707963)))
    whole = sampled + rest * (0.5 + 0.5 * np.cos(math.pi * fade))
    pulse = np.fft.irfft(np.append(-1.0, whole), count)
    return pulse[: round(seconds * rate)], resistance


def convolved(setup, mouth, rate):
    """Pressure [Pa] in the mouthpiece of a setup whose bore is a plain convolution.

    Schumacher 1981: p = p⁺ + p⁻, U = (p⁺ - p⁻)/Zc, and p⁻ = Σ r(k) p⁺(n - k), here with its first
    term, which answers at once, solved with the flow of the reed.
    """
    pulse, resistance = reflected_pulse(setup, rate)
    at_once, later, memory = pulse[0], pulse[:0:-1].copy(), pulse.size - 1
    stiff = (1.0 - at_once) / (1.0 + at_once) / resistance
    valve = massless_reed if setup.reed.dynamics == "massless" else swinging_reed
    drop_at = valve(setup.reed, bore.gas_of(setup).density, stiff, rate)
    outgoing, pressure = np.zeros(mouth.size + memory), np.zeros(mouth.size)
    for n, blown in enumerate(mouth):
        past = float(later @ outgoing[n : n + memory])
        pressure[n] = blown - drop_at(stiff * (blown - past) - past / resistance)
        outgoing[n + memory] = (pressure[n] - past) / (1.0 + at_once)
    return pressure


def massless_reed(reed, density, stiff, _rate):
    """Pressure drop X for each supply: stiff X + w (H - X/K) √(2X/ρ) = supply."""
    slit = reed.width * reed.opening * math.sqrt(2.0 / density)
    closing = reed.stiffness * reed.opening

    def drop_at(supply):
        def excess(drop):
            flow = slit * max(1.0 - drop / closing, 0.0) * math.sqrt(abs(drop))
            return stiff * drop + math.copysign(flow, drop) - supply

        return brentq(excess, -1e5, 1e5, xtol=1e-8)

    return drop_at


def swinging_reed(reed, density, stiff, rate):
    """The same for ḧ + qωs ḣ + ω²(s h - H) = -ω² X/K by plain central differences.

    The lay makes the reed s = 1 + κ⟨-h⟩/H times as stiff and as damped; the reed's own motion
    takes the flow S ḣ from the bore.
    """
    swing, at = 2.0 * math.pi * reed.frequency / rate, [reed.opening, reed.opening]
    piston = 0.5 * reed.area * rate

    def drop_at(supply):
        before, opening = at
        lay = 1.0 + reed.contact * max(-opening, 0.0) / reed.opening
        half = 0.5 * reed.damping * swing * lay
        pull = swing**2 * (reed.opening - opening * lay)
        free = (2.0 * opening - (1.0 - half) * before + pull) / (1.0 + half)
        give = swing**2 / reed.stiffness / (1.0 + half)
        slit = reed.width * max(opening, 0.0) * math.sqrt(2.0 / density)
        total, drive = stiff + piston * give, supply + piston * (free - before)
        root = 0.5 * (math.sqrt(slit**2 + 4.0 * total * abs(drive)) - slit) / total
        drop = math.copysign(root**2, drive)
        at[:] = opening, free - give * drop
        return drop

    return drop_at
