"""Note names, cents, intervals, ratios, resultants and combination tones: pure arithmetic.

Text and floats in, floats and names out; the standard library only: a prediction starts at once.

- C4 is MIDI note 60 and A4 is 440 Hz [1]_ unless another `a4` is given. A note is a float here,
  its MIDI number: 60.14 is C4 and 14 cents.
- A ratio is always sung/fingered = p/q in lowest terms, kept as the pair ``(p, q)``.
- Cents are positive when the first frequency is the higher one.
- We write the names that horn players read most: Eb, Ab, Bb, F#, C#. Every spelling is read.

References
----------
.. [1] ISO 16:1975, "Acoustics - Standard tuning frequency (Standard musical pitch)".
"""

import math
import re
import sys
from functools import lru_cache

from reedbore.errors import NoteError

A4_HZ = 440.0
A4_RANGE_HZ = (380.0, 500.0)
PITCH_RANGE_HZ = (8.0, 20000.0)
TOLERANCE_CENTS = 20.0
PREDICTED_LIMIT = 12
"""Arithmetic goes up to this p and q."""

MEASURED_LIMIT = 8
"""Up to this p and q a lock or a slow beat is looked for in what was simulated or recorded."""

PITCH_HZ = 30.0
NO_PITCH_HZ = 20.0

NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {"": 0, "#": 1, "##": 2, "b": -1, "bb": -2}
_PLAIN = str.maketrans({"♯": "#", "♭": "b", "−": "-", "–": "-", "𝄪": "##", "𝄫": "bb", "¢": "c"})

_NOTE = re.compile(r"([A-Ga-g])(##|#|bb|b|)(-?\d{1,2})(?:([+-]\d+(?:\.\d+)?)c)?")
_FREQUENCY = re.compile(r"(\d+(?:\.\d+)?)\s*[Hh][Zz]")
_STEP = re.compile(r"([+-]\d+(?:\.\d+)?)(st|c)")
_RATIO = re.compile(r"(\d{1,6})/(\d{1,6})")
_BESIDE_RATIO = re.compile(r"(\d+/\d+)\s*([+-][\d.]+c)")
_HINTS = (
    (r"[A-Ga-g](##|#|bb|b|)", "the octave is missing: {0}2, for example; C4 is middle C"),
    (r"[Hh](#|b|)-?\d*", "the note H is written B, and the German B is Bb"),
    (r"[+-]?\d+([.,]\d+)?", "a bare number: add what it counts, as in 220Hz, +7st or +702c"),
    (r"\d+,\d+\s*[Hh][Zz]", "write the decimal sign as a point"),
    (r"\d+:\d+", "a ratio takes a slash, sung/fingered: 5/3"),
    (r"\d+(\.\d+)?\s*(st|c)", "an interval takes a sign: +{0} or -{0}"),
    (r"-\d+(\.\d+)?\s*[Hh][Zz]", "a frequency is positive"),
    (r"[A-Ga-g](##|#|bb|b|)-?\d+[+-]\d+(\.\d+)?.*", "cents after a note end in c: F#3+14c"),
)


# --- notes and frequencies -----------------------------------------------------------------------


def parse_note(text: str) -> float:
    """Read a note name such as ``C4``, ``Bb2``, ``F#3+14c``.

    Returns
    -------
    float
        MIDI number of the note; C4 is 60, a cent is 0.01.

    Raises
    ------
    NoteError
        If the text is not a note name.
    """
    found = _NOTE.fullmatch(_plain(text))
    if not found:
        raise NoteError(f"{text!r} is not a note; {_hint(text, 'write C4, Bb2 or F#3+14c')}")
    letter, accidentals, octave, off = found.groups()
    whole = 12 * (int(octave) + 1) + _LETTERS[letter.upper()] + _ACCIDENTALS[accidentals]
    return whole + float(off or 0.0) / 100.0


def midi_to_hz(midi: float, a4: float = A4_HZ) -> float:
    """Frequency [Hz] of a MIDI number in equal temperament."""
    return a4 * math.exp2((midi - 69.0) / 12.0)


def hz_to_midi(hz: float, a4: float = A4_HZ) -> float:
    """MIDI number, with its fraction, of a frequency in equal temperament."""
    return 69.0 + 12.0 * math.log2(hz / a4)


def midi_name(midi: float) -> str:
    """Name of the whole note nearest to a MIDI number, such as ``Bb2``."""
    whole = math.floor(midi + 0.5)
    return f"{NAMES[whole % 12]}{whole // 12 - 1}"


def note_name(hz: float, a4: float = A4_HZ) -> str:
    """Name of a frequency with its whole cents, such as ``F#3+14c``; no cents where they are 0."""
    name, off = split_note(hz, a4)
    return f"{name}{off:+.0f}c" if abs(off) >= 0.5 else name


