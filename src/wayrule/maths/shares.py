"""Which of several random inputs matters for an output that is itself a function: shares of its variance.

n samples · p normal inputs in groups · q outputs (places of the function) · t terms of the expansion
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wayrule.model.arrays import Array


@dataclass(frozen=True, slots=True)
class Shares:
    """How the mean square of the output is made up; all of it adds up to 1.

    always       the mean's part: there without any of the inputs' variation
    alone        group -> part that its inputs cause by themselves: first-order Sobol index times (1 - always)
    together     caused by inputs of different groups acting on each other
    unexplained  not within polynomials of degree 2
    """

    always: float
    alone: Mapping[str, float]
    together: float
    unexplained: float


def terms_of(inputs: int) -> int:
    """Terms of degree up to 2 in so many inputs.

    >>> terms_of(2)  # 1, x, y, x2, y2, xy
    6
    """
    return (inputs + 1) * (inputs + 2) // 2


@dataclass(frozen=True, slots=True, eq=False)
class Expansion:
    """Samples of the inputs, ready for any number of outputs.

    design   (n, t) Hermite polynomials of the inputs: 1, each, products and squares
    normal   (t, t) design' design
    owner    (p,) number of the group of each input
    """

    design: Array
    normal: Array
    owner: Array
    names: tuple[str, ...]


def expansion(normal: Array, groups: Mapping[str, slice]) -> Expansion:
    """Polynomials up to degree 2 of independent standard normal inputs.

    Parameters
    ----------
    normal : (n, p)
    groups : name -> its columns; together all of them, each once

    Raises
    ------
    ValueError   fewer samples than twice the terms; groups that leave out or share an input
    """
    count, inputs = normal.shape
    terms = terms_of(inputs)
    if count < 2 * terms:
        raise ValueError(f"shares: expected at least {2 * terms} samples of {inputs} inputs, came {count}")
    first, second = np.triu_indices(inputs)
    design = np.empty((count, terms))
    design[:, 0] = 1.0
    design[:, 1 : inputs + 1] = normal
    np.multiply(normal[:, first], normal[:, second], out=design[:, inputs + 1 :])
    squares = inputs + 1 + np.flatnonzero(first == second)
    design[:, squares] = (design[:, squares] - 1) / np.sqrt(2)
    return Expansion(design, design.T @ design, _owners(inputs, groups), tuple(groups))


def shares_of(inputs: Expansion, outputs: Array) -> Shares:
    """Shares of each group of inputs in the mean square of the outputs, from the samples of any Monte Carlo run.

    Parameters
    ----------
    outputs : (n, q)     what came of the inputs; places of equal weight

    Raises
    ------
    ValueError   outputs that are all zero

    Notes
    -----
    Regression on Hermite polynomials up to degree 2, which are orthonormal under the normal law: the variance is the
    sum of their squared coefficients, and a group's first-order Sobol index those of the terms with its inputs only (B.
    Sudret, Reliab. Eng. Syst. Saf. 93 (2008) 964). Variances are summed over the outputs, the generalised index of a
    function (M. Lamboni et al., Reliab. Eng. Syst. Saf. 96 (2011) 450). What the noise of n samples adds to a squared
    coefficient, residual variance over n, is taken off, so a share without effect may come out a hair below 0.

    Examples
    --------
    3 + 2 x + y + x y: variances 4, 1 and 1, on a mean of 3.

    >>> x = np.random.default_rng(3).standard_normal((4000, 2))
    >>> inputs = expansion(x, {"x": slice(0, 1), "y": slice(1, 2)})
    >>> found = shares_of(inputs, 3 + 2 * x[:, :1] + x[:, 1:] + x[:, :1] * x[:, 1:])
    >>> [round(15 * part, 6) for part in (found.always, *found.alone.values(), found.together)]
    [9.0, 4.0, 1.0, 1.0]
    """
    count, terms = inputs.design.shape
    seen = inputs.design.T @ outputs
    coefficients = np.linalg.solve(inputs.normal, seen)
    left = max(0.0, float(np.vdot(outputs, outputs) - np.vdot(coefficients, seen))) / (count - terms)
    parts = np.sum(coefficients**2, axis=1) - left / count
    whole = float(parts.sum() + left)
    if not whole > 0:
        raise ValueError("shares: expected outputs that are not all zero, came zeros")
    owner = inputs.owner
    linear, square = parts[1 : len(owner) + 1], parts[len(owner) + 1 :]
    first, second = np.triu_indices(len(owner))
    of_one, of_other = owner[first], owner[second]
    alone = {
        name: float(linear[owner == k].sum() + square[(of_one == k) & (of_other == k)].sum()) / whole
        for k, name in enumerate(inputs.names)
    }
    together = float(square[of_one != of_other].sum()) / whole
    return Shares(float(parts[0]) / whole, alone, together, left / whole)


def _owners(inputs: int, groups: Mapping[str, slice]) -> Array:
    """Number of the group of each input: (p,)."""
    owner = np.full(inputs, -1)
    for k, columns in enumerate(groups.values()):
        owner[columns] = k
    if np.any(owner < 0) or sum(len(range(*s.indices(inputs))) for s in groups.values()) != inputs:
        raise ValueError(f"shares: expected groups that hold each of {inputs} inputs once, came {dict(groups)}")
    return owner
