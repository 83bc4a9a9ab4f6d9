"""About how far a wheel has rolled, from the samples as they come: enough to see that it is sensed, not to measure."""

import math
from typing import Final

import numpy as np

from wayrule.formats.columns import meaning_of
from wayrule.formats.wire import Hello, Samples
from wayrule.model import Wagon
from wayrule.model.arrays import Array

FLATTEST: Final = 0.15
"""Smaller over greater half axis of the ellipse that the field draws: below, it has not been through a turn yet."""


class Odometer:
    """Turns and distance of one boot of one wagon.

    turns         of the wheel, ahead or back; None where no turning wheel is sensed
    distance_mm   None where neither the samples nor a wagon file give it
    """

    def __init__(self, hello: Hello, wagon: Wagon | None) -> None:
        meanings = [meaning_of(column.name) for column in hello.columns]
        self._kind = next((m.kind for m in meanings if m and m.kind in ("field", "count", "speed", "distance")), "")
        self._at = [k for k, m in enumerate(meanings) if m and m.kind == self._kind]
        self._scale = np.array([hello.columns[k].scale * (_factor(meanings[k])) for k in self._at])
        self._offset = np.array([hello.columns[k].offset * (_factor(meanings[k])) for k in self._at])
        self._bits = hello.columns[self._at[0]].bits if self._at else 16
        self._wheel = wagon.wheel if wagon else None
        self._seq, self._t_us = -1, 0
        self._last: Array | None = None
        self._low, self._high = np.full(len(self._at), np.inf), np.full(len(self._at), -np.inf)
        self._sum = 0.0

    @property
    def turns(self) -> float | None:
        """Of the wheel."""
        if self._kind == "field" and len(self._at) > 1:
            return abs(self._sum) / (2 * math.pi)
        per_turn = self._wheel.ticks_per_turn if self._wheel else None
        return abs(self._sum) / per_turn if self._kind == "count" and per_turn else None

    @property
    def distance_mm(self) -> float | None:
        """Rolled, from where it began; back counts against ahead."""
        if self._kind in ("speed", "distance"):
            return abs(self._sum)
        diameter = self._wheel.diameter_mm if self._wheel else None
        return None if self.turns is None or diameter is None else self.turns * math.pi * diameter

    def take(self, samples: Samples) -> None:
        """Go on by samples; what comes late or twice is passed over."""
        new = samples.seq > self._seq
        if not self._at or not new.any() or samples.counts.shape[1] <= max(self._at):
            return
        values = samples.counts[new][:, self._at] * self._scale + self._offset
        t_us = samples.t_us[new]
        if self._last is None:
            self._last, self._t_us = values[0], int(t_us[0])
        before = np.vstack([self._last, values])
        if self._kind == "field":
            self._sum += self._turned(before)
        elif self._kind == "speed":
            steps = np.diff(np.concatenate([[self._t_us], t_us])) * 1e-6
            self._sum += float(values[:, 0] @ steps)
        else:
            steps = np.diff(before[:, 0])
            span = 2.0**self._bits * abs(self._scale[0])
            self._sum += float(np.sum(steps - span * np.round(steps / span)))
        self._last, self._seq, self._t_us = values[-1], int(samples.seq[new].max()), int(t_us[-1])

    def _turned(self, field: Array) -> float:
        """Angle from the first to the last of (n, k) readings [rad], by the centre and half axes as known by now."""
        self._low, self._high = np.minimum(self._low, field.min(axis=0)), np.maximum(self._high, field.max(axis=0))
        half, middle = (self._high - self._low) / 2, (self._high + self._low) / 2
        if len(half) < 2:
            return 0.0
        b, a = np.argsort(half)[-2:]
        if half[a] <= 0 or half[b] < FLATTEST * half[a]:
            return 0.0
        phi = np.arctan2((field[:, b] - middle[b]) / half[b], (field[:, a] - middle[a]) / half[a])
        return float(np.sum((np.diff(phi) + math.pi) % (2 * math.pi) - math.pi))


def _factor(meaning: object) -> float:
    """From the column's unit to ours; 1 where it has none."""
    return float(getattr(meaning, "factor", None) or 1.0)
