"""The air against published tables, a reference equation of state, limits and units.

"Evaluated here" marks a number computed apart from the code, from the published formula named.
"""

import math

import published_air
import pytest

from reedbore.physics import air

ICE_POINT = 273.15
PLAYED = ICE_POINT + 27.0


@pytest.fixture(scope="module")
def library():
    """CoolProp, whose loading takes a second: only where it is asked."""
    from CoolProp import CoolProp  # noqa: PLC0415

    return CoolProp


def celsius(degrees):
    return ICE_POINT + degrees


# --- the default set -----------------------------------------------------------------------------


def test_keefe_air_at_300_kelvin_has_the_published_constants():
    # D. H. Keefe, J. Acoust. Soc. Am. 75, 58 (1984), table of constants at 300 K (from memory).
    gas = air.air_keefe(300.0)
    assert gas.sound_speed == pytest.approx(347.23, rel=1e-9)
    assert gas.density == pytest.approx(1.1769, rel=1e-9)
    assert gas.viscosity == pytest.approx(1.846e-5, rel=1e-9)
    assert gas.heat_ratio == pytest.approx(1.4017, rel=1e-9)


def test_keefe_air_at_20_celsius():
    # Evaluated here from D. H. Keefe, J. Acoust. Soc. Am. 75, 58 (1984), 6.85 K below 300 K.
    gas = air.air_keefe(celsius(20.0))
    assert gas.sound_speed == pytest.approx(343.282, abs=0.01)
    assert gas.density == pytest.approx(1.20391, abs=1e-4)
    assert gas.viscosity == pytest.approx(1.81439e-5, rel=1e-4)
    assert gas.heat_ratio == pytest.approx(1.40189, abs=1e-5)


def test_prandtl_number_at_27_celsius():
    # Evaluated here from D. H. Keefe, J. Acoust. Soc. Am. 75, 58 (1984).
    assert air.air_keefe(PLAYED).prandtl == pytest.approx(0.7072, abs=0.001)


def test_one_degree_raises_the_pitch_by_2_88_cents():
    # Evaluated here: 1200/ln 2 times the 0.00166 of D. H. Keefe, J. Acoust. Soc. Am. 75, 58 (1984),
    # close to the 1200/(2 T ln 2) of an ideal gas.
    speeds = [air.air_keefe(PLAYED + step).sound_speed for step in (-0.5, 0.5)]
    cents = 1200.0 * math.log2(speeds[1] / speeds[0])
    assert cents == pytest.approx(2.88, abs=0.02)
    assert cents == pytest.approx(1200.0 / (2.0 * PLAYED * math.log(2.0)), abs=0.02)


@pytest.mark.parametrize("temperature", [celsius(t) for t in (17.0, 20.0, 27.0, 37.0)])
@pytest.mark.parametrize("source", [air.air_keefe, published_air.air_chaigne])
def test_air_agrees_with_a_reference_equation_of_state(source, temperature, library):
    # CoolProp, dry air by E. W. Lemmon et al., J. Phys. Chem. Ref. Data 29, 331 (2000), viscosity
    # and heat conductivity by E. W. Lemmon and R. T. Jacobsen, Int. J. Thermophys. 25, 21 (2004).
    def reference(key):
        return library.PropsSI(key, "T", temperature, "P", air.ATMOSPHERE, "Air")

    # A straight line misses the 1/T of density by (10/300)² = 1.1e-3 at the ends of its range.
    gas = source(temperature)
    assert gas.sound_speed == pytest.approx(reference("A"), rel=5e-4)
    assert gas.density == pytest.approx(reference("D"), rel=1.5e-3)
    assert gas.viscosity == pytest.approx(reference("V"), rel=1e-2)
    assert gas.prandtl == pytest.approx(reference("PRANDTL"), rel=1e-2)
    assert gas.heat_ratio == pytest.approx(reference("C") / reference("O"), rel=1e-3)


@pytest.mark.parametrize("temperature", [celsius(t) for t in (17.0, 27.0, 37.0)])
def test_density_sound_speed_and_heat_ratio_fit_together_as_in_an_ideal_gas(temperature):
    # Ideal-gas algebra: ρc² = γp.
    gas = air.air_keefe(temperature)
    stiffness = gas.density * gas.sound_speed**2
    assert stiffness == pytest.approx(gas.heat_ratio * air.ATMOSPHERE, rel=2e-3)


# --- the rival set -------------------------------------------------------------------------------


def test_chaigne_air_at_20_celsius():
    # Evaluated here from A. Chaigne and J. Kergomard, Acoustics of Musical Instruments (2016).
    gas = published_air.air_chaigne(celsius(20.0))
    assert gas.sound_speed == pytest.approx(343.370, abs=0.001)
    assert gas.density == pytest.approx(1.20469, abs=1e-5)
    assert gas.viscosity == pytest.approx(1.80706e-5, rel=1e-5)
    assert gas.prandtl == pytest.approx(0.7051, abs=1e-4)


def test_chaigne_air_at_the_ice_point_is_its_own_reference():
    # A. Chaigne and J. Kergomard, Acoustics of Musical Instruments (2016), ch. 5.
    gas = published_air.air_chaigne(ICE_POINT)
    assert (gas.density, gas.sound_speed) == (1.2929, 331.45)


