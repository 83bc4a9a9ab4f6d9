"""What plane sheets do to a magnetic field that passes them, for each wavenumber in their plane and each frequency."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.constants import mu_0

from wayrule.model.arrays import Array

Complexes = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One infinite plane sheet; an air gap is a sheet of permeability 1 and conductivity 0.

    conductivity_ms_m   [MS/m]
    """

    thickness_mm: float
    permeability: float = 1.0
    conductivity_ms_m: float = 0.0


def through(k_1_mm: Array, sheets: tuple[Sheet, ...], omega_rad_s: float = 0.0) -> Complexes:
    """Factor on the field behind the sheets, relative to the same place without them: (n,) -> (n,).

    Parameters
    ----------
    k_1_mm : (n,) wavenumbers in the plane, above 0
    sheets : in the order in which the field passes them, gaps included
    omega_rad_s : angular frequency of the field; the convention is e^{+i omega t}, so a lag has a negative phase

    Notes
    -----
    In a sheet Bz'' = g^2 Bz with g^2 = k^2 + i omega mu0 mu sigma; Bz and Bz'/(mu k) (the field along the plane) are
    continuous (induced currents of a source in air flow along the plane: J. R. Wait, Geophysics 16 (1951) 379). With
    one sheet at rest this is T = 4 mu / ((mu + 1)^2 - (mu - 1)^2 e^{-2kt}): the series of images.

    Examples
    --------
    >>> steel = through(np.array([0.1]), (Sheet(0.5, 200.0),))
    >>> float(steel[0].real.round(6)), float((4 * 200 / (201**2 - 199**2 * np.exp(-0.1))).round(6))
    (0.175111, 0.175111)
    """
    inward, _ = _passed(k_1_mm, sheets, omega_rad_s)
    return inward


def back(k_1_mm: Array, sheets: tuple[Sheet, ...], omega_rad_s: float = 0.0) -> Complexes:
    """Part of Bz that the sheets send back, at their near face, relative to what arrives there: (n,) -> (n,).

    >>> float(back(np.array([0.1]), (Sheet(1e3, 1e6),))[0].real.round(4))  # thick soft iron: an image of full size
    1.0
    """
    _, outward = _passed(k_1_mm, sheets, omega_rad_s)
    return outward


def _passed(k_1_mm: Array, sheets: tuple[Sheet, ...], omega_rad_s: float) -> tuple[Complexes, Complexes]:
    """What passes and what is sent back, from the far side to the near one.

    Growing exponentials are kept out: the pair (Bz, field along) is scaled by e^{-g t} at every sheet.
    """
    k = np.asarray(k_1_mm, dtype=float)
    b, h = np.ones(len(k), dtype=complex), np.ones(len(k), dtype=complex)
    log_scale = np.zeros(len(k), dtype=complex)
    for sheet in reversed(sheets):
        eddy = (
            1j * omega_rad_s * mu_0 * sheet.permeability * sheet.conductivity_ms_m
        )  # 1/mm2: 1e6 S/MS times 1e-6 m2/mm2
        g = np.sqrt(k * k + eddy)
        q = g / (k * sheet.permeability)
        fall = np.exp(-2 * g * sheet.thickness_mm)
        c, s = (1 + fall) / 2, (1 - fall) / 2
        b, h = c * b + s / q * h, q * s * b + c * h
        log_scale += (k - g) * sheet.thickness_mm
    return 2 * np.exp(log_scale) / (b + h), (b - h) / (b + h)
