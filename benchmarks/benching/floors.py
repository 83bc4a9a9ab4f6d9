"""Floors against exact integrals that share no code with the tool: steel at rest, currents at speed."""

import math
from collections.abc import Iterator
from functools import partial

import numpy as np
from scipy.special import j0, j1

from benchmarks.row import Row, at_most
from wayrule.maths.continuation import continuation
from wayrule.maths.sheets import Sheet, through
from wayrule.model import FloorLayer, Magnets
from wayrule.model.arrays import Array
from wayrule.wagon.eddy import eddy
from wayrule.wagon.plates import passage
from wayrule.wagon.sources import sources_of
from wayrule.wagon.turns import fields_over_turn

PERMEABILITIES = (1.0, 1.5, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0, 3000.0, 10000.0)
THICKNESSES_MM = (0.1, 0.3, 1.0, 2.0, 5.0)


def floor_rows(quick: bool) -> Iterator[Row]:
    """The figures of floors."""
    places = (12.5,) if quick else (6.0, 12.5, 35.0)
    over = "mu_r 1 to 10 000, 0.1 to 5 mm, against the Hankel integral"
    dipole = max(_dipole(aside, d) for aside in (0.0, 0.5, 1.0) for d in places)
    yield at_most(
        f"dipole, upright and level, aside by up to its height, behind a steel plate, {over}", dipole, 1e-4, ""
    )
    discs = max(_discs(aside) for aside in (0.0, 4.0))
    yield at_most(f"pair of 4 x 1 mm discs behind a steel plate, {over} of discs", discs, 1e-4, "")
    yield at_most("currents, single wavenumbers against the exact plane sheet", _sheet(), 1e-3, "")
    yield at_most("currents, lag and loss against the axis integral of the exact sheet, relative", _lag(), 1e-3, "")
    yield at_most("currents, thin sheet's lag against mu0 s t w z/4 by hand, relative", _thin(), 0.01, "")


def plate(k: Array, mu: float, t: float) -> Array:
    """Transmission of a plane plate: the sum of its images."""
    return np.asarray(4 * mu / ((mu + 1) ** 2 - (mu - 1) ** 2 * np.exp(-2 * k * t)))


def panels(last: float) -> tuple[Array, Array]:
    """Gauss points for an integral from 0 to `last`, fine towards 0."""
    edges = np.concatenate([[0.0], np.geomspace(1e-7, 1.0, 40), np.linspace(1.0, last, 200)[1:]])
    node, weight = np.polynomial.legendre.leggauss(20)
    half = np.diff(edges)[:, None] / 2
    return (edges[:-1, None] + half * (1 + node)).ravel(), (half * weight).ravel()


def _dipole(aside: float, d: float) -> float:
    x, w = panels(60.0)
    k, rho = x / d, aside * d
    u, v = j0(k * rho), j1(k * rho)
    q = np.where(k * rho > 1e-8, v / np.maximum(k * rho, 1e-300), 0.5)
    kernels = np.stack([u, v, q - u, v, -q]) * k * k * np.exp(-x) * w / d
    found = 0.0
    for mu in PERMEABILITIES:
        for t in THICKNESSES_MM:
            exact = kernels @ plate(k, mu, t)
            copies = continuation([partial(through, sheets=(Sheet(t, mu),))], d)
            got = _free(rho, d + copies.shift_mm) @ copies.weight[0].real
            size = np.array([np.hypot(*exact[:2])] * 2 + [np.hypot(*exact[2:4])] * 2 + [abs(exact[4])])
            found = max(found, float(np.max(np.abs(got - exact) / size)))
    return found


def _free(rho: float, z: Array) -> Array:
    """Dipole in air at (rho, z): upright Bz, Br; level Bx, Bz and, across it, By; (5, n)."""
    r = np.hypot(rho, z)
    return np.asarray(
        np.stack([3 * z**2 / r**2 - 1, 3 * rho * z / r**2, 3 * rho**2 / r**2 - 1, 3 * rho * z / r**2, -np.ones_like(z)])
        / r**3
    )


def _discs(rho: float) -> float:
    """Both discs upright: Bz = Br/2 integral of R J1(kR) J0(k rho) (e^{-k(z - top)} - e^{-k(z - bottom)}) T."""
    pair = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, remanence_mt=(1300.0, 1300.0))
    z, radius = 12.5, 2.0
    x, w = panels(60.0)
    k = x / (z - 1.7)
    found = 0.0
    faces = sum(np.exp(-k * (z - top)) - np.exp(-k * (z - top + 1.0)) for top in (1.7, -0.7))
    plain = 650.0 * radius * j1(k * radius) * faces * w / (z - 1.7)
    for mu in PERMEABILITIES:
        for t in THICKNESSES_MM:
            passed = plain * plate(k, mu, t)
            exact = np.array([np.sum(passed * j1(k * rho)), 0.0, np.sum(passed * j0(k * rho))])
            floor = passage([FloorLayer(None, t, 4.0, relative_permeability=mu)], z)
            got = fields_over_turn(sources_of(pair), (rho, 0.0, z), phi_rad=np.zeros(1), floor=floor)[0, 0]
            found = max(found, float(np.linalg.norm(got - exact) / np.linalg.norm(exact)))
    return found


def _exact_sheet(k: Array, t: float, sigma: float, w: float) -> Array:
    """Transmission of a conducting plane sheet, in metres: 4 k g e^{kt} / ((k + g)^2 e^{gt} - (k - g)^2 e^{-gt})."""
    g = np.sqrt(k * k + 1j * w * 4e-7 * math.pi * sigma)
    return np.asarray(4 * k * g * np.exp((k - g) * t) / ((k + g) ** 2 - (k - g) ** 2 * np.exp(-2 * g * t)))


def _sheet() -> float:
    k = np.geomspace(0.003, 3.0, 60)
    found = 0.0
    for sigma in (4.8, 15.5, 35.0, 58.0):
        for t in THICKNESSES_MM:
            for w in (1.0, 30.0, 300.0, 3000.0):
                exact = _exact_sheet(k * 1e3, t * 1e-3, sigma * 1e6, w)
                found = max(found, float(np.max(np.abs(through(k, (Sheet(t, 1.0, sigma),), w) / exact - 1))))
    return found


def _lag() -> float:
    z, found = 12e-3, 0.0
    x, w = panels(60.0)
    k = x / z
    kernel = k * k * np.exp(-x) * w
    for t in (0.5, 2.0, 5.0):
        for rate in (20.0, 200.0, 1000.0):
            exact = np.sum(kernel * _exact_sheet(k, t * 1e-3, 58e6, rate)) / np.sum(kernel)
            got = eddy([FloorLayer("copper", t, 4.0)], 12.0, speed_mm_s=rate * 5.0, wheel_mm=10.0)
            found = max(
                found, abs(got.lag_rad / -float(np.angle(exact)) - 1), abs(got.lost / (1 - float(abs(exact))) - 1)
            )
    return found


def _thin() -> float:
    got = eddy([FloorLayer("brass", 0.2, 4.0)], 12.5, speed_mm_s=100.0, wheel_mm=10.5).lag_rad
    return abs(got / (math.pi * 1e-7 * 15.5e6 * 0.2e-3 * (100 / 5.25) * 12.5e-3) - 1)
