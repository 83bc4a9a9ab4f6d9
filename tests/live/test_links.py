"""Links over real sockets, a pseudo-terminal and real files: what is sent arrives, what breaks is made again."""

import os
import re
import socket
import sys
import threading

import pytest
from websockets.sync.server import serve

from tests.live.stand_ins import Running, until
from wayrule.errors import UsageError, WayruleError
from wayrule.formats.rawlog import DATA, NOTE, packed
from wayrule.formats.rawlognotes import note_bytes
from wayrule.formats.wire import Decoder, Samples, Want, encode
from wayrule.formats.wire.hello import device_of
from wayrule.live.discovery import Found
from wayrule.live.links import finding, link, link_of, serialport, tcp
from wayrule.live.links.link import LinkDownError
from wayrule.live.links.udp import UdpLink


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(link, "FIRST_PAUSE_S", 0.02)
    monkeypatch.setattr(link, "LONGEST_PAUSE_S", 0.05)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (
            "carrier-pigeon:",
            "LINK: expected a link: serial:, udp:, tcp:, ws:, find:, file:, sim:, came 'carrier-pigeon:'",
        ),
        ("monday.waylog", "LINK: expected a link: serial:"),
        ("udp:99999", "udp:99999: expected udp:PORT or udp: alone, came port '99999'; write it so"),
        ("tcp:", "tcp:: expected tcp:HOST or tcp:HOST:PORT, came ''"),
        ("tcp:van:x", "tcp:van:x: expected tcp:HOST or tcp:HOST:PORT, came port 'x'"),
        ("ws:", "ws:: expected ws:HOST or ws://HOST:PORT/wire, came ''"),
        ("find:van", "find:van: expected find:, came 'van'"),
        ("file:", "file:: expected file:PATH, with @speed=10 or @speed=max, came no path"),
        ("file:x@speed=0", "file:x@speed=0: expected file:PATH, with @speed=10 or @speed=max, came @speed=0"),
        ("file:x@laps=2", "came @laps; write it so"),
        ("file:nowhere.waylog", "file:nowhere.waylog: expected a log to replay, came No such file or directory"),
        ("sim:fast", "sim:fast: expected sim: with @wagons=2"),
        ("sim:@wagons=0", "came @wagons=0"),
        ("serial:/dev/x@baud=fast", "came @baud=fast"),
    ],
)
def test_a_link_written_wrong_is_one_line(text, line):
    with pytest.raises(WayruleError, match=re.escape(line)):
        link_of(text)


def test_how_links_are_written():
    assert link_of("ws:van7.local")._url == "ws://van7.local/wire"
    assert link_of("ws://10.0.0.7:8080/raw")._url == "ws://10.0.0.7:8080/raw"
    assert link_of("ws:[fe80::1]")._url == "ws://[fe80::1]/wire"
    assert (link_of("tcp:van7.local")._host, link_of("tcp:van7.local")._port) == ("van7.local", 47870)


# ---------------------------------------------------------------------------------------------------------- UDP


def test_datagrams_of_several_senders_and_answers_to_each():
    with Running(UdpLink("udp:", "127.0.0.1", 0)) as running:
        port = running.link.port
        socks = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(3)]
        for k, sock in enumerate(socks):
            sock.settimeout(5)
            sock.sendto(b"%d" % k * 3, ("127.0.0.1", port))
        until(lambda: len(running.sink.whats("up")) == 3 and len(running.sink.data) == 9)
        for k, sock in enumerate(socks):
            running.sink.answers[f"127.0.0.1:{sock.getsockname()[1]}"](b"answer %d" % k)
            assert sock.recv(100) == b"answer %d" % k
            sock.close()


def test_a_port_that_is_taken_is_one_line():
    first = UdpLink("udp:", "127.0.0.1", 0)
    with pytest.raises(UsageError, match="expected a port that is free, came Address already in use; is another"):
        UdpLink("udp:1", "127.0.0.1", first.port)
    first._socket.close()


# ------------------------------------------------------------------------------------------------------ streams


