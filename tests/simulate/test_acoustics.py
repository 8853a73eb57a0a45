"""The chain of a bore in frequency: its splitting, rivals written apart, energy, what leaves it."""

import itertools
import math

import bores
import numpy as np
import published_radiation
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from reedbore.model.bore import Bore, BoreSection, Hole, Lattice
from reedbore.model.presets import load_horn, names
from reedbore.notes import midi_to_hz
from reedbore.physics import radiation, toneholes, tube
from reedbore.physics.air import air_keefe
from reedbore.simulate.acoustics.bore import (
    Opening,
    bore_admittance,
    elements,
    end_impedance,
    first_opening,
    outflow,
    row_cutoff,
    split,
    two_port,
    vent_number,
)
from reedbore.simulate.tuning import roughly

GAS = air_keefe(300.15)
SPRING = GAS.density * GAS.sound_speed**2
OMEGA = 2.0 * math.pi * np.geomspace(30.0, 5000.0, 150)
CASES = bores.HOLED + bores.ENDED


def bore_of(name, fingering):
    return bores.setup_of(name, fingering).bore


def tube_with(*holes, length=0.5, diameter=15e-3, **others):
    """A cylinder with holes at positions, each 8 mm wide and high, all open."""
    section = BoreSection(length=length, entry=diameter, exit=diameter)
    holes = tuple(Hole(position=at, diameter=8e-3, chimney=8e-3, open=1.0) for at in holes)
    return Bore(sections=(section,), holes=holes, **others)


# --- splitting -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "fingering"), CASES)
def test_elements_keep_length_and_widths_of_the_bore(name, fingering):
    # Definition: pieces follow each other as the bore does; a hole stands at its position.
    bore = bore_of(name, fingering)
    at, holes = 0.0, iter(bore.holes)
    for part in elements(bore):
        if isinstance(part, Opening):
            assert next(holes).position == pytest.approx(at, abs=1e-9)
            assert 2.0 * part.bore_radius == pytest.approx(bore.diameter_at(at), rel=1e-6)
            continue
        assert 2.0 * part[1] == pytest.approx(bore.diameter_at(at), rel=1e-6)
        at += part[0]
        assert 2.0 * part[2] == pytest.approx(bore.diameter_at(at - 1e-12), rel=1e-6)
    assert next(holes, None) is None
    assert at == pytest.approx(sum(piece[0] for piece in bore.chain()), rel=1e-12)


def widths(bore):
    """What the elements are: the length of a piece [mm], or the number of a hole."""
    return [
        part.number if isinstance(part, Opening) else pytest.approx(1e3 * part[0])
        for part in elements(bore)
    ]


def test_a_hole_at_a_joint_makes_no_piece_of_no_length():
    halves = (BoreSection(length=0.25, entry=15e-3, exit=15e-3),) * 2
    hole = Hole(position=0.25, diameter=8e-3, chimney=8e-3)
    assert widths(Bore(sections=halves, holes=(hole,))) == [250.0, 0, 250.0]


def test_a_hole_at_a_step_stands_in_a_bore_of_its_width_or_wider():
    # A hole may be as wide as the narrower side of a step, and no wider.
    narrow = BoreSection(length=0.25, entry=10e-3, exit=10e-3)
    wide = BoreSection(length=0.25, entry=20e-3, exit=20e-3)
    hole = Hole(position=0.25, diameter=10e-3, chimney=5e-3)
    parts = elements(Bore(sections=(narrow, wide), holes=(hole,)))
    assert [isinstance(part, Opening) for part in parts] == [False, True, False]
    assert parts[1].bore_radius >= 5e-3


def test_a_cut_bore_keeps_the_holes_above_the_cut():
    assert widths(tube_with(0.1, 0.2, 0.299, length=0.3)) == [100.0, 0, 100.0, 1, 99.0, 2, 1.0]
    longer = tube_with(0.1, 0.2).model_copy(update={"length": 0.25})
    assert widths(longer) == [100.0, 0, 100.0, 1, 50.0]


def test_split_gives_back_the_chain():
    bore = bore_of("cylinder", "vent and row")
    for number in range(len(bore.holes)):
        above, hole, below = split(bore, number)
        assert hole.number == number
        assert (*above, hole, *below) == elements(bore)


def test_split_at_a_hole_that_is_not_there_is_an_index_error():
    with pytest.raises(IndexError):
        split(tube_with(0.1), 1)


