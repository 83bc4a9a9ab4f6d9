"""The whole wagon program under CPython, on a bus, a clock and a cable that are stand-ins; time is set by the test."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from wagon import settings as files
from wagon.bringup import BringUp, bus_words, lift_words, rest_words, turn_words
from wagon.display import Display
from wagon.sensors import Sensor
from wagon.shown import now, words
from wagon.store import Store
from wagon.wagon import Wagon

from tests.firmware.standin import WRAP, Board, Bus, Cable, Ticks, framebuf
from wayrule.formats import wire

ROOT = Path(__file__).parents[2]
SETTINGS = files.read((ROOT / "firmware/settings.toml").read_text(encoding="utf-8"))
STEP_US = 250


class Scene:
    """A wagon on a cable, with a desk that a test plays."""

    def __init__(self, folder: Path, *, boot_us: int = 5_000_000, slots: int = 400) -> None:
        self.ticks, self.cable = Ticks(boot_us), Cable()
        self.board = Board(folder, self.ticks, serial=self.cable)
        self.store = Store(str(folder / "kept"), files=64)
        self.wagon = Wagon(self.board, {**SETTINGS, "slots": slots}, self.store)
        self.ledger, self.decoder = wire.Ledger(), wire.Decoder()
        self.frames: list[wire.Frame] = []
        self.boot = self.wagon.boot

    def run(self, seconds: float, *, rate_mm_s: float = 100.0, desk: bool = False) -> None:
        """Let time pass; a desk, if there is one, listens and speaks every half second."""
        for k in range(round(seconds * 1e6 / STEP_US)):
            self.ticks.pass_us(STEP_US)
            self.board.i2c.phi += rate_mm_s / 5.25 * STEP_US * 1e-6
            self.wagon.step()
            if desk and k % 2000 == 0:
                self.hear()
                self.want()

    def hear(self) -> None:
        """Take what the wagon wrote."""
        frames = self.decoder.feed(bytes(self.cable.out))
        self.cable.out.clear()
        self.frames += frames
        for frame in frames:
            if isinstance(frame, wire.Samples) and frame.boot == self.boot:
                self.ledger.note(frame.seq)
            elif isinstance(frame, wire.Gone):
                self.ledger.give_up(frame)

    def want(self) -> None:
        """Say what is safe and what is missing."""
        device = int.from_bytes(self.wagon.device, "little")
        for first, count in self.ledger.asked():
            self.cable.incoming += wire.encode(wire.Want(device, self.boot, first, count, self.ledger.safe))

    def trip(self) -> wire.Trip:
        self.hear()
        heard = wire.gather(self.frames)
        assert heard.damage == ()
        return next(t for t in heard.trips if t.boot == self.boot)


@pytest.fixture
def scene(tmp_path: Path) -> Scene:
    made = Scene(tmp_path, boot_us=WRAP - 2_000_000)  # the clock's counter runs over on the way
    yield made
    made.store.close()


def test_two_hundred_samples_a_second_each_on_time(scene: Scene) -> None:
    scene.run(10)
    trip = scene.trip()
    assert trip.hello is not None
    assert (trip.hello.id, trip.hello.rate_hz, trip.boot) == ("a1b2c3d4e5f6", 200.0, 1)
    assert trip.missing == ()
    assert len(trip.seq) >= 1990
    assert np.all(np.abs(np.diff(trip.t_us) - 5000) <= STEP_US)
    assert trip.states[-1].missed == trip.states[-1].lost == 0
    recording = wire.recording_of(trip, "monday")
    assert recording.acc_mm_s2 is not None
    assert np.allclose(recording.acc_mm_s2[:, 2], 9806.65)


def test_what_is_sent_is_what_the_sensors_said(scene: Scene) -> None:
    scene.board.i2c.noise = 0
    scene.board.i2c.rate_dps = [-1.5, 2.25, -250.0]
    scene.run(1, rate_mm_s=0)
    trip = scene.trip()
    assert trip.counts[-1].tolist() == [*scene.board.i2c.field(), *scene.board.i2c.inertial()]


def test_the_wagon_itself_knows_way_and_speed(scene: Scene) -> None:
    assert words(scene.wagon) == ["roll the wheel", "three turns"]
    scene.run(2)
    scene.wagon.zero()
    scene.run(8)
    shown = now(scene.wagon)
    assert shown["distance_mm"] == pytest.approx(800, abs=8)  # the reading lags by up to one display period
    assert shown["mm_s"] == pytest.approx(100, rel=0.03)
    assert shown["km_h"] == pytest.approx(31.3, rel=0.03)  # 100 mm/s x 87 x 0.0036
    assert words(scene.wagon)[:2] == ["31 km/h", "19 mph"]


def test_a_link_that_was_away_is_filled_from_memory_and_flash(scene: Scene) -> None:
    scene.run(5, desk=True)
    scene.cable.plugged = False
    scene.run(20)  # memory holds 8 s
    scene.cable.plugged = True
    scene.run(15, desk=True)
    trip = scene.trip()
    assert trip.missing == ()
    assert trip.repeated < 200
    assert trip.states[-1].lost == 0
    assert any((Path(scene.board.path) / "kept").iterdir())


def test_without_flash_the_desk_is_told_what_is_gone(scene: Scene) -> None:
    scene.wagon.store = scene.wagon.answers.store = None
    scene.run(5, desk=True)
    scene.cable.plugged = False
    scene.run(20)
    scene.cable.plugged = True
    scene.run(10, desk=True)
    trip = scene.trip()
    (hole,) = trip.missing
    gone = [f for f in scene.frames if isinstance(f, wire.Gone)]
    assert (gone[0].first, gone[0].count) == hole
    assert scene.ledger.awaited == 0
    assert hole[1] == pytest.approx(20 * 200 - 1600, abs=250)
    assert hole[1] <= trip.states[-1].lost <= hole[1] + 250  # what the desk had not yet confirmed counts too


def test_what_was_kept_outlasts_a_restart(scene: Scene, tmp_path: Path) -> None:
    scene.run(2, desk=True)
    scene.cable.plugged = False
    scene.run(20)
    end = scene.ledger.end
    scene.store.close()
    again = Scene(tmp_path)
    assert again.boot == 2
    device = int.from_bytes(again.wagon.device, "little")
    again.cable.incoming += wire.encode(wire.Want(device, 1, end, 2**32 - 1 - end))
    again.run(12)
    again.hear()
    old = next(t for t in wire.gather(again.frames).trips if t.boot == 1)
    assert old.seq[0] <= end < old.seq[-1]
    assert old.missing == ()
    (gone,) = [f for f in again.frames if isinstance(f, wire.Gone)]
    assert (gone.boot, gone.first) == (1, old.seq[-1] + 1)
    again.store.close()


def test_a_desk_that_never_spoke_wears_no_flash(scene: Scene) -> None:
    scene.run(15)
    assert not any((Path(scene.board.path) / "kept").iterdir())


def test_a_late_loop_is_counted_and_not_hidden(scene: Scene) -> None:
    scene.run(1)
    scene.ticks.pass_us(52_000)
    scene.run(2)
    trip = scene.trip()
    gap_us = np.max(np.diff(trip.t_us))
    assert gap_us == pytest.approx(52_000, abs=5_500)
    assert trip.states[-1].missed == round(gap_us / 5000) - 1
    assert trip.missing == ()


def test_a_sensor_that_falls_silent_gives_no_samples(scene: Scene) -> None:
    scene.run(1)
    scene.board.i2c.asleep.add(Bus.FIELD)
    scene.run(1)
    scene.board.i2c.asleep.clear()
    scene.run(1.5)
    trip = scene.trip()
    assert trip.states[-1].missed == pytest.approx(200, abs=1)
    assert np.max(np.diff(trip.t_us)) > 900_000


def test_marks_come_once_at_least(scene: Scene) -> None:
    scene.run(1, desk=True)
    scene.cable.plugged = False
    scene.wagon.mark("Tunnel mouth")
    scene.run(4)
    scene.board.pressed = True
    scene.run(1)
    scene.board.pressed = False
    scene.cable.plugged = True
    scene.run(30, desk=True)
    assert [(m.number, m.name) for m in scene.trip().marks] == [(1, "Tunnel mouth"), (2, "button")]


def test_the_display_shows_the_words_piece_by_piece() -> None:
    bus = Bus()
    bus_scan = bus.asleep
    table = {"address": 0x3C, "width": 128, "height": 64, "start": [0xAE, 0xAF], "select": [0xB0, 0, 0x10]}
    display = Display(bus, framebuf, table)
    while display.step():
        pass
    bus.written.clear()
    display.lines(["31 km/h", "19 mph"])
    steps = 0
    while display.step():
        steps += 1
    assert steps == 4  # two lines, the first 64 of 128 columns each
    picture = bytearray(1024)
    at = 0
    for _, _, data in bus.written:
        if data[0] == 0x40:
            picture[at : at + 32] = data[1:]
        elif data[1] & 0xF0 == 0xB0:
            at = (data[1] & 15) * 128
        else:
            at += (data[1] & 15) << (4 if data[1] & 0x10 else 0)
    assert bytes(picture[:56:8]) == b"31 km/h"
    assert bytes(picture[128:176:8]) == b"19 mph"
    bus_scan.add(0x3C)
    display.lines(["gone"])
    assert display.step()
    assert not display.works
    assert not Display(bus, framebuf, table).works


def lead(bus: Bus, script: list[tuple[int, dict]]) -> tuple[bool, list[str]]:
    """Run the check; `script` has (pauses in ms passed, what then changes)."""
    said: list[str] = []
    passed = 0
    waiting = list(script)

    def pause(ms: int) -> None:
        nonlocal passed
        passed += ms
        bus.phi += ms / 1000 * 4
        while waiting and passed >= waiting[0][0]:
            for name, value in waiting.pop(0)[1].items():
                setattr(bus, name, value)

    sensors = [Sensor(bus, table) for table in SETTINGS["sensor"]]
    return BringUp(bus, sensors, SETTINGS, said.append, pause).run(), said


LEVEL, NOSE, LEFT = [0.0, 0.0, 1.0], [0.3, 0.0, 0.95], [0.0, 0.3, 0.95]
SCRIPT = [
    (9_500, {"acc_g": NOSE}),
    (13_500, {"acc_g": LEFT}),
    (17_500, {"acc_g": LEVEL}),
    (20_600, {"rate_dps": [0.0, 0.0, 40.0]}),
]


def test_a_wagon_that_is_well_passes_the_check() -> None:
    good, said = lead(Bus(), SCRIPT)
    assert good, "\n".join(said)
    assert "# field answers at 0x20" in said
    assert "# the axle shows in bx_mT and bz_mT: good" in said
    assert "# turned left: good" in said
    assert said[-1] == "# all is well"
    assert any(line.startswith("# bz_mT .") and "#" in line[8:] for line in said)


def test_the_check_says_which_sensor_is_missing_or_strange() -> None:
    bus = Bus()
    bus.asleep.add(Bus.FIELD)
    good, said = lead(bus, SCRIPT)
    assert not good
    assert said[0].startswith("# field: expected at 0x20, nobody there: look at its wires")
    bus = Bus()
    bus.identities[Bus.INERTIAL, 0x75] = 0x70
    good, said = lead(bus, SCRIPT)
    assert not good
    assert "# inertial: expected identity 0x12, came 0x70: is the register map its own?" in said


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"amplitude": (20, 10)}, "the axle does not show: bx_mT moves by 20 counts, bz_mT by 10"),
        ({"amplitude": (40000, 9000)}, "bx_mT is at the end of its range"),
        ({"amplitude": (12000, 2000)}, "one component is 6 times the other"),
        ({"noise": 0}, "by_mT always reads 40: a wire, its register or its wake-up is wrong"),
    ],
)
def test_the_check_says_what_the_axle_lacks(change: dict, word: str) -> None:
    bus = Bus()
    for name, value in change.items():
        setattr(bus, name, value)
    _, said = lead(bus, SCRIPT)
    assert any(word in line for line in said), said


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (bus_words([], [("field", 0x20)]), "nobody answers on the bus: SDA and SCL may be exchanged"),
        (bus_words([0x21], [("field", 0x20)]), "0x21 answers: is its address wire set so?"),
        (bus_words([0x20, 0x55], [("field", 0x20)]), "0x55 answers too, and the settings say nothing about it"),
        (rest_words([0, 0, 0.5]), "feels 0.5 g: its scale is about 2.0 times as great"),
        (rest_words([0, 0, 0.0]), "feels 0.0 g; look at range and scale"),
        (rest_words([0, 1.0, 0]), "upwards is y, not z"),
        (rest_words([0, 0, -1.0]), "z is upside down"),
        ([lift_words("nose lifted", 0, [0, 0], [0.02, 0])], "nothing was felt"),
        ([lift_words("nose lifted", 0, [0, 0], [0, 0.3])], "y felt it, not x: exchange"),
        ([lift_words("nose lifted", 0, [0, 0], [-0.3, 0])], "ax fell and should rise"),
        ([turn_words([0, 0, 5])], "nothing was felt"),
        ([turn_words([90, 0, 5])], "x felt it, not z"),
        ([turn_words([0, 0, -90])], "gz fell and should rise"),
    ],
)
def test_each_verdict_of_the_check(words: list[str], expected: str) -> None:
    assert any(expected in word for word in words), words


def test_the_nose_up_is_felt_as_physics_says() -> None:
    """Specific force at rest is 1 g upwards; nose up by 17.5 deg it leans back onto +x by sin 17.5 deg = 0.3 g."""
    bus = Bus()
    bus.acc_g = [math.sin(0.305), 0.0, math.cos(0.305)]
    assert lift_words("nose lifted", 0, [0, 0, 1], bus.acc_g).endswith("good")
    assert rest_words(bus.acc_g) == ["1 g upwards: good"]


def test_json_of_now_is_for_the_page(scene: Scene) -> None:
    assert json.loads(json.dumps(now(scene.wagon)))["known"] is False


class BadNetwork(Cable):
    """Loses 5 % of what goes either way, doubles 2 %, lets frames overtake each other, and can be out altogether."""

    def __init__(self, seed: int) -> None:
        super().__init__()
        self._rng = np.random.default_rng(seed)
        self._late: list[tuple[int, bytes]] = []

    def write(self, view: object) -> int | None:
        data = bytes(view)  # type: ignore[call-overload]
        chance = self._rng.random()
        if self.plugged and chance > 0.05:
            for _ in range(2 if chance < 0.07 else 1):
                self._late.append((int(self._rng.integers(0, 6)), data))
        self._late = [(wait - 1, frame) for wait, frame in self._late]
        for _, frame in [f for f in self._late if f[0] < 0]:
            self.out += frame
        self._late = [f for f in self._late if f[0] >= 0]
        return len(data)  # a datagram always goes; nobody says whether it comes

    def read(self, count: int) -> bytes | None:
        if self.incoming and (not self.plugged or self._rng.random() < 0.05):
            self.incoming = b""
        return super().read(count)


def test_loss_doubles_disorder_outage_and_restart_lose_nothing(tmp_path: Path) -> None:
    """5 % loss, 2 % duplicates, reordering, ten seconds without a network, and a restart."""
    frames: list[wire.Frame] = []
    for boot in (1, 2):
        scene = Scene(tmp_path)
        scene.cable = scene.board.serial = BadNetwork(boot)
        scene.wagon.links[0]._stream = scene.cable
        scene.run(8, desk=True)
        scene.cable.plugged = False
        scene.run(10)
        scene.cable.plugged = True
        scene.run(12, desk=True)
        scene.run(2)  # the last wants are answered, and nothing new is asked for
        scene.hear()
        assert [(first, count) for first, count in scene.ledger.missing() if first < scene.ledger.end - 600] == []
        frames += scene.frames
        scene.store.close()
    heard = wire.gather(frames)
    assert heard.damage == ()
    assert [t.boot for t in heard.trips] == [1, 2]
    for trip in heard.trips:
        assert len(trip.seq) > 200 * 30
        assert trip.clashing == 0
        assert trip.repeated > 50
        assert np.all(np.diff(trip.t_us) > 0)
