"""Every quantity a user can set: its unit, its range, and one sentence that says what it is.

In: a key as users write it (``reed.opening_mm``) and a number in the unit of that key.
Out: the same number in SI, as everything behind the door works with, and back again.

Convention: an *edge value* carries the unit that its key ends in (mm, kPa, °C, ...); everything
else is SI, temperature in kelvin. The part of a key before the dot is the section of the preset
file. One declaration here feeds validation, help texts, ``--set``, presets and sweeps.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple


class Edge(NamedTuple):
    """A unit as users write it: SI value = value · times / over + offset."""

    suffix: str
    unit: str
    times: float = 1.0
    over: float = 1.0
    offset: float = 0.0


# Scales are whole numbers, mostly powers of ten, so that one correctly rounded operation does.
EDGES = {
    "": Edge("", ""),
    "°C": Edge("c", "K", offset=273.15),
    "mm": Edge("mm", "m", over=1e3),
    "mm²": Edge("mm2", "m²", over=1e6),
    "ml": Edge("ml", "m³", over=1e6),
    "kPa": Edge("kpa", "Pa", times=1e3),
    "kPa/mm": Edge("kpa_per_mm", "Pa/m", times=1e6),
    "ml/s": Edge("ml_per_s", "m³/s", over=1e6),
    "kg/m²": Edge("kg_per_m2", "kg/m²"),
    "Hz": Edge("hz", "Hz"),
    "ms": Edge("ms", "s", over=1e3),
    "beats/min": Edge("bpm", "Hz", over=60.0),
    # Ratios have no SI unit: cents and decibels stay what they are, and in the attribute's name.
    "cents": Edge("", "cents"),
    "dB": Edge("", "dB"),
}

# Units that people also write in a key; only ever used to tell them the number in the right unit.
OTHER_EDGES = {
    "K": Edge("k", "K"),
    "m": Edge("m", "m"),
    "cm": Edge("cm", "m", over=1e2),
    "inches": Edge("in", "m", times=0.0254),
    "m²": Edge("m2", "m²"),
    "cm²": Edge("cm2", "m²", over=1e4),
    "cm³": Edge("cm3", "m³", over=1e6),
    "mm³": Edge("mm3", "m³", over=1e9),
    "litres": Edge("l", "m³", over=1e3),
    "Pa": Edge("pa", "Pa"),
    "hPa": Edge("hpa", "Pa", times=1e2),
    "mbar": Edge("mbar", "Pa", times=1e2),
    "cmH₂O": Edge("cmh2o", "Pa", times=98.0665),
    "Pa/m": Edge("pa_per_m", "Pa/m"),
    "Pa/mm": Edge("pa_per_mm", "Pa/m", times=1e3),
    "MPa/m": Edge("mpa_per_m", "Pa/m", times=1e6),
    "kHz": Edge("khz", "Hz", times=1e3),
    "s": Edge("s", "s"),
}


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """One thing that can be set.

    Attributes
    ----------
    unit : str
        The SI unit.
    low, high : float
        Allowed range, both ends included, in that unit.
    edge : str
        The unit users write, "" for a plain number.
    says : str
        One sentence for help and error messages, without the full stop.
    whole : bool
        Whether only whole numbers are allowed.
    """

    unit: str
    low: float
    high: float
    edge: str
    says: str
    whole: bool = False

    @property
    def edge_range(self) -> tuple[float, float]:
        """The allowed range in the unit that users write."""
        return from_si(self, self.low), from_si(self, self.high)


def _declare(low: float, high: float, edge: str, says: str, whole: bool = False) -> Quantity:
    """Turn a range written in the users' unit into a quantity, whose range is SI."""
    low_si, high_si = (_scale(EDGES[edge], value) for value in (low, high))
    unit = EDGES[edge].unit
    return Quantity(unit=unit, low=low_si, high=high_si, edge=edge, says=says, whole=whole)


def _scale(edge: Edge, value: float) -> float:
    return value * edge.times / edge.over + edge.offset


def to_si(quantity: Quantity, edge_value: float) -> float:
    """Turn a number in the unit users write into SI.

    Parameters
    ----------
    quantity : Quantity
        What the number measures.
    edge_value : float
        The number, in ``quantity.edge``.

    Returns
    -------
    float
        The number in ``quantity.unit``.
    """
    return _scale(EDGES[quantity.edge], float(edge_value))