def test_a_half_open_hole_is_a_smaller_hole():
    # Definition of `open`: the share of its area.
    half = Hole(position=0.2, diameter=8e-3, chimney=8e-3, open=0.5)
    bore = tube_with().model_copy(update={"holes": (half,)})
    (hole,) = (part for part in elements(bore) if isinstance(part, Opening))
    assert hole.is_open
    assert hole.radius == pytest.approx(4e-3 * math.sqrt(0.5))


@pytest.mark.parametrize(
    ("fingering", "vent"),
    [("closed", None), ("low", None), ("high", None), ("vent", 0), ("vent and row", 0)],
)
def test_the_vent_is_the_hole_open_far_above_the_others(fingering, vent):
    for name in ("cylinder", "cone"):
        assert vent_number(bore_of(name, fingering)) == vent


# --- rivals --------------------------------------------------------------------------------------


def slices(length, entry, far, omega, count):
    """Two-port of many short cylinders, the exact losses of Zwikker and Kosten written again."""
    whole = np.broadcast_to(np.eye(2, dtype=complex), (omega.size, 2, 2))
    for k in range(count):
        radius = entry + (far - entry) * (k + 0.5) / count
        area = math.pi * radius**2
        viscous = radius * np.sqrt(-1j * GAS.density * omega / GAS.viscosity)
        thermal = viscous * math.sqrt(GAS.prandtl)
        f_v, f_t = (2.0 * special.jve(1, x) / (x * special.jve(0, x)) for x in (viscous, thermal))
        series = 1j * omega * GAS.density / area / (1.0 - f_v)
        shunt = 1j * omega * area / SPRING * (1.0 + (GAS.heat_ratio - 1.0) * f_t)
        gamma, wave = np.sqrt(series * shunt) * (length / count), np.sqrt(series / shunt)
        part = np.array([[np.cosh(gamma), wave * np.sinh(gamma)],
                         [np.sinh(gamma) / wave, np.cosh(gamma)]])  # fmt: skip
        whole = whole @ part.transpose(2, 0, 1)
    return whole


def hole_matrix(hole, bore_radius, omega):
    """T of two halves of a series mass and a shunt, as printed by Keefe 1990, losses included."""
    b, t, is_open = 0.5 * hole.diameter, hole.chimney, hole.open > 0.0
    delta = b / bore_radius
    wave, k = GAS.density * GAS.sound_speed / (math.pi * b**2), omega / GAS.sound_speed
    gamma = tube.wall_loss(b, omega, GAS)[0]
    inner = b * np.polyval((0.502, -1.640, 2.138, -1.566, -0.095, 0.822), delta)
    height = t + b * delta / 8.0 * (1.0 + 0.207 * delta**3)
    outer = np.tanh(gamma * (height + 0.75 * b)) if is_open else 1.0 / np.tanh(gamma * height)
    shunt = wave * (gamma * inner + outer + (0.25 * (k * b) ** 2 if is_open else 0.0))
    depth = np.tanh(1.84 * t / b) ** (1 if is_open else -1)
    length = -0.47 * b * delta**4 / (depth + 0.62 * delta**2 + 0.64 * delta)
    one, none = np.ones(omega.size), np.zeros(omega.size)
    half = np.array([[one, 0.5j * wave * k * length], [none, one]]).transpose(2, 0, 1)
    middle = np.array([[one, none], [1.0 / shunt, one]]).transpose(2, 0, 1)
    return half @ middle @ half


def rival_impedance(bore, omega, per_metre=2500):
    """Input impedance of a bore with an unflanged end, hole after hole, slice after slice."""
    whole = np.broadcast_to(np.eye(2, dtype=complex), (omega.size, 2, 2))
    joints = np.cumsum([0.0, *(section.length for section in bore.sections)])
    marks = sorted({*joints, *(hole.position for hole in bore.holes)})
    holes = {hole.position: hole for hole in bore.holes}
    widths_at = [section.entry for section in bore.sections] + [bore.sections[-1].exit]
    for start, end in itertools.pairwise(marks):
        radii = 0.5 * np.interp((start, end), joints, widths_at)
        count = 1 if radii[0] == radii[1] else max(1, round((end - start) * per_metre))
        whole = whole @ slices(end - start, *radii, omega, count)
        if end in holes:
            whole = whole @ hole_matrix(holes[end], radii[1], omega)
    ka = omega * 0.5 * widths_at[-1] / GAS.sound_speed
    plain = GAS.density * GAS.sound_speed / (math.pi * (0.5 * widths_at[-1]) ** 2)
    load = plain * published_radiation.radiation_impedance(radiation.reflection_levine(ka))
    a, b, c, d = whole[:, 0, 0], whole[:, 0, 1], whole[:, 1, 0], whole[:, 1, 1]
    return (a * load + b) / (c * load + d)


