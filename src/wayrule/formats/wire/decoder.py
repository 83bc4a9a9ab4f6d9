"""Bytes to frames: one decoder for the live stream and for a saved log. It trusts nothing and never holds much."""

import zlib
from collections.abc import Iterable
from typing import Final

from cobs import cobs

from wayrule.formats.wire.frames import MAX_LINE, MAX_PACKET, SAMPLES, Damage, Frame, Line
from wayrule.formats.wire.packets import parse
from wayrule.formats.wire.rows import samples_of

MAX_STUFFED: Final = MAX_PACKET + MAX_PACKET // 254 + 1
"""Longest frame between its zeros [bytes] (COBS adds at most one byte for each 254 begun: Cheshire and Baker 1999)."""

KINDS: Final = frozenset({*range(1, 9), *range(14, 32)})
"""What the second byte of a frame, its kind, may be; text never has such a byte there."""

SLICE: Final = 1 << 18
"""So many bytes are taken at a time, to bound memory."""

CHECK: Final = 4
"""Bytes of the checksum."""

RESIDUE: Final = 0x2144DF1C
"""CRC-32 of any packet with its own CRC-32 behind it: the code's residue (debb20e3 in the catalogues), bits turned."""

DELIMITER: Final = b"\0"


class Decoder:
    """Takes bytes as they come, in pieces of any size, and gives the frames that are complete.

    It finds its place again at the next zero after any damage. What it holds between two calls is less than 2 kB,
    whatever came. A batch of samples is made of all frames of one wagon and one boot up to the next frame of another
    kind; cutting the same bytes differently gives the same samples in other batches.

    Examples
    --------
    >>> from wayrule.formats.wire import Want, encode
    >>> decoder = Decoder()
    >>> data = encode(Want(device=7, boot=1, first=100, count=0))
    >>> decoder.feed(b"ready\\n" + data[:10])
    [Line(text='ready')]
    >>> decoder.feed(data[10:])
    [Want(device=7, boot=1, first=100, count=0, safe=None)]
    """

    def __init__(self) -> None:
        self._rest = b""
        self._text = False
        """The open piece has turned out to be text: no frame begins before the next zero."""
        self._lost = 0
        """Bytes already dropped from the open piece because it grew too long."""

    @property
    def held(self) -> int:
        """Bytes that wait for their end."""
        return len(self._rest)

    def feed(self, data: bytes) -> list[Frame]:
        """The frames that these bytes complete, in the order in which they came."""
        frames: list[Frame] = []
        for start in range(0, len(data), SLICE):
            self._take(data[start : start + SLICE], frames)
        return frames

    def end(self) -> list[Frame]:
        """What is left when no more bytes will come: a line without its end is given, a torn frame is damage."""
        rest, self._rest = self._rest, b""
        text, self._text = self._text or not _may_be_frame(rest), False
        lost, self._lost = self._lost, 0
        if not rest and not lost:
            return []
        line = _line(rest) if text and not lost else None
        return [line or Damage(len(rest) + lost, "torn at the end")]

    def _take(self, data: bytes, frames: list[Frame]) -> None:
        *pieces, self._rest = (self._rest + data).split(DELIMITER)
        if pieces and (self._text or self._lost):
            self._close(pieces[0], frames)
            pieces[0] = b""
            self._text, self._lost = False, 0
        self._between_zeros(filter(None, pieces), frames)
        self._look_into_rest(frames)

    def _between_zeros(self, pieces: Iterable[bytes], frames: list[Frame]) -> None:
        """Whole pieces: packets of samples are gathered and read many at once, all else one by one."""
        decode, check = cobs.decode, zlib.crc32
        packets: list[bytes] = []
        for piece in pieces:
            whole = b""
            if 1 < len(piece) <= MAX_STUFFED and piece[1] in KINDS:
                try:
                    whole = decode(piece)
                except cobs.DecodeError:
                    whole = b""
                if check(whole) != RESIDUE:
                    whole = b""
                elif whole[0] == SAMPLES:
                    packets.append(whole)
                    continue
            if packets:
                frames += samples_of(packets)
                packets = []
            if len(whole) > CHECK:
                frames.append(parse(whole[:-CHECK]))
            elif _may_be_frame(piece):
                frames.append(Damage(len(piece), _why(piece)))
            else:
                self._close(piece, frames)
        if packets:
            frames += samples_of(packets)

    def _look_into_rest(self, frames: list[Frame]) -> None:
        """Lines of text are given as they end, not at the next zero; what grows too long is dropped."""
        if len(self._rest) < 2 and not self._text:
            return
        if not self._text and not self._lost and not _may_be_frame(self._rest):
            self._text = True
        if self._text:
            *lines, self._rest = self._rest.split(b"\n")
            self._lines(lines, frames)
        limit = MAX_LINE if self._text else MAX_STUFFED
        if len(self._rest) > limit or self._lost:
            self._lost += len(self._rest)
            self._rest = b""

    def _lines(self, lines: Iterable[bytes], frames: list[Frame]) -> None:
        for line in lines:
            lost, self._lost = self._lost, 0
            found = None if lost or len(line) > MAX_LINE else _line(line)
            if found:
                frames.append(found)
            elif lost or line.strip():
                frames.append(Damage(len(line) + lost + 1, "neither a frame nor a line of text"))

    def _close(self, piece: bytes, frames: list[Frame]) -> None:
        """A piece that ended with a zero and is no frame: whole lines are text, what follows them is damage."""
        *lines, tail = piece.split(b"\n") if not self._lost or self._text else [piece]
        self._lines(lines, frames)
        if tail or self._lost:
            frames.append(Damage(len(tail) + self._lost, "neither a frame nor a line of text"))


def _may_be_frame(piece: bytes) -> bool:
    return len(piece) >= 2 and piece[1] in KINDS


def _why(piece: bytes) -> str:
    """Why a piece that might be a frame is none."""
    return "longer than any frame" if len(piece) > MAX_STUFFED else "stuffing or checksum does not hold"


def _line(data: bytes) -> Line | None:
    """A line if it is printable UTF-8 and not blank."""
    try:
        text = data.removesuffix(b"\r").decode("utf-8")
    except UnicodeDecodeError:
        return None
    return Line(text) if text.strip() and all(c.isprintable() or c == "\t" for c in text) else None
