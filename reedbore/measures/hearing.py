"""What a listener hears, by published data: thresholds, masking, pitch; and safe listening times.

A sound is judged at a stated listening level. The data are averages over young listeners with
normal hearing; no claim is made for one person, one room or one loudspeaker.
"""

import math

import numpy as np
from numpy.typing import NDArray

from reedbore.measures.spectrum import Lines
from reedbore.notes import carries_pitch

LISTENING_LEVEL = 70.0  # whole sound, unweighted [dB SPL]; a horn played softly some metres off
PARTIALS_OF_A_PITCH = 3
# Threshold in quiet, free field, both ears: ISO 226:2003, "Acoustics - Normal equal-loudness-level
# contours", table 1 (from memory). Frequency [Hz], level [dB SPL].
THRESHOLD_HZ = (
    *(20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0),
    *(500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0),
    *(6300.0, 8000.0, 10000.0, 12500.0),
)
THRESHOLD_DB = (
    *(78.5, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2),
    *(4.4, 3.0, 2.2, 2.4, 3.5, 1.7, -1.3, -4.2, -6.0, -5.4, -1.5),
    *(6.0, 12.6, 13.9, 12.3),
)


def hearing_threshold(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Level below which a sinusoid in quiet is not heard.

    Parameters
    ----------
    hz : ndarray, shape (n,)
        Frequencies. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        Threshold; infinite outside 20 Hz to 12.5 kHz, where the standard says nothing. [dB SPL]

    Notes
    -----
    ISO 226:2003, straight lines between its values over the logarithm of the frequency.
    """
    known = np.log(THRESHOLD_HZ)
    place = np.log(np.maximum(hz, 1e-6))
    return np.interp(place, known, THRESHOLD_DB, left=np.inf, right=np.inf)


def critical_band_rate(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Place of a frequency on the ear's own scale.

    Parameters
    ----------
    hz : ndarray, shape (n,)
        Frequencies. [Hz]

    Returns
    -------
    ndarray, shape (n,)
        Critical-band rate. [Bark]

    Notes
    -----
    z = 13 arctan(0.76 f) + 3.5 arctan((f/7.5)²), f in kHz [1]_ (from memory).

    References
    ----------
    .. [1] E. Zwicker and E. Terhardt, "Analytical expressions for critical-band rate and critical
       bandwidth as a function of frequency," J. Acoust. Soc. Am. 68(5), 1523-1525, 1980.
    """
    khz = np.asarray(hz, dtype=np.float64) / 1000.0
    return 13.0 * np.arctan(0.76 * khz) + 3.5 * np.arctan((khz / 7.5) ** 2)


def line_levels(
    lines: Lines, everything: Lines, level_db_spl: float = LISTENING_LEVEL
) -> NDArray[np.float64]:
    """Levels of some lines of a sound that as a whole has a stated level.

    Parameters
    ----------
    lines : Lines
        The lines in question, shape (n,).
    everything : Lines
        All lines of the sound, in the same unit, shape (m,).
    level_db_spl : float
        Level of the whole. [dB SPL]

    Returns
    -------
    ndarray, shape (n,)
        Level of each line. [dB SPL]
    """
    whole = max(float(np.sum(everything.amplitude**2)), np.finfo(float).tiny)
    return level_db_spl + 10.0 * np.log10(np.maximum(lines.amplitude**2 / whole, 1e-30))


def masked_threshold(
    hz: NDArray[np.float64], masker_hz: NDArray[np.float64], masker_db: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Level below which a sinusoid is not heard, because of others.

    Parameters
    ----------
    hz : ndarray, shape (n,)
        Frequencies of the sinusoids in question. [Hz]
    masker_hz, masker_db : ndarray, shape (m,)
        The others; one at the same frequency is the sinusoid itself and does not count.
        [Hz], [dB SPL]

    Returns
    -------
    ndarray, shape (n,)
        Masked threshold, minus infinity without maskers. [dB SPL]

    Notes
    -----
    The excitation of a masker falls by 27 dB a Bark towards lower frequencies and by
    24 + 230 Hz/f − 0.2 L/dB towards higher ones [1]_; powers are added; a tone is masked once it
    is (14.5 + z) dB below the excitation, z the critical-band rate of the masker [2]_ (all from
    memory). The general picture is that of [3]_.

    References
    ----------
    .. [1] E. Terhardt, "Calculating virtual pitch," Hearing Research 1, 155-182, 1979.
    .. [2] M. R. Schroeder, B. S. Atal and J. L. Hall, "Optimizing digital speech coders by
       exploiting masking properties of the human ear," J. Acoust. Soc. Am. 66, 1647-1652, 1979.
    .. [3] E. Zwicker and H. Fastl, "Psychoacoustics: Facts and Models," Springer, chapter 4.
    """
    place = critical_band_rate(masker_hz)[np.newaxis, :]
    above = critical_band_rate(hz)[:, np.newaxis] - place
    rise = 24.0 + 230.0 / np.maximum(masker_hz, 1.0) - 0.2 * masker_db
    fall = np.where(above < 0.0, -27.0 * above, np.maximum(rise, 0.0) * above)
    level = masker_db - fall - (14.5 + place)
    power = np.where(hz[:, np.newaxis] == masker_hz, 0.0, 10.0 ** (level / 10.0))
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(power.sum(axis=1)), dtype=np.float64)


def audible(own: Lines, everything: Lines, level_db_spl: float = LISTENING_LEVEL) -> Lines:
    """Those of some lines of a sound that are heard within it.

    Parameters
    ----------
    own : Lines
        The lines in question; each is one of `everything`, at the same frequency.
    everything : Lines
        All lines of the sound, in the same unit.
    level_db_spl : float
        Level of the whole sound. [dB SPL]

    Returns
    -------
    Lines
        The lines of `own` that lie above the threshold in quiet and above the masked threshold.
    """
    levels = line_levels(own, everything, level_db_spl)
    maskers = line_levels(everything, everything, level_db_spl)
    masked = masked_threshold(own.hz, everything.hz, maskers)
    is_heard = levels > np.maximum(hearing_threshold(own.hz), masked)
    return Lines(own.hz[is_heard], own.amplitude[is_heard])


def heard(
    own: Lines, everything: Lines, resultant_hz: float, level_db_spl: float = LISTENING_LEVEL
) -> str:
    """Whether a listener hears a third note: yes, no or uncertain.

    Parameters
    ----------
    own : Lines
        Partials of the resultant that are partials of neither note; each one of `everything`.
    everything : Lines
        All lines of the sound, in the same unit.
    resultant_hz : float
        The resultant. [Hz]
    level_db_spl : float
        Level of the whole sound. [dB SPL]

    Returns
    -------
    str
        "no" if the resultant is too low to carry a pitch (below 20 Hz, see
        `notes.carries_pitch`) or none of its own partials is audible; "uncertain" with one or two
        of them, or between 20 and 30 Hz; "yes" with three or more.
    """
    pitch = carries_pitch(resultant_hz)
    count = len(audible(own, everything, level_db_spl).hz)
    if pitch == "no" or count == 0:
        return "no"
    return "uncertain" if count < PARTIALS_OF_A_PITCH else pitch


def third_note(
    found: Lines, ratio: tuple[int, int] | None, resultant_hz: float | None
) -> tuple[float | None, str]:
    """Level of the partials of the resultant that belong to neither note, and whether it is heard.

    Parameters
    ----------
    found : Lines
        All lines of the sound.
    ratio : (p, q) or None
        Sung over played; None if none is near.
    resultant_hz : float or None
        The resultant. [Hz]

    Returns
    -------
    level : float or None
        Of these partials against the whole; None if there are none. [dB]
    heard : str
        As of `heard`, or "same as fingered", "same as sung" where the resultant is one of the two.
    """
    if ratio is None or resultant_hz is None:
        return None, "no"
    p, q = ratio
    if q == 1:
        return None, "same as fingered"
    if p == 1:
        return None, "same as sung"
    order = np.rint(found.hz / resultant_hz)
    near = np.abs(found.hz - order * resultant_hz) < 0.1 * resultant_hz
    own = near & (order > 0) & (order % p != 0) & (order % q != 0)
    whole = float(np.sum(found.amplitude**2))
    energy = float(np.sum(found.amplitude[own] ** 2))
    level = 10.0 * math.log10(energy / whole) if energy > 0.0 else None
    mine = Lines(found.hz[own], found.amplitude[own])
    return level, heard(mine, found, resultant_hz)


def weekly_hours(level_dba: float) -> float:
    """Safe listening time in a week for an adult.

    Parameters
    ----------
    level_dba : float
        Sound level at the ear. [dB(A)]

    Returns
    -------
    float
        Time; 40 h at 80 dB(A), half of it for each 3 dB more. [h]

    References
    ----------
    .. [1] Recommendation ITU-T H.870 (with WHO), "Guidelines for safe listening
       devices/systems," 2018.
    """
    return float(40.0 * 2.0 ** ((80.0 - level_dba) / 3.0))


def daily_hours(level_dba: float) -> float:
    """Longest exposure at work in a day.

    Parameters
    ----------
    level_dba : float
        Sound level at the ear. [dB(A)]

    Returns
    -------
    float
        Time; 8 h at 85 dB(A), half of it for each 3 dB more. [h]

    References
    ----------
    .. [1] NIOSH, "Criteria for a recommended standard: occupational noise exposure,"
       publication 98-126, 1998.
    """
    return float(8.0 * 2.0 ** ((85.0 - level_dba) / 3.0))