@pytest.mark.parametrize("fingering", bores.FINGERINGS)
def test_cylinder_with_holes_is_the_product_of_its_matrices(fingering):
    # C. Zwikker and C. W. Kosten, "Sound Absorbing Materials", 1949; D. H. Keefe, J. Acoust. Soc.
    # Am. 88, 35 (1990): written again as a product of 2 x 2 matrices. The bell is sliced.
    bore, omega = bore_of("cylinder", fingering), 2.0 * math.pi * np.linspace(60.0, 3000.0, 60)
    exact = 1.0 / bore_admittance(bore, omega, GAS)
    assert np.abs(rival_impedance(bore, omega) / exact - 1.0).max() < 1e-3


@pytest.mark.parametrize("fingering", ["closed", "middle", "vent and row"])
def test_cone_with_holes_is_the_product_of_its_matrices(fingering):
    # The same sources; losses in a long cone are those of one mean radius, so that slices, each
    # with its own, differ a little near peaks.
    bore, omega = bore_of("cone", fingering), 2.0 * math.pi * np.linspace(60.0, 2000.0, 60)
    exact = 1.0 / bore_admittance(bore, omega, GAS)
    assert np.abs(rival_impedance(bore, omega) / exact - 1.0).max() < 5e-3


@pytest.mark.parametrize("name", ["row behind a cylinder", "row behind a cone"])
def test_admittance_behind_a_row_is_never_negative(name):
    # Passivity.
    omega = 2.0 * math.pi * np.linspace(5.0, 15000.0, 3000)
    assert bore_admittance(bore_of(name, "closed"), omega, GAS).real.min() > 0.0


def test_row_behind_a_cylinder_is_a_long_finite_row_of_holes():
    # Definition: sixty holes 25 mm apart, behind a tube that ends where the row begins. Below the
    # cut-off, sixty are endless.
    row = Lattice(diameter=8e-3, chimney=8e-3, spacing=25e-3)
    places = 0.3 + 25e-3 * np.arange(60)
    finite = tube_with(*places, length=0.3 + 60 * 25e-3)
    endless = tube_with(length=0.3, end="lattice", lattice=row)
    omega = 2.0 * math.pi * np.linspace(50.0, 1200.0, 100)
    both = [bore_admittance(bore, omega, GAS) for bore in (finite, endless)]
    assert both[0] == pytest.approx(both[1], rel=1e-6)


def test_cutoff_of_a_row_behind_a_bore_is_that_of_its_holes():
    # Brillouin 1946 through `toneholes`; the holes are those of the test of 1745 Hz.
    row = Lattice(diameter=7.8e-3, chimney=8e-3, spacing=20e-3)
    bore = tube_with(diameter=14.6e-3, end="lattice", lattice=row)
    assert row_cutoff(bore, GAS) == pytest.approx(1745.0, abs=10.0)


# --- energy and flow -----------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "fingering"), CASES)
def test_a_bore_only_takes_power(name, fingering):
    # Passivity, and |reflection| below 1 with it.
    omega = 2.0 * math.pi * np.geomspace(1.0, 20000.0, 1500)
    assert bore_admittance(bore_of(name, fingering), omega, GAS).real.min() > 0.0


@pytest.mark.parametrize("fingering", bores.FINGERINGS)
@pytest.mark.parametrize("name", ["cylinder", "cone"])
def test_power_that_enters_is_lost_in_pieces_and_holes_or_radiated(name, fingering):
    # Energy, followed from the reed, with all power counted part by part.
    bore, omega = bore_of(name, fingering), 2.0 * math.pi * np.linspace(80.0, 2000.0, 50)
    chain, end = elements(bore), end_impedance(bore, omega, GAS)
    flow, spent = np.ones(omega.size, complex), np.zeros(omega.size)
    pressure = end * flow
    spent += (pressure * flow.conj()).real
    for part in reversed(chain):
        a, b, c, d = two_port(part, omega, GAS)
        before, inflow = a * pressure + b * flow, c * pressure + d * flow
        taken = (before * inflow.conj()).real - (pressure * flow.conj()).real
        assert taken.min() > -1e-9 * spent.max()
        spent += taken
        pressure, flow = before, inflow
    conductance = bore_admittance(bore, omega, GAS).real
    assert conductance * np.abs(pressure) ** 2 == pytest.approx(spent, rel=1e-6)


@pytest.mark.parametrize(("name", "fingering"), CASES)
def test_outflow_knows_the_admittance(name, fingering):
    # Consistency of the two ways through the chain.
    bore = bore_of(name, fingering)
    taken = outflow(bore, OMEGA, GAS).admittance
    assert taken == pytest.approx(bore_admittance(bore, OMEGA, GAS), rel=1e-6)


