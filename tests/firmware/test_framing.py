"""The firmware's framing, axle, ring and settings under CPython, against libraries and the C library's arctangent."""

import json
import math
import random
import re
import tomllib
import zlib
from pathlib import Path

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st
from wagon import axle, framing, packets
from wagon import settings as files
from wagon.ring import Ring
from wagon.store import Store

from wayrule.formats import wire

ROOT = Path(__file__).parents[2]
VECTORS = {v["what"]: v for v in json.loads((ROOT / "tests/vectors/wire.json").read_text(encoding="utf-8"))}


@given(
    st.binary(min_size=1, max_size=700) | st.binary(min_size=240, max_size=600).map(lambda b: b.replace(b"\0", b"\1"))
)
@settings(max_examples=150, deadline=None)
def test_frames_are_what_the_libraries_make(packet: bytes) -> None:
    """`cobs` (C. McQueen's package) and zlib, neither of them ours."""
    whole = packet + zlib.crc32(packet).to_bytes(4, "little")
    frame = framing.framed(packet)
    assert frame == b"\0" + cobs.encode(whole) + b"\0"
    assert framing.unstuffed(frame[1:-1]) == packet


@given(st.binary(max_size=80), st.integers(0, 600))
@settings(max_examples=100, deadline=None)
def test_what_is_no_frame_is_none(piece: bytes, flip: int) -> None:
    packet = framing.unstuffed(piece)
    assert packet is None or zlib.crc32(packet).to_bytes(4, "little") == cobs.decode(piece)[-4:]
    whole = bytearray(framing.framed(b"\5" + bytes(19))[1:-1])
    whole[flip % len(whole)] ^= 1 << flip % 8
    assert framing.unstuffed(bytes(whole)) is None


def test_the_test_vectors_are_made_byte_by_byte() -> None:
    vector = VECTORS["a mark"]["fields"]
    device = vector["device"].to_bytes(4, "little")
    made = packets.mark(device, vector["boot"], vector["number"], 2, 750_000, vector["name"])
    assert framing.framed(made).hex() == VECTORS["a mark"]["frame"]
    state = packets.state(device, 3, 3, 0, (3905, 81), -58, (0, 0, 1600))
    assert framing.framed(state).hex() == VECTORS["a state"]["frame"]
    assert framing.framed(packets.gone(device, 2, 0, 400)).hex() == VECTORS["a gone"]["frame"]


def test_a_want_is_heard_in_any_pieces_and_noise_is_not_kept() -> None:
    want = bytes.fromhex(VECTORS["a want"]["frame"])
    listener = framing.Listener()
    found = [framing.want_of(p) for at in range(len(want)) for p in listener.feed(want[at : at + 1])]
    assert found == [((0x902AB418).to_bytes(4, "little"), 3, 400, 12, 400)]
    for _ in range(50):
        assert listener.feed(b"noise" * 40) == []
    assert [framing.want_of(p) for p in listener.feed(want)] == found
    assert framing.want_of(b"\4" + bytes(30)) is None


def test_the_angle_is_within_a_step_of_the_arctangent() -> None:
    rng = random.Random(1)
    worst = 0.0
    for _ in range(20_000):
        size, turn = 10 ** rng.uniform(1.7, 4.8), rng.uniform(0, 2 * math.pi)
        x, y = round(size * math.cos(turn)), round(size * math.sin(turn))
        off = (axle.angle(y, x) - math.atan2(y, x) / (2 * math.pi) * 65536 + 32768) % 65536 - 32768
        worst = max(worst, abs(off))
    assert worst < 1.1  # 0.006 deg: 0.6 um on a wheel of 10.5 mm
    assert [axle.angle(y, x) for x, y in ((0, 0), (5, 0), (0, 5), (-5, 0), (0, -5))] == [0, 0, 16384, 32768, 49152]


def rolled(
    turns: float, *, sign: int = 1, ellipse: tuple[int, int, int, int] | None = None, noise: int = 0
) -> axle.Axle:
    """An axle that turned so often, 100 samples a turn, field of unequal size about an offset."""
    wheel, rng = axle.Axle(32987, sign, ellipse), random.Random(2)
    for k in range(round(abs(turns) * 100) + 1):
        phi = math.copysign(k * 2 * math.pi / 100, turns)
        a, b = 12000 * math.cos(phi) + 500, 9000 * math.sin(phi) - 300
        wheel.take(round(a) + rng.randint(-noise, noise), round(b) + rng.randint(-noise, noise))
    return wheel


@pytest.mark.parametrize(("turns", "sign"), [(50, 1), (-50, 1), (50, -1), (0.25, 1)])
def test_the_way_is_turns_times_the_circumference(turns: float, sign: int) -> None:
    way = rolled(turns, sign=sign, ellipse=(500, -300, 12000, 9000)).distance_um()
    assert way == pytest.approx(sign * turns * math.pi * 10_500, abs=60)  # the extremes fade a little: 0.06 mm


def test_the_ellipse_is_learnt_by_rolling() -> None:
    wheel = rolled(30, noise=30)
    assert wheel.known
    assert wheel.ellipse() == pytest.approx((500, -300, 12000, 9000), abs=250)
    assert wheel.distance_um() == pytest.approx(27.2 * 32987, abs=0.8 * 32987)  # without the turns it learnt by
    wheel.zero()
    assert wheel.distance_um() == 0
    assert not rolled(1.5).known


def test_noise_is_no_way() -> None:
    wheel, rng = axle.Axle(32987), random.Random(3)
    for _ in range(2000):
        wheel.take(rng.randint(-30, 30), rng.randint(-30, 30))
    assert (wheel.known, wheel.distance_um()) == (False, 0)


