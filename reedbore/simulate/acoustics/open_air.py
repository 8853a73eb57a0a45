"""What a bore sends into the open air, where its openings hear each other.

In: a `Bore`, angular frequencies [rad s⁻¹], shape (n,), above zero, and the air. Out: what `bore`
tells of a bore whose openings are deaf, with the load that each is to all others.
"""

import math

import numpy as np
from numpy.typing import NDArray

from reedbore.model.bore import Bore
from reedbore.physics import openings, toneholes, tube
from reedbore.physics.air import Gas
from reedbore.simulate.acoustics import bore as deaf
from reedbore.simulate.acoustics.bore import Opening, Outflow

Reals = NDArray[np.float64]


def outflow(bore: Bore, omega: Reals, gas: Gas) -> Outflow:
    """Return what a bore takes in and what leaves through all openings, for 1 Pa at the reed.

    Parameters
    ----------
    bore : Bore
        Its pieces, holes and end.
    omega : ndarray, shape (n,)
        Angular frequency, above zero. [rad s⁻¹]
    gas : Gas
        Air in the bore and around it.

    Returns
    -------
    Outflow
        Admittance, flow and power.

    Notes
    -----
    Below the cut-off of a row its holes swing together, and n of them send out up to n times what
    each would alone; above it their waves follow each other and the powers as good as add up. An
    endless row is told by powers alone, as `bore.outflow` does.
    """
    chain = deaf.elements(bore)
    if bore.lattice or not any(isinstance(part, Opening) and part.is_open for part in chain):
        return deaf.outflow(bore, omega, gas)
    one = np.ones(omega.size, np.complex128)
    nothing = np.zeros(omega.size, np.complex128)
    ways: list[tube.TwoPort] = []
    branches: list[openings.Branch] = []
    behind: list[tube.TwoPort] = []
    place = 0.0
    for part in chain:
        if isinstance(part, Opening) and part.is_open:
            sizes = part.radius, part.chimney, part.bore_radius
            series = toneholes.half_series(*sizes, omega, gas, is_open=True)
            half = one, series, nothing, one
            ways.append(tube.chain((*behind, half)))
            branches.append(_branch(part, place, omega, gas))
            behind = [half]
            continue
        behind.append(deaf.two_port(part, omega, gas))
        place += 0.0 if isinstance(part, Opening) else part[0]
    ways.append(tube.chain(behind))
    straight = one, nothing, nothing, one
    end = deaf.end_impedance(bore, omega, gas)
    branches.append(openings.Branch(place, bore.chain()[-1][2], nothing, straight, end))
    heard = openings.radiation_matrix(branches, omega, gas)
    found = openings.outflow(ways, branches, heard)
    return Outflow(found.admittance, found.flows.sum(axis=1), found.power)


def _branch(hole: Opening, place: float, omega: Reals, gas: Gas) -> openings.Branch:
    """Return the way out through an open hole: what `toneholes.shunt_impedance` adds up."""
    radius, bore_radius = hole.radius, hole.bore_radius
    walls = tube.wall_loss(radius, omega, gas)[0]
    plain = gas.density * gas.sound_speed / (math.pi * radius**2)
    inner = plain * walls * toneholes.inner_length(radius, bore_radius)
    turn = walls * (hole.chimney + toneholes.matching_length(radius, bore_radius))
    same, across = (np.asarray(one, np.complex128) for one in (np.cosh(turn), np.sinh(turn)))
    own = openings.hole_load(radius, toneholes.OUTER_END, omega, gas)
    chimney = same, plain * across, across / plain, same
    return openings.Branch(place, radius, inner, chimney, own)