def pressed_together(piece, omega, pressure, flow, gas):
    """Flow that one piece of bore keeps, jω ∫ p S dx/ρc², from what stands at its far end."""
    length, entry, far = piece
    count = max(4, round(length / 2e-3))
    radii = np.linspace(entry, far, count + 1)
    across = [pressure]
    for k in reversed(range(count)):
        part = length / count, radii[k], radii[k + 1]
        a, b, c, d = two_port(part, omega, gas)
        pressure, flow = a * pressure + b * flow, c * pressure + d * flow
        across.append(pressure)
    areas = math.pi * radii[::-1] ** 2
    held = np.trapezoid(np.array(across) * areas[:, None], dx=length / count, axis=0)
    return 1j * omega * held / SPRING, pressure, flow


@pytest.mark.parametrize(("name", "fingering"), [*bores.HOLED, ("bell", "closed")])
def test_flow_that_does_not_leave_is_pressed_together(name, fingering):
    # Conservation of mass without losses, at low and at playing frequencies: flow in less flow out
    # is what the bore, slice by slice, and the closed chimneys keep.
    bore, omega = bore_of(name, fingering), 2.0 * math.pi * np.array([1.0, 120.0, 350.0])
    quiet = GAS._replace(viscosity=0.0)
    taken, outside, _ = outflow(bore, omega, quiet)
    pressure = end_impedance(bore, omega, quiet)
    flow, kept = np.ones(omega.size, complex), np.zeros(omega.size, complex)
    for part in reversed(elements(bore)):
        if isinstance(part, Opening):
            a, b, c, d = part.two_port(omega, quiet)
            before, inflow = a * pressure + b * flow, c * pressure + d * flow
            kept += 0.0 if part.is_open else inflow - flow
            pressure, flow = before, inflow
            continue
        held, pressure, flow = pressed_together(part, omega, pressure, flow, quiet)
        kept += held
    assert np.abs((taken - outside) * pressure - kept).max() < 1e-4 * np.abs(kept).max()


@pytest.mark.parametrize(
    ("name", "within"), [("row behind a cylinder", 1e-4), ("row behind a cone", 3e-3)]
)
def test_slow_flow_leaves_a_row_of_holes_as_it_enters(name, within):
    # Conservation of mass, no losses: below all resonances nothing is pressed together. That the
    # holes behind a cone grow is told without their series length, so there to 0.3 %.
    omega = 2.0 * math.pi * np.array([1.0])
    taken, outside, _ = outflow(bore_of(name, "closed"), omega, GAS._replace(viscosity=0.0))
    assert outside == pytest.approx(taken, rel=within)


@given(length=st.floats(0.1, 2.0), frequency=st.floats(20.0, 2000.0))
def test_flow_out_of_a_lossless_pipe_is_that_of_the_textbook(length, frequency):
    # N. H. Fletcher and T. D. Rossing, "The Physics of Musical Instruments", 1998, ch. 8: into an
    # end of impedance Z, U_out/p_in = 1/(Z cos kL + j Zc sin kL).
    omega = np.array([2.0 * math.pi * frequency])
    quiet = GAS._replace(viscosity=0.0)
    bore = tube_with(length=length)
    end = end_impedance(bore, omega, quiet)
    wave = quiet.density * quiet.sound_speed / (math.pi * 7.5e-3**2)
    turn = omega * length / quiet.sound_speed
    wanted = 1.0 / (end * np.cos(turn) + 1j * wave * np.sin(turn))
    assert outflow(bore, omega, quiet).flow == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize("name", names("horns"))
def test_without_walls_all_that_enters_is_radiated_on_every_note(name):
    # Energy, at partials 1 to 24: what openings send out is what the bore takes in. To 1e-6, with
    # an endless row too: the power of its holes is a sum of its own, not what enters it.
    horn, quiet = load_horn(name), GAS._replace(viscosity=0.0)
    for midi in horn.notes():
        bore = roughly(horn, midi_to_hz(midi)).bore
        found = outflow(bore, 2.0 * math.pi * midi_to_hz(midi) * np.arange(1.0, 25.0), quiet)
        assert found.power == pytest.approx(0.5 * found.admittance.real, rel=1e-6)


@pytest.mark.parametrize(("name", "fingering"), CASES)
def test_walls_take_their_share_of_what_enters(name, fingering):
    found = outflow(bore_of(name, fingering), OMEGA, GAS)
    assert (found.power > 0.0).all()
    assert (found.power < 0.5 * found.admittance.real).all()


