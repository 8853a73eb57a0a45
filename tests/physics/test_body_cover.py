"""Rules that turn muscles into folds: numbers of the recalled rules, limits, and what is told."""

import pytest

from reedbore.physics import body_cover as rules

MEN_WOMEN = [(rules.MALE, (168.0, 235.0, 412.0)), (rules.FEMALE, (269.0, 377.0, 660.0))]


@pytest.mark.parametrize(("rest", "told"), MEN_WOMEN)
def test_cover_of_men_and_women(rest, told):
    # Rules of I. R. Titze and B. H. Story, J. Acoust. Soc. Am. 112, 1064 (2002), from memory,
    # computed apart from this code for (CT, TA) of (0.1, 0.1), (0.3, 0.1), (0.7, 0.2), LC 0.5.
    found = [rules.cover_frequency(rest, *pair) for pair in ((0.1, 0.1), (0.3, 0.1), (0.7, 0.2))]
    assert found == pytest.approx(told, abs=0.7)


def test_muscles_stretch_and_shorten():
    # As above: ε = 0.2 (3 a_CT - a_TA) - 0.2 a_LC, evaluated here.
    assert rules.strain(1.0, 0.0, 0.0) == pytest.approx(0.6)
    assert rules.strain(0.0, 1.0, 0.0) == pytest.approx(-0.2)
    assert rules.strain(0.5, 0.5, 0.5) == pytest.approx(0.1)


def test_stretched_folds_are_longer_and_thinner():
    # As above, evaluated here: 16 and 3 mm at a strain of a quarter.
    assert rules.stretched(rules.MALE, 0.25) == pytest.approx((20e-3, 2.5e-3))
    assert rules.stretched(rules.MALE, 0.0) == rules.MALE


def test_slack_tissue_has_no_stress_and_stretched_tissue_grows_stiff():
    for layer in (rules.MUCOSA, rules.LIGAMENT):
        assert rules.passive_stress(layer, layer.slack) == 0.0
        assert rules.passive_stress(layer, layer.bend - 1e-9) == pytest.approx(
            rules.passive_stress(layer, layer.bend + 1e-9), abs=1e-4
        )
        at = [rules.passive_stress(layer, strained) for strained in (0.1, 0.2, 0.3)]
        assert at[2] - at[1] > at[1] - at[0] > 0.0


def test_stress_of_the_mucosa_is_as_evaluated():
    # As above, evaluated here: 0.5 · 1.2 + 30 (e^1.98 - 2.98) kPa at a strain of 0.1.
    assert rules.passive_stress(rules.MUCOSA, 0.1) == pytest.approx(128.48e3, rel=1e-4)


def test_string_of_a_known_pitch():
    # Text-book acoustics: 1040 kg/m³ under 1040 · 64 Pa carries waves of 8 m/s; 16 mm is a half.
    assert rules.string_frequency(1040.0 * 64.0, 16e-3) == pytest.approx(250.0)


def test_string_scales_with_its_units():
    plain = rules.string_frequency(2e4, 12e-3)
    assert rules.string_frequency(2e4 * 9.0, 12e-3 * 5.0) == pytest.approx(plain * 3.0 / 5.0)


def test_stretching_muscle_raises_the_pitch_and_shortening_one_lowers_that_of_the_cover():
    def at(cricothyroid, thyroarytenoid):
        return rules.cover_frequency(rules.MALE, cricothyroid, thyroarytenoid)

    assert at(0.2, 0.2) < at(0.4, 0.2) < at(0.6, 0.2)
    assert at(0.4, 0.4) < at(0.4, 0.2)


def test_tensed_body_raises_low_soft_voices_and_not_high_ones():
    # I. R. Titze, E. S. Luschei and M. Hirano, J. Voice 3, 213 (1989): TA raises a low pitch and
    # lowers a high one. Active stress after their 105 kPa (from memory); half of what swings is
    # body where the folds are slack, a twentieth where they are stretched (our choice).
    def at(cricothyroid, thyroarytenoid, share):
        cover = rules.cover_frequency(rules.MALE, cricothyroid, thyroarytenoid)
        stress = rules.cover_stress(rules.strain(cricothyroid, thyroarytenoid, 0.5))
        return rules.with_body(cover, share, 105e3 * thyroarytenoid, stress)

    assert at(0.1, 0.4, 0.5) > at(0.1, 0.2, 0.5)
    assert at(0.8, 0.4, 0.05) < at(0.8, 0.2, 0.05)


def test_without_body_the_cover_sings_alone():
    assert rules.with_body(200.0, 0.0, 1e5, 2e4) == 200.0
