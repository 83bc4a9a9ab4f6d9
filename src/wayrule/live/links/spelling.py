"""How a link is written: `udp:`, `serial:/dev/ttyACM0`, `tcp:192.168.4.1`, `file:monday.waylog@speed=10` and so on."""

import importlib
import math
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from wayrule.errors import UsageError
from wayrule.live.links.link import Link

PORT: Final = 47_870
"""Of UDP and TCP, on both sides (docs/wire.md)."""

BAUD: Final = 921_600
"""Where a real UART is behind the cable; USB knows no rate (docs/wire.md)."""

SHAPES: Final = {
    "serial": "serial:PORT or serial: alone, with @baud=921600 where need be",
    "udp": "udp:PORT or udp: alone",
    "tcp": "tcp:HOST or tcp:HOST:PORT",
    "ws": "ws:HOST or ws://HOST:PORT/wire",
    "find": "find:",
    "file": "file:PATH, with @speed=10 or @speed=max",
    "sim": "sim: with @wagons=2, @laps=3, @seed=7, @speed=1 as wanted",
}


def link_of(text: str) -> Link:
    """The link that a text spells.

    >>> link_of("sim:@wagons=2").spelling
    'sim:@wagons=2'

    Raises
    ------
    UsageError     naming what is wrong, and how it is written
    WayruleError   for a file that cannot be read
    """
    kind, colon, rest = text.partition(":")
    makers: dict[str, Callable[[str, str], Link]] = {
        "serial": _serial, "udp": _udp, "tcp": _tcp, "ws": _ws, "find": _find, "file": _file, "sim": _sim,
    }  # fmt: skip
    if not colon or kind.lower() not in makers:
        raise UsageError(
            expected=f"a link: {', '.join(f'{name}:' for name in SHAPES)}",
            came=repr(text),
            where="LINK",
            next_step="write for example udp: or serial: or sim:",
        )
    return makers[kind.lower()](text, rest)


def _wrong(text: str, came: str, kind: str) -> UsageError:
    return UsageError(expected=SHAPES[kind], came=came, where=text, next_step="write it so")


def _options(text: str, rest: str, kind: str, known: Mapping[str, Callable[[str], Any]]) -> tuple[str, dict[str, Any]]:
    """What stands before the first `@key=`, and the values of the keys."""
    body, *tails = re.split(r"@(?=\w+=)", rest)
    found: dict[str, Any] = {}
    for tail in tails:
        key, _, value = tail.partition("=")
        if key not in known:
            raise _wrong(text, f"@{key}", kind)
        try:
            found[key] = known[key](value)
        except ValueError:
            raise _wrong(text, f"@{tail}", kind) from None
    return body, found


def _count(value: str, most: int = 10**9) -> int:
    number = int(value)
    if not 1 <= number <= most:
        raise ValueError(value)
    return number


def _factor(value: str) -> float:
    """A speed: above 0, or `max`."""
    number = math.inf if value.strip().lower() == "max" else float(value)
    if not number > 0:
        raise ValueError(value)
    return number


def _port(text: str, word: str, kind: str) -> int:
    if not (word.isascii() and word.isdigit() and int(word) < 65_536):
        raise _wrong(text, f"port {word!r}", kind)
    return int(word)


def host_and_port(text: str, rest: str, kind: str, default: int) -> tuple[str, int]:
    """HOST, HOST:PORT, [IPv6] or [IPv6]:PORT.

    >>> host_and_port("tcp:[fe80::1]:5", "[fe80::1]:5", "tcp", 47870)
    ('fe80::1', 5)
    """
    found = re.fullmatch(r"\[([0-9a-fA-F:.%\w]+)\](?::(\d+))?|([^:\[\]/@\s]+)(?::([^:]*))?", rest)
    if not found:
        raise _wrong(text, repr(rest), kind)
    host, port = found[1] or found[3], found[2] or found[4]
    return host, default if port is None else _port(text, port, kind)


def _serial(text: str, rest: str) -> Link:
    port, found = _options(text, rest, "serial", {"baud": _count})
    made: Link = _made("serialport", "SerialLink")(text, port, found.get("baud", BAUD))
    return made


def _udp(text: str, rest: str) -> Link:
    host, port = "0.0.0.0", PORT
    if rest:
        bare = rest.isascii() and rest.isdigit()
        host, port = (host, _port(text, rest, "udp")) if bare else host_and_port(text, rest, "udp", PORT)
    made: Link = _made("udp", "UdpLink")(text, host, port)
    return made


def _tcp(text: str, rest: str) -> Link:
    made: Link = _made("tcp", "TcpLink")(text, *host_and_port(text, rest, "tcp", PORT))
    return made


def _ws(text: str, rest: str) -> Link:
    place, slash, path = rest.removeprefix("//").partition("/")
    host, port = host_and_port(text, place, "ws", 80)
    shown = f"[{host}]" if ":" in host else host
    url = f"ws://{shown}{'' if port == 80 else f':{port}'}/{path if slash and path else 'wire'}"
    made: Link = _made("websocket", "WebSocketLink")(text, url)
    return made


def _find(text: str, rest: str) -> Link:
    if rest:
        raise _wrong(text, repr(rest), "find")
    made: Link = _made("finding", "FindLink")(text, "0.0.0.0", PORT)
    return made


def _file(text: str, rest: str) -> Link:
    path, found = _options(text, rest, "file", {"speed": _factor})
    if not path:
        raise _wrong(text, "no path", "file")
    made: Link = _made("replay", "FileLink")(text, Path(path), found.get("speed", 1.0))
    return made


def _sim(text: str, rest: str) -> Link:
    whole: dict[str, Callable[[str], Any]] = {
        "seed": int, "wagons": lambda v: _count(v, 100), "laps": lambda v: _count(v, 100), "speed": _factor,
    }  # fmt: skip
    body, found = _options(text, rest, "sim", whole)
    if body:
        raise _wrong(text, repr(body), "sim")
    made: Link = _made("makebelieve", "SimLink")(text, **found)
    return made


def _made(module: str, name: str) -> Any:
    """A link's class; what it needs is imported only when such a link is used."""
    return getattr(importlib.import_module(f"wayrule.live.links.{module}"), name)