def test_scale_speed_is_that_of_the_table() -> None:
    """100 km/h in HO is 319.28 mm/s, 60 mph is 308.3 mm/s (scale-speed table; also in `wayrule.units`)."""
    for mm_s, km_h, mph in ((319.28, 100.0, None), (308.3, None, 60.0)):
        speed = axle.Speed(87)
        speed.take(0, 0)
        speed.take(mm_s * 500, 500_000)
        assert speed.mm_s == pytest.approx(mm_s)
        assert km_h is None or speed.km_h() == pytest.approx(km_h, abs=0.05)
        assert mph is None or speed.mph() == pytest.approx(mph, abs=0.05)
    speed.take(mm_s * 500, 100_000)  # too soon: as before
    assert speed.mph() == pytest.approx(60.0, abs=0.05)


def test_the_ring_keeps_the_newest() -> None:
    ring = Ring(4, 8)
    assert (ring.kept(), ring.find(0)) == (0, 0)
    for n in range(10):
        ring.room()[0] = n
        ring.put(3 * n, 3)
    assert (ring.tail, ring.head, ring.kept()) == (6, 10, 12)
    assert [ring.views[n % 4][0] for n in range(6, 10)] == [6, 7, 8, 9]
    assert [ring.find(seq) for seq in (0, 18, 20, 21, 29, 30)] == [6, 6, 6, 7, 9, 10]


def frame_of(first: int, rows: int = 4) -> bytes:
    head = bytes([2, 1, 0, rows]) + bytes(8) + first.to_bytes(4, "little") + bytes(8)
    return framing.framed(head + bytes(4 * rows)) + b"\0\0"


def test_the_store_gives_back_what_it_kept_across_a_restart(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "kept"), file_bytes=400, files=4)
    for boot, count in ((7, 30), (8, 10)):
        for n in range(count):
            assert store.put(boot, 4 * n, frame_of(4 * n))
    store.close()
    (tmp_path / "kept" / "notes.txt").write_text("not ours")
    again = Store(str(tmp_path / "kept"), file_bytes=400, files=4)
    seven = [f[:2] for f in again.read(7, 0)]
    assert seven[-1] == (116, 120)
    assert seven == [(k, k + 4) for k in range(seven[0][0], 120, 4)]
    assert [f[0] for f in again.read(8, 22)] == [20, 24, 28, 32, 36]
    (samples,) = wire.Decoder().feed(next(again.read(8, 22))[2])
    assert isinstance(samples, wire.Samples)
    assert samples.seq.tolist() == [20, 21, 22, 23]
    assert list(again.read(9, 0)) == []


def test_a_torn_file_is_read_up_to_the_tear(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "kept"))
    for n in range(5):
        store.put(1, 4 * n, frame_of(4 * n))
    store.close()
    (path,) = (tmp_path / "kept").iterdir()
    path.write_bytes(path.read_bytes()[:-20])
    assert [f[0] for f in Store(str(tmp_path / "kept")).read(1, 0)] == [0, 4, 8, 12]


def test_flash_that_fails_is_told_and_tried_again(tmp_path: Path) -> None:
    store = Store(str(tmp_path / "kept"))
    (tmp_path / "kept").rmdir()
    assert not store.put(1, 0, b"x")
    assert store.failed
    (tmp_path / "kept").mkdir()
    assert store.put(1, 0, b"x")
    assert not store.failed
    store.close()


TOML = st.recursive(
    st.integers(-(10**6), 10**6) | st.booleans() | st.text("abc #[],=x_", max_size=8),
    lambda inner: st.lists(inner, max_size=4),
    max_leaves=8,
)


@given(st.dictionaries(st.text("abcdef_", min_size=1, max_size=6), TOML, max_size=5))
@settings(max_examples=150, deadline=None)
def test_settings_are_read_as_toml_is(table: dict) -> None:
    """Python's own tomllib is the reference."""
    text = "".join(f"{key} = {json.dumps(value)}  # remark\n" for key, value in table.items())
    assert files.read(text) == tomllib.loads(text)


def test_the_settings_that_come_with_it_are_toml() -> None:
    text = (ROOT / "firmware/settings.toml").read_text(encoding="utf-8")
    assert files.read(text) == tomllib.loads(text)
    assert files.read("a = 1.5e3\nb = 0x10") == {"a": 1500.0, "b": 16}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("name", "line 1: expected key = value, came name"),
        ("\na =", "line 2: expected key = value, came a ="),
        ("a = 1\na = 2", "line 2: expected a once, came it a second time"),
        ("[x]\n[x]", "line 2: expected [x] once, came it a second time"),
        ("[x", "line 1: expected [table], came [x"),
        ('a = "b', 'line 1: expected a closing ", came "b'),
        ("a = b", 'line 1: expected a number, a "word", true, false or a list, came b'),
        ("a = [1 2]", "line 1: expected , or ], came 2]"),
        ("a = 1 2", "line 1: expected nothing after the value, came 2"),
        ("a = [1,", 'line 1: expected a number, a "word", true, false or a list, came the end of the line'),
    ],
)
def test_settings_that_are_wrong_say_where(text: str, message: str) -> None:
    with pytest.raises(files.SettingsError) as refused:
        files.read(text)
    assert message in str(refused.value)
    assert str(refused.value).endswith("correct the line and switch on again")


def test_every_key_of_the_settings_stands_in_the_manual() -> None:
    page = (ROOT / "firmware/README.md").read_text(encoding="utf-8")
    code = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "firmware").rglob("*.py"))
    pattern = r'\b(?:settings|bus|cell|axle|table)(?:\.get\(|\[)"(\w+)"'
    keys = set(re.findall(pattern, code)) - {"sensor", "name"}
    assert len(keys) > 25
    assert [key for key in sorted(keys) if f"`{key}`" not in page and f"`[{key}]`" not in page] == []
