"""How a singer corrects a note by ear: late, in part, and only small errors.

In: how far the heard note lies off the aim. Out: how the muscles move the tension of the folds.
Singers whose own voice is played back to them shifted answer after 0.1 to 0.2 s, against the shift,
and by some 15 cents however large it is; a loop with a delay, a bound and a leak does so.
"""

DELAY_S = 0.13
"""From a note to the muscles: 104 to 223 ms (T. A. Burnett, J. E. Senner and C. R. Larson, J. Voice
11(2), 202-211, 1997). [s]"""

GAIN = 5.0
"""Cents of tension a second for a cent of error. With leak and bound it makes the answers to shifts
of 10 to 50 cents that were found (H. Liu and C. R. Larson, J. Acoust. Soc. Am. 122(6), 3671-3677,
2007); our fit. [s⁻¹]"""

LEAK = 2.0
"""What was corrected is given up at this rate; our fit. [s⁻¹]"""

MOST_CENTS = 18.0
"""No error counts for more than this; our fit. [cents]"""

EVERY_S = 0.01
"""How often the muscles are moved. [s]"""


def corrected(tension: float, error: float, step: float) -> float:
    """Move the tension that the ear has added.

    Parameters
    ----------
    tension : float
        So far. [cents]
    error : float
        The aim less the note that was heard `DELAY_S` ago. [cents]
    step : float
        Since the last time, `EVERY_S` at most. [s]

    Returns
    -------
    float
        u + T(-λu + g e), the error e held between ±`MOST_CENTS`. [cents]

    Notes
    -----
    In the manner of the model of [1]_, with one loop. An error that lasts winds the tension up to
    g/λ times itself, never beyond g/λ times the bound: a voice that a horn holds off its aim is not
    torn out of the lock. The loop is stable for gains below about 13 s⁻¹ at this delay (computed).

    References
    ----------
    .. [1] T. C. Hain, T. A. Burnett, S. Kiran, C. R. Larson, S. Singh and M. K. Kenney,
       "Instructing subjects to make a voluntary response reveals the presence of two components to
       the audio-vocal reflex," Exp. Brain Res. 130, 133-141, 2000.
    """
    return tension + step * (GAIN * min(max(error, -MOST_CENTS), MOST_CENTS) - LEAK * tension)
