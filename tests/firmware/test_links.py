"""The wagon on real sockets and a pseudo-terminal, at its own 200 Hz: cable, UDP, TCP, WebSocket, page, discovery."""

import contextlib
import http.client
import json
import os
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from wagon import radio as radios
from wagon import settings as files
from wagon import websocket
from wagon.announce import Announcer, announcement
from wagon.links import Stream
from wagon.page import LIMIT, _name
from wagon.shown import now, words
from wagon.store import Store
from wagon.wagon import Wagon
from websockets.sync.client import connect

from tests.firmware.standin import Board, Cable, Pty, Ticks
from wayrule.formats import wire

ROOT = Path(__file__).parents[2]
SETTINGS = files.read((ROOT / "firmware/settings.toml").read_text(encoding="utf-8"))

ALONE = {"port": 0, "page_port": 0, "announce": False}
"""Ports that are free; nothing is told to the network of whoever runs the tests."""


class Running:
    """A wagon that runs in a thread of its own, in real time, until it is told to stop."""

    def __init__(self, folder: Path, serial: object = None, *, network: bool = True) -> None:
        folder.mkdir(exist_ok=True)
        self.board = Board(folder, Ticks(real=True), serial=serial)
        self.wagon = Wagon(self.board, {**SETTINGS, **ALONE}, Store(str(folder / "kept")))
        if network:
            self.wagon.open_network("127.0.0.1")
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            self.board.i2c.phi = self.board.ticks.true_us() * 19e-6
            if not self.wagon.step():
                time.sleep(0.0005)

    def port(self, part: str) -> int:
        return (self.wagon._network[part]._door if part == "page" else self.wagon._network[part]).address()[1]

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()
        for link in self.wagon.links:
            for held in (getattr(link, "_socket", None), getattr(link, "_connection", None)):
                if held is not None:
                    held.close()
            if hasattr(link, "_stream") and hasattr(link._stream, "close"):
                link._stream.close()
        for part in self.wagon._network.values():
            for held in (getattr(part, "_socket", None), getattr(getattr(part, "_door", None), "_socket", None)):
                if held is not None:
                    held.close()


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    made = Running(tmp_path)
    yield made
    made.stop()


def heard(receive: Callable[[], bytes], say: Callable[[bytes], object], seconds: float, device: int) -> wire.Trip:
    """Listen for so long, speaking every quarter second as a desk does; all of the trip must be whole."""
    decoder, ledger, frames = wire.Decoder(), wire.Ledger(), []
    began, spoke = time.monotonic(), 0.0
    while time.monotonic() - began < seconds:
        if time.monotonic() - spoke > 0.25:
            spoke = time.monotonic()
            for first, count in ledger.asked():
                say(wire.encode(wire.Want(device, 1, first, count, ledger.safe)))
        new = decoder.feed(receive())
        frames += new
        for frame in new:
            if isinstance(frame, wire.Samples):
                ledger.note(frame.seq)
    got = wire.gather(frames)
    assert got.damage == ()
    return got.trips[0]


def check(trip: wire.Trip, running: Running) -> None:
    """Two hundred a second by the wagon's own count: those sent, and those that this busy computer let it miss."""
    assert trip.hello is not None
    assert trip.missing == ()
    span_s = (trip.t_us[-1] - trip.t_us[0]) / 1e6
    assert span_s > 0.6
    assert len(trip.seq) - 1 <= span_s * 200 + 1
    assert len(trip.seq) + running.wagon.sampler.missed >= span_s * 200 - 4


def device(running: Running) -> int:
    return int.from_bytes(running.wagon.device, "little")


@pytest.mark.skipif(sys.platform == "win32", reason="not run: no pseudo-terminals here")
def test_over_a_cable(tmp_path: Path) -> None:
    import tty

    desk, wagon = os.openpty()
    tty.setraw(wagon)
    os.set_blocking(desk, False)
    running = Running(tmp_path, Pty(wagon), network=False)

    def receive() -> bytes:
        time.sleep(0.002)
        try:
            return os.read(desk, 4096)
        except BlockingIOError:
            return b""

    trip = heard(receive, lambda data: os.write(desk, data), 1.2, device(running))
    running.stop()
    os.close(desk)
    os.close(wagon)
    check(trip, running)


def test_over_udp_with_a_quarter_lost(running: Running) -> None:
    """Every fourth datagram is thrown away on arrival; the wagon sends again what was missed."""
    count = 0
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as desk:
        desk.bind(("127.0.0.1", 0))
        desk.settimeout(0.05)

        def receive() -> bytes:
            nonlocal count
            try:
                data = desk.recv(2048)
            except TimeoutError:
                return b""
            count += 1
            return b"" if count % 4 == 0 and count < 40 else data

        trip = heard(receive, lambda data: desk.sendto(data, ("127.0.0.1", running.port("udp"))), 2.2, device(running))
    assert count > 40
    check(trip, running)