def written_name(hz: float, transposition: int, a4: float = A4_HZ) -> str:
    """Name a sounding frequency as it is written for a horn, so many semitones higher."""
    return note_name(hz * math.exp2(transposition / 12.0), a4)


def split_note(hz: float, a4: float = A4_HZ) -> tuple[str, float]:
    """Name of the tempered note nearest to a frequency, and the distance from it [cents]."""
    midi = hz_to_midi(hz, a4)
    return midi_name(midi), 100.0 * (midi - math.floor(midi + 0.5))


def cents(hz: float, reference_hz: float) -> float:
    """Interval [cents] from the reference up to a frequency, negative if it lies below."""
    return 1200.0 * math.log2(hz / reference_hz)


def check_a4(a4: float) -> float:
    """Hand back the frequency of A4 [Hz], or raise a NoteError if nobody tunes there."""
    low, high = A4_RANGE_HZ
    if not low <= a4 <= high:
        raise NoteError(f"a4 is {a4:g} Hz; allowed {low:g} to {high:g} Hz (frequency of the A4)")
    return a4


# --- what a player types -------------------------------------------------------------------------


def parse_pitch(
    text: str, a4: float = A4_HZ, *, transposition: int | None = None, written: bool = False
) -> float:
    """Read a note or a frequency.

    Parameters
    ----------
    text : str
        ``Bb2``, ``F#3+14c`` or ``220Hz``; ``w:C4`` is the note as written for the horn.
    a4 : float, optional
        Frequency of A4. [Hz]
    transposition : int, optional
        Written note minus sounding note of the horn. [semitones]
    written : bool, optional
        Take a note as written even without the mark. A frequency always sounds as it is given.

    Returns
    -------
    float
        Sounding frequency. [Hz]

    Raises
    ------
    NoteError
        If the text is neither, lies outside `PITCH_RANGE_HZ`, or is a written note and no
        transposition is given.
    """
    plain = _plain(text)
    marked = plain[:2].lower() == "w:"
    frequency = _FREQUENCY.fullmatch(plain)
    if frequency:
        return _within_range(float(frequency[1]), text)
    if _RATIO.fullmatch(plain) or _STEP.fullmatch(plain):
        raise NoteError(
            f"{text!r} is an interval; only the sung note may be given from the fingered one, "
            "write a note (Bb2) or a frequency (220Hz) here"
        )
    midi = parse_note(plain[2:] if marked else text)
    if marked or written:
        if transposition is None:
            raise NoteError(f"{text!r} is a written note; name the horn that it is written for")
        midi -= transposition
    return _within_range(midi_to_hz(midi, a4), text)


def parse_sung(
    text: str, fingered_hz: float, a4: float = A4_HZ, *, transposition: int | None = None
) -> float:
    """Read a sung note: as `parse_pitch`, or an interval or ratio from the fingered note.

    Parameters
    ----------
    text : str
        ``D4``, ``220Hz``, ``w:E5``, ``+7st``, ``-5st``, ``+702c``, ``5/3`` (sung/fingered) or
        ``5/3-4c``.
    fingered_hz : float
        Sounding frequency of the fingered note. [Hz]
    a4, transposition
        As for `parse_pitch`.

    Returns
    -------
    float
        Sounding frequency. [Hz]

    Raises
    ------
    NoteError
        If the text cannot be read, or the note lies outside `PITCH_RANGE_HZ`.
    """
    factor = parse_interval(text)
    if factor is not None:
        return _within_range(fingered_hz * factor, text)
    return parse_pitch(text, a4, transposition=transposition)


def parse_interval(text: str) -> float | None:
    """Frequency factor of ``+7st``, ``+702c``, ``5/3`` or ``5/3-4c``; None if it is no such."""
    plain = _plain(text)
    beside = _BESIDE_RATIO.fullmatch(plain)
    if beside:
        just, off = map(parse_interval, beside.groups())
        return just * off if just and off else None
    step = _STEP.fullmatch(plain)
    if step:
        octaves = float(step[1]) / (12.0 if step[2] == "st" else 1200.0)
        return math.exp2(octaves) if octaves < sys.float_info.max_exp else math.inf
    ratio = parse_ratio(text)
    return ratio[0] / ratio[1] if ratio else None


def parse_ratio(text: str) -> tuple[int, int] | None:
    """Read ``p/q``, sung/fingered, into lowest terms; None if the text is not of that form.

    Raises
    ------
    NoteError
        If p or q is 0.
    """
    found = _RATIO.fullmatch(_plain(text))
    if not found:
        return None
    p, q = int(found[1]), int(found[2])
    if p == 0 or q == 0:
        raise NoteError(f"{text!r} is not a ratio; both numbers are 1 or more, as in 5/3")
    return p // math.gcd(p, q), q // math.gcd(p, q)


