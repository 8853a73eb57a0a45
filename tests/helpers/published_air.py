"""Other published laws of air, moist and breathed air among them: rivals of `air.air_keefe`."""

import math

from reedbore.physics.air import ATMOSPHERE, Gas, air_keefe

GAS_CONSTANT = 8.314462618  # [J mol⁻¹ K⁻¹], exact since the 2019 SI


FREEZING = 273.15  # [K]


ROOM_CARBON_DIOXIDE = 4e-4


def air_chaigne(temperature: float) -> Gas:
    """Dry air by the second common set of constants.

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
    ρ = 1.2929 T₀/T, c = 331.45 √(T/T₀), η = 1.708e-5 (1 + 0.0029 t), heat conductivity
    5.77e-3 (1 + 0.0033 t) and specific heat 240 in calories of 4.184 J, with T₀ = 273.15 K and
    t = T - T₀ [1]_. Specific heat and heat ratio (1.402) are from memory.

    References
    ----------
    .. [1] A. Chaigne and J. Kergomard, "Acoustics of Musical Instruments," Springer, 2016, ch. 5.
    """
    celsius = temperature - FREEZING
    viscosity = 1.708e-5 * (1.0 + 0.0029 * celsius)
    return Gas(
        density=1.2929 * FREEZING / temperature,
        sound_speed=331.45 * math.sqrt(temperature / FREEZING),
        viscosity=viscosity,
        heat_ratio=1.402,
        prandtl=viscosity * 240.0 / (5.77e-3 * (1.0 + 0.0033 * celsius)),
    )


def vapour_fraction(temperature: float, humidity: float, pressure: float = ATMOSPHERE) -> float:
    """Share of the molecules that are water vapour.

    Parameters
    ----------
    temperature : float
        Temperature. [K]
    humidity : float
        Relative humidity, 0 to 1.
    pressure : float
        Air pressure. [Pa]

    Returns
    -------
    float
        Mole fraction of water vapour.

    Notes
    -----
    x = h f p_sv/p with the enhancement factor f = 1.00062 + 3.14e-8 p + 5.6e-7 t² and the
    saturation pressure
    p_sv = exp(1.2811805e-5 T² - 1.9509874e-2 T + 34.04926034 - 6353.6311/T) [1]_.

    References
    ----------
    .. [1] O. Cramer, "The variation of the specific heat ratio and the speed of sound in air with
       temperature, pressure, humidity, and CO2 concentration," J. Acoust. Soc. Am. 93(5),
       2510-2516, 1993 (appendix).
    """
    celsius = temperature - FREEZING
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * celsius**2
    saturation = math.exp(
        1.2811805e-5 * temperature**2
        - 1.9509874e-2 * temperature
        + 34.04926034
        - 6353.6311 / temperature
    )
    return humidity * enhancement * saturation / pressure


def sound_speed_cramer(
    temperature: float,
    humidity: float,
    pressure: float = ATMOSPHERE,
    carbon_dioxide: float = ROOM_CARBON_DIOXIDE,
) -> float:
    """Speed of sound in moist air, 0 to 30 °C, 75 to 102 kPa, up to 1 % carbon dioxide.

    Parameters
    ----------
    temperature : float
        Temperature. [K]
    humidity : float
        Relative humidity, 0 to 1.
    pressure : float
        Air pressure. [Pa]
    carbon_dioxide : float
        Mole fraction of carbon dioxide.

    Returns
    -------
    float
        Speed of sound. [m s⁻¹]

    Notes
    -----
    The sixteen-term polynomial in temperature, vapour, pressure and carbon dioxide [1]_.

    References
    ----------
    .. [1] O. Cramer, "The variation of the specific heat ratio and the speed of sound in air with
       temperature, pressure, humidity, and CO2 concentration," J. Acoust. Soc. Am. 93(5),
       2510-2516, 1993 (eq. 15).
    """
    t = temperature - FREEZING
    w, p, x = vapour_fraction(temperature, humidity, pressure), pressure, carbon_dioxide
    return (
        (331.5024 + 0.603055 * t - 0.000528 * t**2)
        + (51.471935 + 0.1495874 * t - 0.000782 * t**2) * w
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * p
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * x
        - 2.835149 * w**2
        - 2.15e-13 * p**2
        + 29.179762 * x**2
        + 0.000486 * w * p * x
    )


def air_exhaled(temperature: float, humidity: float = 1.0, carbon_dioxide: float = 0.025) -> Gas:
    """Breathed air: moist, and with carbon dioxide in the place of oxygen.

    Parameters
    ----------
    temperature : float
        Temperature. [K]
    humidity : float
        Relative humidity, 0 to 1.
    carbon_dioxide : float
        Mole fraction of carbon dioxide in the dry part; a player's horn holds about 0.025.

    Returns
    -------
    Gas
        Ideal-gas mixture at one atmosphere; viscosity and Prandtl number are those of dry air.

    Notes
    -----
    M = (1 - w) [M_air + (x - x_room)(M_CO2 - M_O2)] + w M_H2O and the same sum for the molar heat
    C_p; γ = C_p/(C_p - R), c = √(γRT/M), ρ = pM/(RT) (ideal-gas algebra). Molar masses and heats
    [J mol⁻¹ K⁻¹] near 300 K are those of the reference equations of state collected in [1]_.
    Vapour and carbon dioxide nearly cancel: at 27 °C the result is within 0.1 % of dry air.

    References
    ----------
    .. [1] I. H. Bell, J. Wronski, S. Quoilin and V. Lemort, "Pure and pseudo-pure fluid
       thermophysical property evaluation and the open-source thermophysical property library
       CoolProp," Ind. Eng. Chem. Res. 53(6), 2498-2508, 2014.
    """
    vapour = vapour_fraction(temperature, humidity)
    excess = carbon_dioxide - ROOM_CARBON_DIOXIDE
    molar_mass = (1.0 - vapour) * (0.0289655 + excess * (0.0440098 - 0.0319988))
    molar_mass += vapour * 0.0180153
    molar_heat = (1.0 - vapour) * (29.10 + excess * (37.23 - 29.39)) + vapour * 33.60
    heat_ratio = molar_heat / (molar_heat - GAS_CONSTANT)
    dry = air_keefe(temperature)
    return Gas(
        density=ATMOSPHERE * molar_mass / (GAS_CONSTANT * temperature),
        sound_speed=math.sqrt(heat_ratio * GAS_CONSTANT * temperature / molar_mass),
        viscosity=dry.viscosity,
        heat_ratio=heat_ratio,
        prandtl=dry.prandtl,
    )
