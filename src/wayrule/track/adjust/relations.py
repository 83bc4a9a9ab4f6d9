"""Ties between two places of the line: where one lies as seen from the other."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from wayrule.model.arrays import Array
from wayrule.model.facts import Relation
from wayrule.track.adjust.line import positions, trace
from wayrule.track.adjust.ties import Moments, Tie
from wayrule.track.adjust.unknowns import Unknowns


@dataclass(frozen=True, slots=True)
class _Place:
    """Heading, x, y and z at a place, each with its derivatives by the splines (3, n) and by the border (k,)."""

    heading: float
    heading_by_spline: Array
    heading_by_border: Array
    xyz: Array
    xyz_by_spline: Array
    xyz_by_border: Array


def relation_ties(u: Unknowns, relations: Sequence[Relation], moments: Moments, step: float) -> list[Tie]:
    """Relations: R(-heading at A) (B - A) is what was stated, and so are the rise and the turn from A to B.

    They say nothing of where the line lies as a whole: no datum enters.
    """
    if not relations:
        return []
    places = _places(u, sorted({name for one in relations for name in (one.at, one.to)}), moments, step)
    return [tie for one in relations for tie in _ties_of(one, places[one.at], places[one.to])]


def _places(u: Unknowns, names: Sequence[str], moments: Moments, step: float) -> dict[str, _Place]:
    at = [moments.at(name) for name in names]
    sigma = np.maximum(np.array([place for place, _ in at]), u.spline.origin)
    here, value = positions(u, sigma, step), u.spline.value_rows(sigma)
    own = value @ u.theta
    heading = own + u.winding_rad_mm * sigma
    bend = u.spline.slope_rows(sigma) @ u.theta + u.winding_rad_mm
    along = np.array([np.cos(heading), np.sin(heading), value @ u.gamma]) * trace(u, step).metric_at(sigma)
    rows = value.toarray() / u.gain("z")
    out = {}
    for i, (name, (_, by_border)) in enumerate(zip(names, at, strict=True)):
        turned = bend[i] * by_border
        turned[u.names["gyro_scale_z"].start] -= own[i] / u.gain("z")
        out[name] = _Place(
            float(heading[i]),
            np.vstack((rows[i], np.zeros((2, u.spline.n)))),
            turned,
            here.xyz[:, i],
            np.array([here.by_spline(axis, i) for axis in range(3)]),
            here.by_border[:, i] + np.outer(along[:, i], by_border),
        )
    return out


def _ties_of(one: Relation, a: _Place, b: _Place) -> Iterator[Tie]:
    """The equations of one relation."""
    name = f"relation {one.at}..{one.to}"
    apart, by_spline, by_border = b.xyz - a.xyz, b.xyz_by_spline - a.xyz_by_spline, b.xyz_by_border - a.xyz_by_border
    c, s = np.cos(a.heading), np.sin(a.heading)
    if one.has_plan:
        seen = np.array([c * apart[0] + s * apart[1], c * apart[1] - s * apart[0]])
        for axis, (ahead, turn) in enumerate((((c, s), seen[1]), ((-s, c), -seen[0]))):
            gap = (one.dx_mm, one.dy_mm)[axis] - seen[axis]
            spline = np.tensordot(ahead, by_spline[:2], 1) + turn * a.heading_by_spline
            border = np.asarray(ahead) @ by_border[:2] + turn * a.heading_by_border
            yield Tie(f"{name} {'xy'[axis]}", float(gap), one.sd_mm, spline, border)
    if one.has_height:
        yield Tie(f"{name} z", float(one.dz_mm - apart[2]), one.z_sd_mm, by_spline[2], by_border[2])
    if one.has_heading:
        turn = float(np.angle(np.exp(1j * (one.dheading_rad - b.heading + a.heading))))
        spline, border = b.heading_by_spline - a.heading_by_spline, b.heading_by_border - a.heading_by_border
        yield Tie(f"{name} heading", turn, one.heading_sd_rad, spline, border)
