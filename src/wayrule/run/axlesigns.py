"""What each thing that may change at an axle does to its field: a Fourier series in the axle angle for each.

B(phi)  field of the reference, B_m its harmonics alone      r  sensor from the axle centre      e  unit vector to it
m(phi)  dipole that makes the first harmonic      G(phi)  its field's gradient at r
"""

from typing import Final

import numpy as np

from wayrule.maths.dipole import dipole_gradient, dipole_of
from wayrule.maths.turncurve import terms_of
from wayrule.model import AxleReference
from wayrule.model.arrays import Array

ANGLES: Final = np.linspace(0.0, 2 * np.pi, 180, endpoint=False)

MIDDLE: Final = slice(0, 3)
STRENGTH: Final = 3
HIGHER: Final = 4
SENSOR: Final = slice(5, 8)
TURNED: Final = slice(8, 11)
MAGNETS: Final = slice(11, 14)
SIGNS: Final = 14
"""Columns: middle of the ring [mT]; strength [share]; of orders 2 and up beyond that [share]; sensor moved forward,
left, up [share of the distance]; sensor turned about these [rad]; magnets moved along their moment, along the axle,
and ahead of it [share of the distance]."""


def signs(reference: AxleReference, place_mm: tuple[float, float, float] | None) -> Array:
    """Change of the curve for one unit of each column: (`SIGNS`, 2 K + 1, d), d the recorded axes.

    Notes
    -----
    Moving the sensor by delta adds G delta, moving the magnets by s takes it away, with s turning along: along the
    moment u = m / |m|, along the axle y, and ahead of the moment, y x u. Turning the sensor by omega adds B_m x omega.
    For what moves, the magnets are a dipole at the axle's centre: for pairs on opposite flats that is good to some per
    cent of the change.
    """
    axes = reference.axes
    place = np.array([0.0, 0.0, 1.0] if place_mm is None else place_mm)
    place = place / np.linalg.norm(place)
    curve = np.where(axes, reference.curve_mt, 0.0)
    orders = len(curve) // 2
    terms = terms_of(ANGLES, orders)
    order = np.concatenate([[0], np.arange(1, orders + 1), np.arange(1, orders + 1)])
    magnets = terms @ np.where(order[:, None] > 0, curve, 0.0)
    moment = dipole_of(terms @ np.where(order[:, None] == 1, curve, 0.0), place)
    gradient = dipole_gradient(moment, place)
    along = moment / np.maximum(np.linalg.norm(moment, axis=1), 1e-12)[:, None]
    axle = np.broadcast_to([0.0, 1.0, 0.0], along.shape)
    moves = np.stack([along, axle, np.cross(axle, along)])
    fields = np.zeros((SIGNS, len(ANGLES), 3))
    fields[MIDDLE] = np.eye(3)[:, None]
    fields[STRENGTH] = magnets
    fields[HIGHER] = terms @ np.where(order[:, None] > 1, curve, 0.0)
    fields[SENSOR] = np.moveaxis(gradient, 2, 0)
    fields[TURNED] = [np.cross(magnets, one) for one in np.eye(3)]
    fields[MAGNETS] = -np.einsum("nij,pnj->pni", gradient, moves)
    pinv = np.linalg.pinv(terms)
    return np.asarray((pinv @ fields)[:, :, axes])