def test_over_tcp(running: Running) -> None:
    with socket.create_connection(("127.0.0.1", running.port("door"))) as desk:
        desk.settimeout(0.05)

        def receive() -> bytes:
            try:
                return desk.recv(4096)
            except TimeoutError:
                return b""

        trip = heard(receive, desk.sendall, 1.2, device(running))
    check(trip, running)
    time.sleep(0.3)
    assert len(running.wagon.links) == 1  # only UDP is left: who hangs up goes


def test_over_a_websocket_that_a_library_speaks(running: Running) -> None:
    """The `websockets` package is the other side."""
    with connect(f"ws://127.0.0.1:{running.port('page')}/wire", compression=None) as desk:
        desk.ping().wait(2)

        def receive() -> bytes:
            try:
                return desk.recv(timeout=0.05)
            except TimeoutError:
                return b""

        trip = heard(receive, desk.send, 1.2, device(running))
    check(trip, running)


def asked(running: Running, verb: str, path: str, body: str = "") -> tuple[int, bytes]:
    client = http.client.HTTPConnection("127.0.0.1", running.port("page"), timeout=5)
    client.request(verb, path, body.encode() or None)
    answer = client.getresponse()
    found = answer.status, answer.read()
    client.close()
    return found


def test_the_page_shows_way_and_speed_and_takes_marks(running: Running) -> None:
    status, page = asked(running, "GET", "/")
    assert status == 200
    assert b"scale speed" in page
    assert b"http" not in page.replace(b"<!doctype html>", b"")  # nothing from elsewhere
    deadline = time.monotonic() + 20
    while not running.wagon.speed.mm_s and time.monotonic() < deadline:
        time.sleep(0.1)
    now = json.loads(asked(running, "GET", "/now")[1])
    assert now["known"]
    assert now["mm_s"] == pytest.approx(19 * 5.25, rel=0.2)
    assert now["mph"] == pytest.approx(now["km_h"] / 1.609344)
    assert asked(running, "POST", "/mark", "Signal 3") == (200, b"marked")
    assert asked(running, "POST", "/zero") == (200, b"zero")
    assert asked(running, "GET", "/other")[0] == 404
    assert running.wagon._marks == 1


def test_a_visitor_who_says_too_much_or_nothing_is_shown_out(running: Running) -> None:
    with socket.create_connection(("127.0.0.1", running.port("page"))) as visitor:
        visitor.settimeout(5)
        visitor.sendall(b"GET /" + b"x" * (LIMIT + 300))
        with contextlib.suppress(ConnectionError):
            assert visitor.recv(100) == b""
    with socket.create_connection(("127.0.0.1", running.port("page"))) as silent:
        silent.settimeout(10)
        assert silent.recv(100) == b""
    assert asked(running, "GET", "/now")[0] == 200


@pytest.mark.parametrize(
    ("body", "name"),
    [(b"Signal 3", "Signal 3"), (b"\xff", "mark"), (b"", "mark"), (b"a\nb", "ab"), (b"x" * 99, "x" * 64)],
)
def test_names_of_marks_are_tame(body: bytes, name: str) -> None:
    assert _name(body) == name


def test_a_masked_message_is_that_of_the_standard() -> None:
    """RFC 6455, section 5.7: "Hello", masked; and a ping that holds it."""
    messages = websocket.Messages()
    hello = bytes.fromhex("81 85 37 fa 21 3d 7f 9f 4d 51 58")
    assert messages.feed(hello[:4]) == []
    assert messages.feed(hello[4:]) == [(1, b"Hello")]
    assert messages.feed(bytes.fromhex("89 85 37 fa 21 3d 7f 9f 4d 51 58")) == [(9, b"Hello")]
    assert websocket.message(bytes(200))[:4] == bytes([0x82, 126, 0, 200])
    messages.feed(bytes.fromhex("81 05 48 65 6c 6c 6f"))
    assert messages.broken  # a client must mask


class Full:
    """A connection that takes a few bytes now and then."""

    def __init__(self) -> None:
        self.got = b""
        self.takes = 0
        self.open = True

    def setblocking(self, on: bool) -> None:
        assert not on

    def send(self, data: bytes) -> int:
        if not self.takes:
            raise BlockingIOError(11, "later")
        count = min(self.takes, len(data))
        self.got += bytes(data[:count])
        return count

    def recv(self, _count: int) -> bytes:
        raise BlockingIOError(11, "later")

    def close(self) -> None:
        self.open = False


def test_a_slow_connection_gets_whole_frames_or_none() -> None:
    slow = Full()
    link = Stream(slow)
    sent = [bytes([k]) * 100 for k in range(40)]
    taken = [k for k in range(30) if link.send(memoryview(sent[k]))]
    assert taken == list(range(20))  # its room
    slow.takes = 70
    for _ in range(40):
        assert link.poll() is None
    assert slow.got == b"".join(sent[:20])
    assert link.up


