"""The air in the horn: density, sound speed, viscosity and heat at one temperature.

Temperatures in kelvin, pressure 101325 Pa.
"""

from typing import NamedTuple

ATMOSPHERE = 101325.0  # [Pa]


class Gas(NamedTuple):
    """What sound in a tube needs to know about the gas.

    Parameters
    ----------
    density : float
        Density ρ. [kg m⁻³]
    sound_speed : float
        Speed of sound c in the free gas. [m s⁻¹]
    viscosity : float
        Shear viscosity η; zero switches all wall losses off. [Pa s]
    heat_ratio : float
        Ratio γ of the specific heats at constant pressure and constant volume.
    prandtl : float
        Prandtl number, viscosity times specific heat over heat conductivity.
    """

    density: float
    sound_speed: float
    viscosity: float
    heat_ratio: float
    prandtl: float


def air_keefe(temperature: float) -> Gas:
    """Dry air between about 290 and 310 K, the set used by default.

    Parameters
    ----------
    temperature : float
        Temperature. [K]

    Returns
    -------
    Gas
        Air at one atmosphere.

    Notes
    -----
    Straight lines in Δ = T - 300 K for density, viscosity, heat ratio, the square root of the
    Prandtl number and sound speed [1]_. The coefficients are from memory; sound speed, density,
    viscosity, heat ratio and Prandtl number agree with a reference equation of state to 0.5 %
    (see the tests).

    References
    ----------
    .. [1] D. H. Keefe, "Acoustical wave propagation in cylindrical ducts: transmission line
       parameter approximations for isothermal and nonisothermal boundary conditions,"
       J. Acoust. Soc. Am. 75(1), 58-62, 1984.
    """
    step = temperature - 300.0
    return Gas(
        density=1.1769 * (1.0 - 0.00335 * step),
        sound_speed=347.23 * (1.0 + 0.00166 * step),
        viscosity=1.846e-5 * (1.0 + 0.0025 * step),
        heat_ratio=1.4017 * (1.0 - 0.00002 * step),
        prandtl=(0.8410 * (1.0 - 0.0002 * step)) ** 2,
    )