@pytest.mark.parametrize("fingering", ["low", "middle", "high", "crossed", "vent and row"])
def test_outflow_is_the_sum_over_all_openings(fingering):
    # Definition, counted the other way: from the reed, hole by hole, as pressure over shunt.
    bore, omega = bore_of("cylinder", fingering), 2.0 * math.pi * np.linspace(80.0, 800.0, 20)
    taken, outside, _ = outflow(bore, omega, GAS)
    pressure, flow, found = np.ones(omega.size, complex), taken, np.zeros(omega.size, complex)
    for part in elements(bore):
        a, b, c, d = two_port(part, omega, GAS)
        after, onward = d * pressure - b * flow, a * flow - c * pressure
        found += flow - onward if isinstance(part, Opening) and part.is_open else 0.0
        pressure, flow = after, onward
    assert found + flow == pytest.approx(outside, rel=1e-4)


def test_outflow_of_a_row_is_that_of_a_long_finite_row():
    # Definition, as for the admittance above.
    row = Lattice(diameter=8e-3, chimney=8e-3, spacing=25e-3)
    finite = tube_with(*(0.3 + 25e-3 * np.arange(60)), length=0.3 + 60 * 25e-3)
    endless = tube_with(length=0.3, end="lattice", lattice=row)
    omega = 2.0 * math.pi * np.linspace(50.0, 1200.0, 100)
    both = [outflow(bore, omega, GAS).flow for bore in (finite, endless)]
    assert both[0] == pytest.approx(both[1], rel=1e-6)


def test_an_open_hole_raises_the_lowest_resonance():
    # C. J. Nederveen, "Acoustical Aspects of Woodwind Instruments", 1969: the nearer to the reed,
    # the higher.
    hz = np.linspace(60.0, 600.0, 2000)
    lowest = [
        tube.peaks(hz, 1.0 / bore_admittance(bore, 2.0 * math.pi * hz, GAS)).frequency[0]
        for bore in (bore_of("cylinder", name) for name in ("closed", "low", "middle", "high"))
    ]
    assert (np.diff(lowest) > 0.0).all()


def test_a_mouthpiece_that_is_a_tube_stands_for_more_of_the_missing_tip_than_a_volume():
    # Worked out here: the tip that a cone lacks, x long, admits S/(rho c) (kx/3 + (kx)^3/45 + ...);
    # a volume as large only the first term, a tube of x/sqrt(5) and 0.745 S both: octave and
    # twelfth are then far less sharp.
    cone = BoreSection(length=0.6, entry=12e-3, exit=54e-3)
    tip = cone.length * cone.entry / (cone.exit - cone.entry)
    width = math.sqrt(0.745) * cone.entry
    mouthpiece = BoreSection(length=tip / math.sqrt(5.0), entry=width, exit=width)
    volume = math.pi * (0.5 * cone.entry) ** 2 * tip / 3.0
    hz = np.arange(50.0, 1000.0, 0.2)
    sharp = []
    for sections, held in (((mouthpiece, cone), 0.0), ((cone,), volume)):
        admittance = bore_admittance(Bore(sections=sections), 2.0 * math.pi * hz, GAS)
        admittance = admittance + tube.cavity_admittance(held, 2.0 * math.pi * hz, GAS)
        first, second, third = tube.peaks(hz, 1.0 / admittance).frequency[:3]
        sharp.append((second / (2.0 * first) - 1.0, third / (3.0 * first) - 1.0))
    tubed, lumped = np.array(sharp)
    assert (lumped > 0.01).all()
    assert (np.abs(tubed) < 0.35 * lumped).all()


def test_first_opening_is_where_the_first_open_hole_stands():
    # Definition; with all holes closed it is the place where the bell begins to flare.
    for fingering, number in (("low", 10), ("middle", 6), ("high", 2), ("crossed", 4)):
        bore = bore_of("cylinder", fingering)
        found = first_opening(elements(bore))
        assert found == pytest.approx(bore.holes[number].position)
    closed = elements(bore_of("cylinder", "closed"))
    assert first_opening(closed) == pytest.approx(0.59)


def test_shunt_of_an_opening_is_that_of_its_hole_with_its_walls():
    # Consistency: an opening is `toneholes` with the losses of its own chimney.
    (hole,) = (p for p in elements(tube_with(0.2)) if isinstance(p, Opening))
    walls = tube.wall_loss(4e-3, OMEGA, GAS)[0]
    wanted = toneholes.shunt_impedance(
        *(4e-3, 8e-3, 7.5e-3, OMEGA, GAS), is_open=True, propagation=walls
    )
    assert np.array_equal(hole.shunt(OMEGA, GAS), wanted)