def test_a_library_finds_the_wagon_by_its_announcement() -> None:
    """`zeroconf`'s own parser reads the message (RFC 6762, RFC 6763)."""
    zeroconf = pytest.importorskip("zeroconf")
    message = zeroconf.DNSIncoming(announcement("Inspection van 7", "a1b2", "192.168.4.1", 47870))
    assert message.valid
    kinds = {}
    for record in message.answers():
        kinds.setdefault(type(record).__name__, []).append(record)
    assert [p.alias for p in kinds["DNSPointer"]] == [
        "Inspection van 7._wayrule._udp.local.",
        "Inspection van 7._wayrule._tcp.local.",
    ]
    assert {(s.server, s.port) for s in kinds["DNSService"]} == {("wayrule-a1b2.local.", 47870)}
    assert {bytes(t.text) for t in kinds["DNSText"]} == {b"\x07id=a1b2"}
    assert [bytes(a.address) for a in kinds["DNSAddress"]] == [bytes([192, 168, 4, 1])]


def test_it_is_announced_again_and_again() -> None:
    sent = []
    fake = SimpleNamespace(sendto=lambda *what: sent.append(what))
    announcer = Announcer(SimpleNamespace(AF_INET=2, SOCK_DGRAM=2, socket=lambda *_: fake), b"hello")
    for sec in range(25):
        announcer.step(sec)
    assert sent == [(b"hello", ("224.0.0.251", 5353))] * 3


class Wlan:
    """A radio that joins when it is told to."""

    def __init__(self, kind: int) -> None:
        self.kind, self.on, self.joined, self.told = kind, False, False, {}

    def active(self, on: bool) -> None:
        self.on = on

    def connect(self, name: str, key: str) -> None:
        self.told = {"name": name, "key": key}

    def config(self, **how: object) -> None:
        self.told = how

    def isconnected(self) -> bool:
        return self.joined

    def ifconfig(self) -> tuple[str, ...]:
        return ("192.168.4.1" if self.kind else "192.168.1.7",)

    def status(self, _what: str) -> int:
        return -58


def radio(wifi: dict) -> tuple[radios.Radio, list[Wlan]]:
    made: list[Wlan] = []

    def wlan(kind: int) -> Wlan:
        made.append(Wlan(kind))
        return made[-1]

    found = radios.Radio(SimpleNamespace(WLAN=wlan, STA_IF=0, AP_IF=1), wifi, "wayrule-e5f6")
    found.start(0)
    return found, made


WIFI = {"name": "Station house", "key": "secret of the house", "own_key": "secret of the van"}


def test_it_joins_the_network_of_its_file() -> None:
    found, made = radio(WIFI)
    assert (found.words, found.address()) == ("joining", None)
    assert made[0].told == {"name": "Station house", "key": "secret of the house"}
    made[0].joined = True
    assert found.step(3)
    assert (found.words, found.address(), found.dbm()) == ("joined", "192.168.1.7", -58)
    made[0].joined = False
    assert found.step(4)
    assert found.address() is None


def test_it_opens_its_own_network_where_there_is_none() -> None:
    found, made = radio(WIFI)
    assert not found.step(15)
    assert found.step(16)
    assert (found.words, found.address(), found.dbm()) == ("own network wayrule-e5f6", "192.168.4.1", 0)
    assert made[1].told == {"ssid": "wayrule-e5f6", "key": "secret of the van", "security": 3}
    assert not made[0].on
    found, _ = radio({"own_key": "short"})
    assert found.words == "no own network: own_key in wifi.toml needs 8 characters"
    assert found.address() is None


def test_name_and_key_are_never_told(tmp_path: Path) -> None:
    """All that leaves the wagon: the cable, the page, the display, its files."""
    found, _ = radio(WIFI)
    cable = Cable()
    board = Board(tmp_path, Ticks(), serial=cable)
    wagon = Wagon(board, SETTINGS, radio=found)
    wagon.open_network = lambda _: None  # its own network comes up after 15 s; nothing to bind here
    shown = []
    for _ in range(20):
        for _ in range(2000):
            board.ticks.pass_us(500)
            board.i2c.phi += 0.01
            wagon.step()
        shown.append(" ".join(words(wagon)) + found.words + json.dumps(now(wagon)))
    assert "own network wayrule-e5" in shown[-1]
    files_of = b"".join(p.read_bytes() for p in tmp_path.iterdir() if p.is_file())
    told = bytes(cable.out) + "".join(shown).encode() + files_of
    for word in ("Station house", "secret of the house", "secret of the van"):
        assert word.encode() not in told