def _plain(text: str) -> str:
    return text.strip().translate(_PLAIN)


def _hint(text: str, otherwise: str) -> str:
    plain = _plain(text)
    for pattern, hint in _HINTS:
        if re.fullmatch(pattern, plain):
            return hint.format(plain.lstrip("+-"))
    return otherwise


def _within_range(hz: float, text: str) -> float:
    low, high = PITCH_RANGE_HZ
    if not low <= hz <= high:
        raise NoteError(f"{text!r} is {hz:.4g} Hz; allowed {low:g} to {high:g} Hz")
    return hz


# --- two notes -----------------------------------------------------------------------------------


def choose_ratio(
    ratio: float, tolerance_cents: float = TOLERANCE_CENTS, limit: int = PREDICTED_LIMIT
) -> tuple[int, int] | None:
    """Find the simplest p/q close to a frequency ratio.

    Parameters
    ----------
    ratio : float
        Frequency ratio sung/fingered, more than 0.
    tolerance_cents : float, optional
        Largest distance allowed, either way. [cents]
    limit : int, optional
        Largest p and q.

    Returns
    -------
    tuple of int or None
        (p, q) in lowest terms with the smallest product p·q, of two such the nearer one; None if
        none lies within the tolerance.

    Notes
    -----
    The product p·q orders ratios by simplicity (its logarithm is known as Tenney height); the
    nearest fraction with small numbers would answer ten semitones with 16/9 instead of 9/5.
    """
    wanted = 1200.0 * math.log2(ratio)
    close = (
        (product, abs(size - wanted), p, q)
        for product, size, p, q in _simple_ratios(limit)
        if abs(size - wanted) <= tolerance_cents
    )
    best = min(close, default=None)
    return best and (best[2], best[3])


@lru_cache(maxsize=8)
def _simple_ratios(limit: int) -> tuple[tuple[int, float, int, int], ...]:
    """All (p·q, cents, p, q) with coprime p and q up to the limit."""
    numbers = range(1, limit + 1)
    return tuple(
        (p * q, 1200.0 * math.log2(p / q), p, q)
        for p in numbers
        for q in numbers
        if math.gcd(p, q) == 1
    )


def simple_ratios(limit: int) -> list[tuple[int, int]]:
    """List all ratios p/q in lowest terms with p and q up to a limit, lowest first."""
    return sorted(((p, q) for _, _, p, q in _simple_ratios(limit)), key=lambda r: r[0] / r[1])


def resultant_hz(fingered_hz: float, ratio: tuple[int, int]) -> float:
    """Give the common fundamental of a fingered note and of p/q sung over it exactly.

    Parameters
    ----------
    fingered_hz : float
        Frequency of the fingered note. [Hz]
    ratio : tuple of int
        (p, q), sung/fingered in lowest terms.

    Returns
    -------
    float
        f_fingered/q = f_sung/p, the highest frequency that has both notes among its partials. [Hz]
    """
    return fingered_hz / ratio[1]


def just_hz(fingered_hz: float, ratio: tuple[int, int]) -> float:
    """Frequency [Hz] to sing for an exact p/q over the fingered note."""
    return fingered_hz * ratio[0] / ratio[1]


def just_cents(ratio: tuple[int, int]) -> float:
    """Just interval p/q against the nearest tempered one [cents]; 5/4 gives -13.69."""
    size = 1200.0 * math.log2(ratio[0] / ratio[1])
    return size - 100.0 * round(size / 100.0)


def carries_pitch(hz: float) -> str:
    """Say whether a complex tone with this fundamental can carry a melody.

    Parameters
    ----------
    hz : float
        Fundamental frequency. [Hz]

    Returns
    -------
    str
        "yes" from 30 Hz up, "uncertain" from 20 Hz up, "no" below.

    Notes
    -----
    Listeners discriminated pitch down to a repetition rate of about 30 Hz [1]_ and recognised
    changed melodies down to about the same [2]_ (both values from memory). The lower bound, 20 Hz,
    is the customary limit of hearing for sines.

    References
    ----------
    .. [1] K. Krumbholz, R. D. Patterson and D. Pressnitzer, "The lower limit of pitch as
       determined by rate discrimination," J. Acoust. Soc. Am. 108(3), 1170-1180, 2000.
    .. [2] D. Pressnitzer, R. D. Patterson and K. Krumbholz, "The lower limit of melodic pitch,"
       J. Acoust. Soc. Am. 109(5), 2074-2084, 2001.
    """
    if hz >= PITCH_HZ:
        return "yes"
    return "uncertain" if hz >= NO_PITCH_HZ else "no"
