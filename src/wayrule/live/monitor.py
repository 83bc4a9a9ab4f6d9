"""The monitor: what wagons say now, while they are recorded. It watches the recorder; nothing here touches the log."""

import threading
import time
from collections.abc import Callable, Iterable, Mapping
from typing import Final

from wayrule.formats.wire import Hello, Samples
from wayrule.live.follower import Follower, KnownTrack
from wayrule.live.listener import Heard
from wayrule.model import Calibration, Wagon
from wayrule.model.now import Now

SHARE: Final = 0.4
"""At most this share of the listening thread's time goes into the numbers; with many wagons they come less often."""
PAUSE_S: Final = 0.02
"""With few wagons the pause between numbers is no longer than this: of 100 ms from byte to number another fifth."""
MOST_WAGONS: Final = 16
"""So many wagons are followed; the others are recorded all the same."""
SAME_GAUGE: Final = 0.02
"""A wagon whose gauge differs by more is not on the surveyed line."""
REST_S: Final = 0.05
"""The looks off to one side begin so often at most,"""
REST_TIMES: Final = 3.0
"""and rest three times as long as they took: while they reckon, the numbers wait for the interpreter."""

Tell = Callable[[str, Now], None]
"""Gets a wagon's key (its device number in eight hexadecimal digits) and what it says, from the listening thread."""


class Monitor:
    """Follows every wagon whose file is known; give its `watch` to the recorder.

    Parameters
    ----------
    wagons : their files; the one that has the name a wagon tells, or the only one
    calibrations : of wagons, by name: with the axle's field known the first turn is right at once
    track : a surveyed line to find their places on
    tell : is called with every new number
    aside : False does everything in the caller's thread, in order: for replays that must always come out alike
    """

    def __init__(
        self,
        wagons: Iterable[Wagon],
        *,
        calibrations: Mapping[str, Calibration] | None = None,
        track: KnownTrack | None = None,
        tell: Tell | None = None,
        aside: bool = True,
    ) -> None:
        self._files, self._calibrations, self._track = tuple(wagons), dict(calibrations or {}), track
        self._tell, self._aside = tell, aside
        self._followers: dict[int, tuple[int, Follower]] = {}
        self._waiting: set[int] = set()
        self._free_s = 0.0
        self._stop, self._defect = threading.Event(), ""
        self._worker = threading.Thread(target=self._look_aside, name="monitor", daemon=True) if aside else None
        if self._worker is not None:
            self._worker.start()

    def watch(self, heard: Heard) -> None:
        """Frames as they were decoded; a `recorder.Watch`."""
        for frame in heard.frames:
            if isinstance(frame, Hello):
                self._hello(frame)
            elif isinstance(frame, Samples):
                known = self._followers.get(frame.device)
                if known and known[0] == frame.boot:
                    known[1].take(frame)
                    self._waiting.add(frame.device)
        begin = time.monotonic()
        if begin < self._free_s and self._aside:
            return
        for device in sorted(self._waiting):
            follower = self._followers[device][1]
            now = follower.update()
            if not self._aside:
                looks(follower)
                now = follower.update() if follower.now is not now else now
            if self._tell:
                self._tell(f"{device:08x}", now)
        self._waiting.clear()
        end = time.monotonic()
        took = end - begin
        self._free_s = end + (min(took, PAUSE_S) if took < 2 * PAUSE_S else took * (1.0 / SHARE - 1.0))

    def now(self) -> dict[str, Now]:
        """What every wagon that is followed said last, by its key."""
        return {f"{device:08x}": follower.now for device, (_, follower) in list(self._followers.items())}

    def reset_trips(self) -> None:
        """All trips begin here."""
        for _, follower in list(self._followers.values()):
            follower.reset_trip()

    @property
    def defect(self) -> str:
        """What went wrong off to one side; "" while nothing did."""
        return self._defect

    def close(self) -> None:
        """The last look: what is said now is what the offline pipeline says of the whole of it."""
        self._stop.set()
        if self._worker is not None:
            self._worker.join(10.0)
        for _, follower in list(self._followers.values()):
            try:
                follower.finish()
            except Exception as defect:
                self._defect = f"monitor: {defect!r}"

    def _hello(self, hello: Hello) -> None:
        """A wagon that is new, or switched on anew: then its distance goes on from where it was."""
        boot, before = self._followers.get(hello.device, (-1, None))
        if hello.boot <= boot or (before is None and len(self._followers) >= MOST_WAGONS):
            return
        named = [file for file in self._files if file.name == hello.name]
        file = named[0] if named else self._files[0] if len(self._files) == 1 else None
        if file is None:
            return
        track = (
            self._track if self._track and abs(self._track.gauge_mm - file.gauge_mm) < 0.02 * file.gauge_mm else None
        )
        rolled = before.now.distance_mm.value if before else 0.0
        self._followers[hello.device] = (
            hello.boot,
            Follower(
                hello,
                file,
                calibration=self._calibrations.get(file.name),
                track=track,
                base_mm=rolled if rolled == rolled else 0.0,
            ),
        )

    def _look_aside(self) -> None:
        took = 0.0
        while not self._stop.wait(max(REST_S, REST_TIMES * took)):
            begin = time.monotonic()
            for _, follower in list(self._followers.values()):
                try:
                    looks(follower)
                except Exception as defect:  # the numbers go on by what was known
                    self._defect = f"monitor: {defect!r}"
            took = time.monotonic() - begin


def looks(follower: Follower) -> None:
    """What a wagon wants looked at."""
    if follower.wants_look_back:
        follower.look_back()
    if follower.wants_look_around:
        follower.look_around()
