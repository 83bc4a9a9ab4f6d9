"""What a wagon wrote down: a recording as read, repaired and counted, before anything is computed from it."""

from dataclasses import dataclass, field

import numpy as np

from wayrule.model.arrays import Array, frozen


@dataclass(frozen=True, slots=True)
class Mark:
    """A named moment in a recording (a button, a taped spot, a station nameplate)."""

    t_s: float
    name: str


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong that was found in an input, counted and placed.

    kind    short word, e.g. "repeated rows", "gap", "saturated"
    count   how many rows or samples it concerns
    where   "line 812, 4 more" or "at 12.4 s"
    done    what was done about it: "dropped", "interpolated", "marked missing", "kept"
    text    one whole sentence for a person, with all of the above
    """

    kind: str
    count: int
    where: str
    done: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """One run as its sensors saw it, in inside units and in the sensors' own axes.

    t_s          (n,) time, strictly rising [s]
    field_mt     (n, 3) field at the sensor [mT]; a column of NaN where an axis was not recorded
    ticks_count  (n,) encoder count with the counter's wrap already undone
    wheel_mm_s   (n,) wheel speed [mm/s]
    wheel_mm     (n,) wheel distance [mm]
    gyro_rad_s   (n, 3) angular rate [rad/s]
    acc_mm_s2    (n, 3) specific force [mm/s2]
    temp_c       (n,) temperature [degC]
    battery_v    (n,) voltage of the cell [V]

    A group that was not recorded is None; a sample that is missing or not to be believed (saturated, all zero,
    in a gap) is NaN. At most one of the four wheel inputs is present. `sha256` is the digest of the raw bytes.
    """

    name: str
    t_s: Array
    field_mt: Array | None = None
    ticks_count: Array | None = None
    wheel_mm_s: Array | None = None
    wheel_mm: Array | None = None
    gyro_rad_s: Array | None = None
    acc_mm_s2: Array | None = None
    temp_c: Array | None = None
    battery_v: Array | None = None
    marks: tuple[Mark, ...] = ()
    problems: tuple[Problem, ...] = ()
    sha256: str = ""
    n: int = field(init=False)

    def __post_init__(self) -> None:
        frozen(self, "t_s", (None,))
        object.__setattr__(self, "n", len(self.t_s))
        if self.n and not np.all(np.diff(self.t_s) > 0):
            raise ValueError(f"Recording {self.name}: t_s must rise strictly")
        for name in ("ticks_count", "wheel_mm_s", "wheel_mm", "temp_c", "battery_v"):
            if getattr(self, name) is not None:
                frozen(self, name, (self.n,))
        for name in ("field_mt", "gyro_rad_s", "acc_mm_s2"):
            if getattr(self, name) is not None:
                frozen(self, name, (self.n, 3))
        wheels = [w for w in ("field_mt", "ticks_count", "wheel_mm_s", "wheel_mm") if getattr(self, w) is not None]
        if len(wheels) > 1:
            raise ValueError(f"Recording {self.name}: more than one wheel input: {', '.join(wheels)}")

    @property
    def rate_hz(self) -> float:
        """Median sample rate [1/s]; NaN with fewer than two samples."""
        return float(1.0 / np.median(np.diff(self.t_s))) if self.n > 1 else float("nan")