def test_a_stream_that_breaks_is_made_again_and_answers_go_back():
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(5)
    with Running(link_of(f"tcp:127.0.0.1:{server.getsockname()[1]}")) as running:
        for k in range(3):
            made, _ = server.accept()
            made.settimeout(5)
            made.sendall(b"part %d;" % k)
            until(lambda k=k: running.sink.data.endswith(b"part %d;" % k))
            next(iter(running.sink.answers.values()))(b"thanks")
            assert made.recv(100) == b"thanks"
            made.close()
            until(lambda k=k: len(running.sink.whats("down")) > k)
    server.close()
    assert running.sink.data == b"part 0;part 1;part 2;"
    assert running.sink.whats("down")[0] == "the wagon closed the connection"


def test_a_silent_stream_is_taken_for_gone(monkeypatch):
    monkeypatch.setattr(tcp, "SILENT_S", 0.3)
    server = socket.create_server(("127.0.0.1", 0))
    with Running(link_of(f"tcp:127.0.0.1:{server.getsockname()[1]}")) as running:
        until(lambda: running.sink.whats("down"))
        assert running.sink.whats("down")[0] == "silent for 0.3 s"
    server.close()


def test_nobody_there_is_told_once_by_the_system_s_words():
    server = socket.create_server(("127.0.0.1", 0))
    port = server.getsockname()[1]
    server.close()
    with Running(link_of(f"tcp:127.0.0.1:{port}")) as running:
        until(lambda: len(running.sink.whats("down")) >= 2)
    assert running.sink.whats("down")[0] == "Connection refused"


def test_a_websocket_both_ways_and_made_again():
    answers = []

    def wagon(made):
        made.send(b"\x00frames\x00")
        made.send("text\n")
        answers.append(made.recv())

    with serve(wagon, "127.0.0.1", 0) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        with Running(link_of(f"ws:127.0.0.1:{server.socket.getsockname()[1]}/wire")) as running:
            for k in (1, 2):
                until(lambda k=k: running.sink.data == b"\x00frames\x00text\n" * k)
                next(iter(running.sink.answers.values()))(b"want")
                until(lambda k=k: answers == [b"want"] * k)
        server.shutdown()
        thread.join()


def test_a_page_that_is_no_websocket_is_told():
    server = socket.create_server(("127.0.0.1", 0))

    def page():
        made, _ = server.accept()
        made.recv(4096)
        made.sendall(b"HTTP/1.1 404 Not Found\r\nContent-Length: 0\r\n\r\n")
        made.close()

    thread = threading.Thread(target=page)
    thread.start()
    with Running(link_of(f"ws:127.0.0.1:{server.getsockname()[1]}")) as running:
        until(lambda: running.sink.whats("down"))
    assert running.sink.whats("down")[0].startswith("no WebSocket there: ")
    thread.join()
    server.close()


# -------------------------------------------------------------------------------------------------------- cable


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_a_cable_both_ways_pulled_and_plugged_in_under_another_name(tmp_path):
    import tty

    wagon, desk = os.openpty()
    tty.setraw(desk)
    name = tmp_path / "ttyWagon"
    name.symlink_to(os.ttyname(desk))
    with Running(link_of(f"serial:{name}")) as running:
        until(lambda: running.sink.whats("up"))
        os.write(wagon, b"\x00first\x00")
        until(lambda: running.sink.data == b"\x00first\x00")
        running.sink.answers[str(name)](b"want")
        assert os.read(wagon, 100) == b"want"
        os.close(wagon)
        os.close(desk)
        until(lambda: running.sink.whats("down"))
        name.unlink()
        wagon, desk = os.openpty()
        tty.setraw(desk)
        name.symlink_to(os.ttyname(desk))
        until(lambda: len(running.sink.whats("up")) == 2)
        os.write(wagon, b"\x00second\x00")
        until(lambda: running.sink.data == b"\x00first\x00\x00second\x00")
    os.close(wagon)
    os.close(desk)


class _Port:
    def __init__(self, device, serial_number="A1"):
        self.device, self.vid, self.pid, self.serial_number, self.description = device, 1, 2, serial_number, "a board"


