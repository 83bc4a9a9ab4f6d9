"""Packets: what lies in a frame once its framing and its checksum are off. Little-endian throughout."""

import struct
from typing import Final

from wayrule.formats.wire.frames import (
    GONE,
    HELLO,
    MAJOR,
    MARK,
    STATE,
    WANT,
    Damage,
    Frame,
    Gone,
    Hello,
    Marked,
    State,
    Unknown,
    Want,
)
from wayrule.formats.wire.hello import HelloError, hello_text, read_hello

HELLO_HEAD: Final = struct.Struct("<BBBBIIII")
"""kind, major, minor, 0, device, boot, seconds, microseconds; then the lines of text."""

MARK_HEAD: Final = struct.Struct("<B3xIIIII")
"""kind, 3 x 0, device, boot, number, seconds, microseconds; then the name."""

STATE_BODY: Final = struct.Struct("<BBbxIIIIHxxIII")
"""kind, battery per cent (255: unknown), radio dBm (0: unknown), 0, device, boot, seconds, microseconds, battery mV
(0: unknown), 2 x 0, missed, lost, kept."""

RANGE_BODY: Final = struct.Struct("<B3xIIII")
"""kind, 3 x 0, device, boot, first, count; of WANT and GONE."""

SAFE: Final = struct.Struct("<I")
"""safe; may follow in a WANT."""

MILLION: Final = 1_000_000

MAX_NAME: Final = 64
"""Longest name of a mark [bytes]."""


def packet(frame: Frame) -> bytes:
    """The packet of a frame other than samples (those: `encoder.sample_packets`).

    Raises
    ------
    ValueError   for a number that its place cannot hold, or a frame that has no packet
    """
    try:
        match frame:
            case Hello():
                head = HELLO_HEAD.pack(
                    HELLO, frame.major, frame.minor, 0, frame.device, frame.boot, *_clock(frame.t_us)
                )
                return head + hello_text(frame).encode()
            case Marked():
                head = MARK_HEAD.pack(MARK, frame.device, frame.boot, frame.number, *_clock(frame.t_us))
                return head + frame.name.encode()[:MAX_NAME]
            case State():
                pct = 255 if frame.battery_pct is None else frame.battery_pct
                numbers = (frame.battery_mv or 0, frame.missed, frame.lost, frame.kept)
                clock = _clock(frame.t_us)
                return STATE_BODY.pack(STATE, pct, frame.radio_dbm or 0, frame.device, frame.boot, *clock, *numbers)
            case Want():
                body = RANGE_BODY.pack(WANT, frame.device, frame.boot, frame.first, frame.count)
                return body if frame.safe is None else body + SAFE.pack(frame.safe)
            case Gone():
                return RANGE_BODY.pack(GONE, frame.device, frame.boot, frame.first, frame.count)
    except struct.error as error:
        raise ValueError(f"{type(frame).__name__}: {error}") from error
    raise ValueError(f"{type(frame).__name__} has no packet")


def _clock(t_us: int) -> tuple[int, int]:
    return divmod(t_us, MILLION)


def parse(data: bytes) -> Frame:
    """A frame other than samples from its packet, checksum already off; what does not hold is `Damage`.

    Longer packets than this version knows are read as far as it knows them.
    """
    kind, size = data[0], len(data)
    if kind == HELLO and size >= HELLO_HEAD.size:
        return _hello(data)
    if kind == MARK and size >= MARK_HEAD.size:
        _, device, boot, number, sec, usec = MARK_HEAD.unpack_from(data)
        name = data[MARK_HEAD.size :].decode("utf-8", errors="replace")
        return Marked(device, boot, number, sec * MILLION + usec, name)
    if kind == STATE and size >= STATE_BODY.size:
        return _state(data)
    if kind in (WANT, GONE) and size >= RANGE_BODY.size:
        _, device, boot, first, count = RANGE_BODY.unpack_from(data)
        if kind == GONE:
            return Gone(device, boot, first, count)
        safe = SAFE.unpack_from(data, RANGE_BODY.size)[0] if size >= RANGE_BODY.size + SAFE.size else None
        return Want(device, boot, first, count, safe)
    if kind in (HELLO, MARK, STATE, WANT, GONE):
        return Damage(size, f"a packet of kind {kind} with {size} bytes, too short for it")
    return Unknown(kind, size)


def _hello(data: bytes) -> Frame:
    _, major, minor, _, device, boot, sec, usec = HELLO_HEAD.unpack_from(data)
    if major != MAJOR:
        return Damage(len(data), f"a hello of wire version {major}.{minor}; this program speaks {MAJOR}")
    try:
        text = data[HELLO_HEAD.size :].decode("utf-8")
        return read_hello(text, device, boot, sec * MILLION + usec, (major, minor))
    except UnicodeDecodeError:
        return Damage(len(data), "a hello whose text is not UTF-8")
    except HelloError as error:
        return Damage(len(data), f"a hello that cannot be understood: {error}")


def _state(data: bytes) -> State:
    _, pct, dbm, device, boot, sec, usec, mv, missed, lost, kept = STATE_BODY.unpack_from(data)
    return State(
        device=device,
        boot=boot,
        t_us=sec * MILLION + usec,
        battery_mv=mv or None,
        battery_pct=None if pct == 255 else pct,
        radio_dbm=dbm or None,
        missed=missed,
        lost=lost,
        kept=kept,
    )
