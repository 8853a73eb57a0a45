"""How light a colour looks."""


def lightness(colour: str) -> float:
    """Give the lightness L* of a colour, 0 for black to 100 for white.

    Parameters
    ----------
    colour : str
        As ``#rrggbb``, sRGB.

    Returns
    -------
    float
        CIE 1976 L* [1]_.

    References
    ----------
    .. [1] ISO/CIE 11664-4:2019, "Colorimetry - Part 4: CIE 1976 L*a*b* colour space"; sRGB as in
       IEC 61966-2-1:1999 (both from memory).
    """
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return 116.0 * (y ** (1.0 / 3.0) if y > 0.008856 else 7.787 * y + 16.0 / 116.0) - 16.0
