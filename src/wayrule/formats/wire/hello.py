"""The text of a hello: one `key=value` on a line, so that a person can read it and a later version can add keys."""

import math
import re
import zlib
from typing import Final

from wayrule.formats.columns import meaning_of
from wayrule.formats.wire.frames import Column, Hello

BITS: Final = (16, 32)
"""Widths of a count on the wire."""

MAX_COLUMNS: Final = 32
"""More columns than any wagon has sensors for."""


class HelloError(Exception):
    """A hello whose checksum holds and whose text does not: the sender is wrong; the text says where."""


def hello_text(hello: Hello) -> str:
    """The lines of a hello.

    >>> print(hello_text(Hello(0, 1, 0, "a1b2", "Van 7", "own 1", 200.0, (Column("gz_dps", 16, 0.0625),))))
    id=a1b2
    name=Van 7
    firmware=own 1
    rate_hz=200.0
    column=gz_dps 16 0.0625 0.0
    """
    facts = [f"id={hello.id}", f"name={hello.name}", f"firmware={hello.firmware}", f"rate_hz={hello.rate_hz!r}"]
    return "\n".join([*facts, *(f"column={c.name} {c.bits} {c.scale!r} {c.offset!r}" for c in hello.columns)])


def read_hello(text: str, device: int, boot: int, t_us: int, version: tuple[int, int]) -> Hello:
    """A hello from its lines; keys that are not known are passed over.

    Raises
    ------
    HelloError   with what was expected and what came
    """
    facts: dict[str, str] = {}
    columns: list[Column] = []
    for line in text.splitlines():
        key, equals, value = line.partition("=")
        if not equals:
            raise HelloError(f"expected key=value, came {line!r}")
        if key == "column":
            columns.append(_column(value))
        elif key in facts:
            raise HelloError(f"expected {key} once, came it twice")
        else:
            facts[key] = value.strip()
    identity = _identity(facts.get("id", ""), device)
    _check_columns(columns)
    rate = _number(facts.get("rate_hz", ""), "rate_hz")
    if not 0 < rate <= 1e5:
        raise HelloError(f"expected rate_hz between 0 and 100000, came {rate:g}")
    major, minor = version
    return Hello(
        device=device,
        boot=boot,
        t_us=t_us,
        id=identity,
        name=facts.get("name", ""),
        firmware=facts.get("firmware", ""),
        rate_hz=rate,
        columns=tuple(columns),
        major=major,
        minor=minor,
    )


def device_of(identity: str) -> int:
    """The number that stands in every frame of the device with this id (hexadecimal): its CRC-32.

    >>> hex(device_of("313233343536373839"))  # the nine digits 1 to 9; check value of CRC-32 (ITU-T V.42, IEEE 802.3)
    '0xcbf43926'
    """
    return zlib.crc32(bytes.fromhex(identity))


def _identity(identity: str, device: int) -> str:
    if not re.fullmatch(r"([0-9a-f]{2}){1,16}", identity):
        raise HelloError(f"expected id as 1 to 16 bytes in hexadecimal, came {identity!r}")
    if device_of(identity) != device:
        raise HelloError(f"expected device {device_of(identity):08x} for id {identity}, came {device:08x}")
    return identity


def _column(words: str) -> Column:
    parts = words.split()
    if len(parts) not in (3, 4):
        raise HelloError(f"expected column=NAME BITS SCALE [OFFSET], came {words!r}")
    bits = int(parts[1]) if parts[1] in ("16", "32") else 0
    if not bits:
        raise HelloError(f"expected 16 or 32 bits for column {parts[0]}, came {parts[1]!r}")
    meaning = meaning_of(parts[0])
    if meaning is None or meaning.kind in ("time", "mark"):
        raise HelloError(f"expected a column such as bx_mT, gz_dps, ax_g, ticks_count or temp_C, came {parts[0]!r}")
    scale, *offset = (_number(part, f"column {parts[0]}") for part in parts[2:])
    if scale == 0:
        raise HelloError(f"expected a scale other than 0 for column {parts[0]}, came 0")
    return Column(parts[0], bits, scale, *offset)


def _number(text: str, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise HelloError(f"expected a number for {what}, came {text!r}")
    return value


def _check_columns(columns: list[Column]) -> None:
    if not 1 <= len(columns) <= MAX_COLUMNS:
        raise HelloError(f"expected 1 to {MAX_COLUMNS} columns, came {len(columns)}")
    if [c.bits for c in columns] != sorted(c.bits for c in columns):
        raise HelloError("expected the 16-bit columns before the 32-bit ones, came them mixed")
    names = [c.name.lower() for c in columns]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        raise HelloError(f"expected each column once, came {twice} twice")
