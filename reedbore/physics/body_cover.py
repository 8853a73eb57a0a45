"""What the muscles of the larynx make of the folds: length, thickness, stress, and so the pitch.

Muscle activities run from 0 to 1: the cricothyroid (CT) stretches the folds, the thyroarytenoid
(TA) shortens them and stiffens their body, the lateral cricoarytenoid (LC) closes them and
shortens them a little. Strain ε counts from the length at rest.

All constants are those of I. R. Titze and B. H. Story, "Rules for controlling low-dimensional vocal
fold models with muscle activation," J. Acoust. Soc. Am. 112(3), 1064-1076, 2002, from memory. A
fold of a `Layer` for cover and one for ligament is a string between fixed ends.
"""

import math
from typing import NamedTuple

TISSUE_DENSITY = 1040.0
"""[kg m⁻³]"""


class Rest(NamedTuple):
    """A fold at rest."""

    length: float
    """L₀. [m]"""
    thickness: float
    """T₀. [m]"""


class Layer(NamedTuple):
    """How a layer of tissue resists being stretched."""

    linear: float
    """σ₀: stress at no strain. [Pa]"""
    slack: float
    """ε₁: strain of no stress; below 0."""
    bend: float
    """ε₂: strain from which the stress grows exponentially."""
    rise: float
    """σ₂: scale of that part. [Pa]"""
    rate: float
    """C: its exponent per strain."""
    depth: float
    """Into the fold, at rest. [m]"""


MALE, FEMALE = Rest(16e-3, 3e-3), Rest(10e-3, 2e-3)
MUCOSA = Layer(500.0, -0.5, -0.35, 30e3, 4.4, 2e-3)
LIGAMENT = Layer(400.0, -0.5, 0.0, 1393.0, 17.0, 2e-3)

GAIN, TORQUE, CLOSING = 0.2, 3.0, 0.2
"""Strain per activity of the TA, of the CT in its units, and of the LC."""

THINNING = 0.8
"""Loss of thickness per strain."""


def strain(cricothyroid: float, thyroarytenoid: float, cricoarytenoid: float) -> float:
    """Strain of the folds from the activity of three muscles.

    Parameters
    ----------
    cricothyroid, thyroarytenoid, cricoarytenoid : float
        a_CT, a_TA, a_LC, each 0 to 1. [1]

    Returns
    -------
    float
        ε = 0.2 (3 a_CT - a_TA) - 0.2 a_LC [1]_ (from memory). [1]

    References
    ----------
    .. [1] I. R. Titze and B. H. Story, "Rules for controlling low-dimensional vocal fold models
       with muscle activation," J. Acoust. Soc. Am. 112(3), 1064-1076, 2002.
    """
    return GAIN * (TORQUE * cricothyroid - thyroarytenoid) - CLOSING * cricoarytenoid


def stretched(rest: Rest, strained: float) -> Rest:
    """Length and thickness of a stretched fold.

    Parameters
    ----------
    rest : Rest
        At rest.
    strained : float
        ε. [1]

    Returns
    -------
    Rest
        L₀ (1 + ε) and T₀/(1 + 0.8 ε) [1]_ (from memory). [m]

    References
    ----------
    .. [1] I. R. Titze and B. H. Story, "Rules for controlling low-dimensional vocal fold models
       with muscle activation," J. Acoust. Soc. Am. 112(3), 1064-1076, 2002.
    """
    return Rest(rest.length * (1.0 + strained), rest.thickness / (1.0 + THINNING * strained))


def passive_stress(layer: Layer, strained: float) -> float:
    """Stress along a layer that is stretched.

    Parameters
    ----------
    layer : Layer
        The tissue.
    strained : float
        ε. [1]

    Returns
    -------
    float
        0 up to ε₁; σ₀ (1 - ε/ε₁) above it, and from ε₂ on σ₂ (e^y - y - 1), y = C (ε - ε₂), more
        [1]_ (from memory). [Pa]

    References
    ----------
    .. [1] I. R. Titze and B. H. Story, "Rules for controlling low-dimensional vocal fold models
       with muscle activation," J. Acoust. Soc. Am. 112(3), 1064-1076, 2002.
    """
    straight = layer.linear * max(1.0 - strained / layer.slack, 0.0)
    beyond = layer.rate * max(strained - layer.bend, 0.0)
    return straight + layer.rise * (math.exp(beyond) - beyond - 1.0)


def cover_stress(strained: float) -> float:
    """Stress along the cover: mucosa and the outer half of the ligament.

    Parameters
    ----------
    strained : float
        ε. [1]

    Returns
    -------
    float
        Mean of both over their depths [1]_ (from memory). [Pa]

    References
    ----------
    .. [1] I. R. Titze and B. H. Story, "Rules for controlling low-dimensional vocal fold models
       with muscle activation," J. Acoust. Soc. Am. 112(3), 1064-1076, 2002.
    """
    half = 0.5 * LIGAMENT.depth
    carried = MUCOSA.depth * passive_stress(MUCOSA, strained)
    carried += half * passive_stress(LIGAMENT, strained)
    return carried / (MUCOSA.depth + half)


def string_frequency(stress: float, length: float) -> float:
    """Lowest natural frequency of a fold as a string.

    Parameters
    ----------
    stress : float
        Along it, σ. [Pa]
    length : float
        L. [m]

    Returns
    -------
    float
        √(σ/ρ)/2L, ρ = `TISSUE_DENSITY` (text-book acoustics). [Hz]
    """
    return math.sqrt(stress / TISSUE_DENSITY) / (2.0 * length)


def with_body(cover_hz: float, body_share: float, active: float, passive: float) -> float:
    """Pitch of a cover that takes a part of the tensed body along.

    Parameters
    ----------
    cover_hz : float
        Of the cover alone. [Hz]
    body_share : float
        Depth of the body that swings over the depth of all that swings. [1]
    active, passive : float
        Stress that the TA makes in the body, and stress of the stretched tissue. [Pa]

    Returns
    -------
    float
        √(1 + share · active/passive) times the cover's [1]_ (from memory). [Hz]

    References
    ----------
    .. [1] I. R. Titze, E. S. Luschei and M. Hirano, "Role of the thyroarytenoid muscle in
       regulation of fundamental frequency," J. Voice 3(3), 213-224, 1989.
    """
    return cover_hz * math.sqrt(1.0 + body_share * active / passive)


def cover_frequency(
    rest: Rest, cricothyroid: float, thyroarytenoid: float, cricoarytenoid: float = 0.5
) -> float:
    """Natural frequency of the cover under three muscles.

    Parameters
    ----------
    rest : Rest
        The fold at rest.
    cricothyroid, thyroarytenoid, cricoarytenoid : float
        As in `strain`.

    Returns
    -------
    float
        `string_frequency` under `cover_stress`: what the folds are near to, and do not sing
        exactly. [Hz]
    """
    strained = strain(cricothyroid, thyroarytenoid, cricoarytenoid)
    return string_frequency(cover_stress(strained), stretched(rest, strained).length)