# --- moist air -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("degrees", "humidity", "speed"),
    [
        (20, 0.0, 343.359),
        (20, 0.5, 343.987),
        (20, 1.0, 344.613),
        (27, 0.0, 347.423),
        (27, 1.0, 349.362),
    ],
)
def test_cramer_sound_speed(degrees, humidity, speed):
    # Evaluated here from O. Cramer, J. Acoust. Soc. Am. 93, 2510 (1993), eq. 15.
    assert published_air.sound_speed_cramer(celsius(degrees), humidity) == pytest.approx(
        speed, abs=0.02
    )


def test_cramer_sound_speed_in_dry_air_at_the_ice_point():
    # H. C. Hardy, D. Telfair and W. H. Pielemeier, J. Acoust. Soc. Am. 13, 226 (1942): 331.44 m/s
    # within 0.05 (from memory). G. S. K. Wong, J. Acoust. Soc. Am. 79, 1359 (1986), has 331.29,
    # which is 0.05 % lower; the two do not agree within their own limits.
    speed = published_air.sound_speed_cramer(ICE_POINT, 0.0, carbon_dioxide=3e-4)
    assert speed == pytest.approx(331.44, abs=0.05)
    assert speed == pytest.approx(331.29, rel=6e-4)


@pytest.mark.parametrize("degrees", [0.0, 15.0, 30.0])
def test_cramer_dry_air_agrees_with_a_reference_equation_of_state(degrees, library):
    # CoolProp, dry air by E. W. Lemmon et al., J. Phys. Chem. Ref. Data 29, 331 (2000).
    reference = library.PropsSI("A", "T", celsius(degrees), "P", air.ATMOSPHERE, "Air")
    assert published_air.sound_speed_cramer(celsius(degrees), 0.0) == pytest.approx(
        reference, rel=3e-4
    )


@pytest.mark.parametrize("degrees", [5.0, 20.0, 30.0])
def test_vapour_fraction_agrees_with_a_reference_equation_of_state(degrees, library):
    # CoolProp, moist air after S. Herrmann et al., HVAC&R Research 15, 961 (2009).
    reference = library.HAPropsSI("psi_w", "T", celsius(degrees), "P", air.ATMOSPHERE, "R", 0.6)
    assert published_air.vapour_fraction(celsius(degrees), 0.6) == pytest.approx(
        reference, rel=3e-3
    )


def test_vapour_fraction_is_proportional_to_humidity_and_near_inverse_to_pressure():
    # Definition; the enhancement factor departs from 1 by half a percent at most.
    full = published_air.vapour_fraction(PLAYED, 1.0)
    assert published_air.vapour_fraction(PLAYED, 0.25) == pytest.approx(full / 4.0, rel=1e-12)
    thinner = published_air.vapour_fraction(PLAYED, 1.0, pressure=air.ATMOSPHERE / 2.0)
    assert thinner == pytest.approx(2.0 * full, rel=5e-3)


# --- breath --------------------------------------------------------------------------------------


def test_breathed_air_sounds_like_dry_air_at_the_same_temperature():
    # Evaluated here: ideal mixture, saturated, 2.5 % carbon dioxide for oxygen, 27 °C.
    breath = published_air.air_exhaled(PLAYED)
    assert breath.sound_speed == pytest.approx(347.09, abs=0.05)
    assert breath.density == pytest.approx(1.172, abs=0.001)
    assert breath.sound_speed == pytest.approx(air.air_keefe(PLAYED).sound_speed, rel=1.5e-3)


def test_dry_breath_without_extra_carbon_dioxide_is_room_air(library):
    # Limit: no vapour, room carbon dioxide. CoolProp, dry air by E. W. Lemmon et al.,
    # J. Phys. Chem. Ref. Data 29, 331 (2000).
    plain = published_air.air_exhaled(
        PLAYED, humidity=0.0, carbon_dioxide=published_air.ROOM_CARBON_DIOXIDE
    )
    for value, key in ((plain.sound_speed, "A"), (plain.density, "D")):
        reference = library.PropsSI(key, "T", PLAYED, "P", air.ATMOSPHERE, "Air")
        assert value == pytest.approx(reference, rel=5e-4)


def test_breathed_air_agrees_with_a_mixture_of_reference_equations_of_state(library):
    # CoolProp, mixture model of O. Kunz and W. Wagner, J. Chem. Eng. Data 57, 3032 (2012).
    vapour = published_air.vapour_fraction(PLAYED, 1.0)
    dry = {"Nitrogen": 0.78084, "Argon": 0.00934, "CarbonDioxide": 0.025, "Oxygen": 0.18482}
    state = library.AbstractState("HEOS", "&".join(["Water", *dry]))
    state.set_mole_fractions([vapour, *(share * (1.0 - vapour) for share in dry.values())])
    state.specify_phase(library.iphase_gas)
    state.update(library.PT_INPUTS, air.ATMOSPHERE, PLAYED)
    breath = published_air.air_exhaled(PLAYED)
    assert breath.sound_speed == pytest.approx(state.speed_sound(), rel=1e-3)
    assert breath.density == pytest.approx(state.rhomass(), rel=1e-3)


def test_moisture_raises_and_carbon_dioxide_lowers_the_speed_of_sound():
    # Common practice, no source: light molecules speed sound up, heavy ones slow it down.
    plain = published_air.air_exhaled(PLAYED, humidity=0.0, carbon_dioxide=0.0004)
    moist = published_air.air_exhaled(PLAYED, humidity=1.0, carbon_dioxide=0.0004)
    stale = published_air.air_exhaled(PLAYED, humidity=0.0, carbon_dioxide=0.05)
    assert stale.sound_speed < plain.sound_speed < moist.sound_speed
