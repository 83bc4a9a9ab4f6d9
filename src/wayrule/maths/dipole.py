"""The field of a dipole, how it changes from place to place, and the dipole that makes a field.

r   (3,) from the dipole to the place, any unit of length      m   (n, 3) moment, in units of field times length cubed
"""

import numpy as np

from wayrule.model.arrays import Array


def dipole_field(moment: Array, place: Array) -> Array:
    """Field of dipoles (n, 3) at one place (3,): (n, 3).

    Notes
    -----
    B = (3 (m . e) e - m) / r^3, e the unit vector to the place (Jackson, Classical Electrodynamics, 5.56).

    >>> dipole_field(np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]), np.array([0.0, 0.0, 2.0])).tolist()
    [[0.0, 0.0, 0.25], [-0.125, 0.0, 0.0]]
    """
    far = float(np.linalg.norm(place))
    unit = place / far
    return np.asarray((3.0 * np.outer(moment @ unit, unit) - moment) / far**3)


def dipole_of(field: Array, place: Array) -> Array:
    """The dipoles (n, 3) that make the fields (n, 3) at a place (3,): (1.5 (B . e) e - B) r^3.

    >>> dipole_of(np.array([[-0.125, 0.0, 0.25]]), np.array([0.0, 0.0, 2.0])).tolist()
    [[1.0, 0.0, 1.0]]
    """
    far = float(np.linalg.norm(place))
    unit = place / far
    return np.asarray((1.5 * np.outer(field @ unit, unit) - field) * far**3)


def dipole_gradient(moment: Array, place: Array) -> Array:
    """Change of the field of dipoles (n, 3) for each unit that the place (3,) moves: (n, 3, 3), the move last.

    Notes
    -----
    dB_i/dx_j = 3/r^4 ((m . e) d_ij + m_i e_j + m_j e_i - 5 (m . e) e_i e_j), the derivative of `dipole_field`.
    """
    far = float(np.linalg.norm(place))
    unit = place / far
    along = moment @ unit
    each = np.eye(3) - 5.0 * np.outer(unit, unit)
    mixed = moment[:, :, None] * unit + unit[:, None] * moment[:, None, :]
    return np.asarray(3.0 / far**4 * (along[:, None, None] * each + mixed))