def test_the_only_cable_is_found_and_known_again(monkeypatch):
    ports = []
    monkeypatch.setattr(serialport.list_ports, "comports", lambda: ports)
    with pytest.raises(UsageError, match="expected one USB serial port, came none; plug the wagon in; a charging"):
        link_of("serial:")
    ports.append(_Port("/dev/ttyACM0"))
    made = link_of("serial:")
    assert made._port == "/dev/ttyACM0"
    ports.append(_Port("/dev/ttyACM1", "B2"))
    with pytest.raises(UsageError, match=r"came /dev/ttyACM0 \(a board\), /dev/ttyACM1 .*; name it: serial:/dev"):
        link_of("serial:")
    ports[:] = [_Port("/dev/ttyACM1", "B2"), _Port("/dev/ttyACM7", "A1")]
    with pytest.raises(LinkDownError):
        made.run(None, threading.Event())
    assert made._port == "/dev/ttyACM7", "the same board under another name"


# -------------------------------------------------------------------------------------------------- replay, sim


def raw(parts):
    blocks = [packed(NOTE, 1, b"session1", 0, 0, note_bytes("source", {"link": "udp:", "peer": "here"}))]
    return b"".join([*blocks, *(packed(DATA, 1, b"session1", k + 1, t, data) for k, (t, data) in enumerate(parts))])


def test_a_log_is_sent_again_in_its_own_time_with_its_later_segments(tmp_path):
    import time

    (tmp_path / "m.waylog").write_bytes(raw([(0, b"a"), (10**9, b"b")]))
    (tmp_path / "m.2.waylog").write_bytes(packed(DATA, 1, b"session1", 3, 2 * 10**9, b"c"))
    began = time.monotonic()
    with Running(link_of(f"file:{tmp_path / 'm.waylog'}@speed=5")) as running:
        until(lambda: running.why)
        took = time.monotonic() - began
    assert (running.sink.data, running.why) == (b"abc", "the file is at its end")
    assert took >= 0.4, "two seconds at five times the speed"
    assert running.sink.events[0][:2] == ("up", "udp: here")


def test_any_other_file_is_sent_as_bytes(tmp_path):
    (tmp_path / "capture.txt").write_bytes(b"t_ms,bx_mT\n" * 1000)
    with Running(link_of(f"file:{tmp_path / 'capture.txt'}")) as running:
        until(lambda: running.why)
    assert running.sink.data == b"t_ms,bx_mT\n" * 1000


def test_make_believe_wagons_are_the_same_for_the_same_seed():
    def one(text):
        with Running(link_of(text)) as running:
            until(lambda: running.why, 60)
        return running.sink

    first, again = (one("sim:@wagons=2@laps=1@speed=max@seed=3") for _ in range(2))
    assert first.data == again.data
    samples = [f for f in Decoder().feed(first.data) if isinstance(f, Samples)]
    assert len({s.device for s in samples}) == 2
    assert sum(map(len, samples)) > 20_000


def test_a_make_believe_wagon_keeps_real_time_and_stops_when_told():
    import time

    with Running(link_of("sim:")) as running:
        until(lambda: running.sink.data, 30)
        before, began = len(running.sink.data), time.monotonic()
        time.sleep(1.0)
        rate = (len(running.sink.data) - before) / (time.monotonic() - began)
    assert 3_000 < rate < 8_000, "200 samples of 20 bytes, and what frames need"
    assert running.why == "", "told to stop, not at its end"


# -------------------------------------------------------------------------------------------- wagons that are found


def test_a_wagon_that_makes_itself_known_is_greeted_until_it_sends(monkeypatch):
    found = []

    class Browser:
        def __init__(self, tell):
            found.append(tell)

        def close(self):
            found.append("closed")

    monkeypatch.setattr(finding, "Browser", Browser)
    monkeypatch.setattr(finding, "GREET_S", 0.05)
    wagon = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    wagon.bind(("127.0.0.1", 0))
    wagon.settimeout(5)
    with Running(finding.FindLink("find:", "127.0.0.1", 0)) as running:
        until(lambda: found)
        found[0](Found("tcp", "Coach 2", "127.0.0.1", 1, "ffff"))
        found[0](Found("udp", "Nameless", "127.0.0.1", 1, ""))
        found[0](Found("udp", "Van 7", "127.0.0.1", wagon.getsockname()[1], "a1b2"))
        data, desk = wagon.recvfrom(2000)
        assert Decoder().feed(data) == [Want(device_of("a1b2"), 0, 0, 0)]
        wagon.sendto(encode(Want(1, 1, 1, 1)), desk)
        until(lambda: running.sink.data)
    assert found[-1] == "closed"
    wagon.close()