def from_si(quantity: Quantity, value: float) -> float:
    """Turn an SI number into the shortest decimal in the users' unit that means the same.

    Parameters
    ----------
    quantity : Quantity
        What the number measures.
    value : float
        The number, in ``quantity.unit``.

    Returns
    -------
    float
        A number that `to_si` turns into exactly `value` where there is one, else the nearest.

    Notes
    -----
    A number with at most 12 digits (15 where the unit only scales) comes back as it was typed.
    """
    edge = EDGES[quantity.edge]
    near = (value - edge.offset) * edge.over / edge.times
    if not math.isfinite(near):
        return near
    short = [float(f"{near:.{digits}g}") for digits in (6, 9, 12, 15, 16)]
    up, down = math.nextafter(near, math.inf), math.nextafter(near, -math.inf)
    for candidate in (*short, near, up, down):
        if _scale(edge, candidate) == value:
            return candidate
    return near


def as_number(value: object) -> float | None:
    """Take a number that a user gave as a float.

    Parameters
    ----------
    value : object
        Whatever stands where a number should.

    Returns
    -------
    float or None
        None if it is no number; true and false are none. Infinite if it is too large for a float.
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf


def settle(quantity: Quantity, value: float) -> float:
    """Move an SI number by at most one rounding, so that it has an exact edge value.

    Only half of the SI floats can be written in millimetres without rounding. A model that holds
    none but those can be written down and read back bit for bit.

    Parameters
    ----------
    quantity : Quantity
        What the number measures.
    value : float
        Any number. [``quantity.unit``]

    Returns
    -------
    float
        The nearest number that `from_si` and `to_si` leave alone. [``quantity.unit``]
    """
    return to_si(quantity, from_si(quantity, value))


def format_edge(quantity: Quantity, edge_value: float) -> str:
    """Write a number with the unit users know, as in ``4 mm``.

    Parameters
    ----------
    quantity : Quantity
        What the number measures.
    edge_value : float
        The number, in ``quantity.edge``.

    Returns
    -------
    str
        Six significant digits and the unit.
    """
    return f"{edge_value:.6g} {quantity.edge}".rstrip()


def allowed(quantity: Quantity) -> str:
    """Write the allowed range and what the quantity is, as error messages and help say it.

    Parameters
    ----------
    quantity : Quantity
        The declaration.

    Returns
    -------
    str
        For example ``0.05 to 3 mm (gap between reed tip and lay)``.
    """
    low, high = quantity.edge_range
    return f"{low:.6g} to {format_edge(quantity, high)} ({quantity.says})"


def complaint(quantity: Quantity, value: object) -> str | None:
    """Say what is wrong with a value in the users' unit.

    Parameters
    ----------
    quantity : Quantity
        What the value should measure.
    value : object
        What the user gave, in ``quantity.edge``.

    Returns
    -------
    str or None
        A sentence that lacks its subject, the key, and the full stop, as in
        ``is 4 mm; allowed 0.05 to 3 mm (...)``; None if the value is allowed.
    """
    number = as_number(value)
    if number is None:
        return f"is {value!r}; it must be a number, {allowed(quantity)}"
    if not math.isfinite(number):
        return f"is {number}; it must be a finite number, {allowed(quantity)}"
    if not quantity.low <= to_si(quantity, number) <= quantity.high:
        return f"is {number:.12g} {quantity.edge}".rstrip() + f"; allowed {allowed(quantity)}"
    if quantity.whole and not number.is_integer():
        return f"is {number:.12g}; it must be a whole number, {allowed(quantity)}"
    return None


def attribute_of(key: str) -> str:
    """Name the attribute of the models that a key sets: the key without section and unit.

    Parameters
    ----------
    key : str
        A key of `QUANTITIES`, for example ``reed.opening_mm``.

    Returns
    -------
    str
        For example ``opening``.
    """
    last = key.rsplit(".", 1)[-1]
    return last.removesuffix("_" + EDGES[QUANTITIES[key].edge].suffix)


def other_unit(key: str, quantity: Quantity, written: str, value: object) -> str | None:
    """Tell someone who used another unit, or none, what to write instead.

    Parameters
    ----------
    key : str
        The right key, without its section, for example ``length_mm``.
    quantity : Quantity
        Its declaration.
    written : str
        The key the user wrote, without its section, for example ``length_m``.
    value : object
        What the user gave for it.

    Returns
    -------
    str or None
        For example ``the unit is mm: write length_mm = 148``; None if nothing is known.
    """
    right = EDGES[quantity.edge]
    stem = key.removesuffix("_" + right.suffix)
    if right.suffix and written.lower() == stem:
        return f"the unit belongs to the key: write {key}, in {quantity.edge}"
    for edge in (EDGES | OTHER_EDGES).values():
        if written.lower() != f"{stem}_{edge.suffix}" or edge.unit != right.unit:
            continue
        number = as_number(value)
        if number is None:
            return f"the unit is {quantity.edge}: write {key}"
        there = from_si(quantity, _scale(edge, number))
        return f"the unit is {quantity.edge}: write {key} = {there:.10g}"
    return None


QUANTITIES = {
    "air.temperature_c": _declare(0, 40, "°C", "temperature of the air in the horn"),
    "bore.length_mm": _declare(50, 5000, "mm", "length that plays, from the reed end of the bore"),
    "bore.vent_after_ms": _declare(
        0, 600000, "ms", "time after which a vent opens, 0 if it is open from the start"
    ),
    "bore.sections.length_mm": _declare(0.1, 5000, "mm", "length of this piece of the bore"),
    "bore.sections.entry_mm": _declare(1, 500, "mm", "inner diameter of this piece, reed side"),
    "bore.sections.exit_mm": _declare(1, 500, "mm", "inner diameter of this piece, far side"),
    "bore.holes.position_mm": _declare(
        0.1, 5000, "mm", "from the reed end of the bore to the middle of this tone hole"
    ),
    "bore.holes.diameter_mm": _declare(0.5, 60, "mm", "diameter of this tone hole"),
    "bore.holes.chimney_mm": _declare(0.1, 60, "mm", "height of the chimney of this tone hole"),
    "bore.holes.open": _declare(0, 1, "", "share of the area of this tone hole that is open"),
    "bore.lattice.diameter_mm": _declare(
        1, 60, "mm", "diameter of the open tone holes beyond the playing length"
    ),
    "bore.lattice.chimney_mm": _declare(
        0.1, 60, "mm", "height of the chimneys of the open tone holes beyond the playing length"
    ),
    "bore.lattice.spacing_mm": _declare(
        2, 200, "mm", "middle to middle of the open tone holes beyond the playing length"
    ),
    "mouthpiece.volume_ml": _declare(0, 60, "ml", "air in the mouthpiece that the bore leaves out"),
    "reed.opening_mm": _declare(0.05, 3, "mm", "gap between reed tip and lay"),
    "reed.width_mm": _declare(3, 30, "mm", "breadth of the gap between reed and lay"),
    "reed.stiffness_kpa_per_mm": _declare(
        0.5, 100, "kPa/mm", "pressure that bends the lipped reed by one millimetre"
    ),
    "reed.frequency_hz": _declare(200, 20000, "Hz", "resonance of the lipped reed by itself"),
    "reed.damping": _declare(0.05, 10, "", "damping of the lipped reed, 2 being critical"),
    "reed.area_mm2": _declare(0, 800, "mm²", "moving area of the reed that pumps air"),
    "reed.contact": _declare(1, 1000, "", "stiffness of the lay over that of the reed"),
    "reed.strength": _declare(
        1, 5, "", "strength of the reed on our own scale, 2.5 as in the preset"
    ),
    "reed.lip": _declare(0.5, 2, "", "how firmly the lip holds the reed, 1 as in the preset"),
    "breath.pressure_kpa": _declare(0, 20, "kPa", "steady blowing pressure in the mouth"),
    "breath.rise_ms": _declare(1, 2000, "ms", "time in which the breath rises to its pressure"),
    "breath.with_tip": _declare(
        0.5, 1.5, "", "power of the tip opening by which the breath goes from pp to ff"
    ),
    "breath.air": _declare(
        0,
        0.1,
        "",
        "noise of the jet at the reed over its flow, rms; saxophones about 0.0165, clarinets 0.004",
    ),
    "breath.sway": _declare(
        0,
        0.2,
        "",
        "slow movement of the breath over its pressure, rms; saxophones about 0.1, clarinets 0.08",
    ),
    "breath.lip_sway": _declare(
        0,
        0.2,
        "",
        "slow movement of tip opening and stiffness over both, rms; saxophones about 0.07, "
        "clarinets 0.054",
    ),
    "breath.pitch_sway_cents": _declare(
        0,
        10,
        "cents",
        "slow movement of the pitch that a player hears and holds, rms, whatever breath and lip "
        "do; saxophones about 1.5, clarinets 0.475",
    ),
    "breath.tongue_ms": _declare(
        0, 30, "ms", "in which the tongue lets the blown reed go, 0 for a reed that is free"
    ),
    "breath.seed": _declare(
        0,
        999999,
        "",
        "which of many breaths and lips; the same one repeats bit for bit",
        whole=True,
    ),
    "breath.loudest": _declare(
        0.1, 1, "", "blowing pressure over the reed's closing pressure at which ff ends"
    ),
    "voice.frequency_hz": _declare(20, 2000, "Hz", "fundamental of the sung note"),
    "voice.depth": _declare(0, 1, "", "peak of the sung pressure over the blowing pressure"),
    "voice.flow_ml_per_s": _declare(
        1, 1000, "ml/s", "amplitude of the sung note in the flow through the vocal folds"
    ),
    "voice.fold_mass_kg_per_m2": _declare(
        1, 8, "kg/m²", "mass of a vocal fold for its area, where the voice is sung by folds"
    ),
    "voice.fold_length_mm": _declare(6, 20, "mm", "length of the vocal folds"),
    "voice.gap_mm": _declare(
        0.05,
        1.2,
        "mm",
        "gap between vocal folds at rest, on a horn that takes 0.35 l/s; wider is looser",
    ),
    "voice.lung_kpa": _declare(
        0.2, 12, "kPa", "pressure in the lungs, which the breath follows; not set, it follows that"
    ),
    "voice.effort": _declare(
        0.5, 2, "", "how hard is sung, 1 as in the preset: 2 doubles the flow and halves rd"
    ),
    "voice.rd": _declare(0.3, 2.7, "", "shape of the glottal pulse, from pressed to breathy"),
    "voice.fade_ms": _declare(5, 5000, "ms", "time in which the voice fades in"),
    "voice.jitter": _declare(
        0, 0.05, "", "mean difference of successive sung periods over the mean period"
    ),
    "voice.shimmer_db": _declare(0, 3, "dB", "mean difference of successive sung peaks"),
    "voice.vibrato_hz": _declare(0.5, 12, "Hz", "how often a second the vibrato goes up and down"),
    "voice.vibrato_cents": _declare(0, 200, "cents", "how far the vibrato goes either way"),
    "voice.vibrato_after_ms": _declare(0, 10000, "ms", "time after which the vibrato begins"),
    "voice.scoop_cents": _declare(0, 1200, "cents", "how far below its note the voice starts"),
    "voice.scoop_ms": _declare(5, 1000, "ms", "time in which the voice glides up to its note"),
    "voice.wander_cents": _declare(0, 100, "cents", "how far the sung note slowly wanders"),
    "voice.noise": _declare(0, 1, "", "breath noise in the voice over its steady part, both rms"),
    "voice.false_folds": _declare(
        1, 3, "", "sung periods to one of the false vocal folds, 1 if they are at rest", whole=True
    ),
    "voice.seed": _declare(
        0, 999999, "", "which of many unsteady voices; the same one repeats bit for bit", whole=True
    ),
    "tract.volume_ml": _declare(20, 300, "ml", "air in the player's mouth and throat"),
    "tract.returned": _declare(0.3, 0.98, "", "share of a wave that the vocal folds send back"),
    "passage.tempo_bpm": _declare(10, 400, "beats/min", "beats in a minute"),
    "time.rate_hz": _declare(
        44100, 768000, "Hz", "steps per second of the simulation; run time grows in proportion"
    ),
}
