"""Stand-ins for what a microcontroller has: a bus with two sensors, pins, a clock, a cable; it rolls as it is told."""

import math
import os
import socket
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

WRAP = 1 << 30
"""MicroPython's ticks run over here."""


class Ticks:
    """A clock in microseconds that runs over: the computer's own, or one that is set."""

    def __init__(self, start_us: int = 0, *, real: bool = False) -> None:
        self.real = real
        self._offset = start_us - (time.perf_counter_ns() // 1000 if real else 0)

    def true_us(self) -> int:
        """Without running over."""
        return (time.perf_counter_ns() // 1000 if self.real else 0) + self._offset

    def pass_us(self, us: int) -> None:
        """Let time pass."""
        self._offset += us

    def ticks_us(self) -> int:
        return self.true_us() % WRAP

    def ticks_diff(self, a: int, b: int) -> int:
        return (a - b + WRAP // 2) % WRAP - WRAP // 2

    def ticks_add(self, a: int, us: int) -> int:
        return (a + us) % WRAP


class Bus:
    """Two sensors as in firmware/settings.toml on one bus; `phi` is the axle's angle, the rest is read as set."""

    FIELD, INERTIAL = 0x20, 0x68

    def __init__(self) -> None:
        self.phi = 0.0
        self.acc_g = [0.0, 0.0, 1.0]
        self.rate_dps = [0.0, 0.0, 0.0]
        self.amplitude = (12000, 9000)
        self.middle = (500, 40, -300)
        self.asleep: set[int] = set()
        self.noise = 1
        self._reads = 0
        self.written: list[tuple[int, int, bytes]] = []
        self.identities = {(self.FIELD, 0x0F): 0x49, (self.INERTIAL, 0x75): 0x12}

    def scan(self) -> list[int]:
        return [a for a in (self.FIELD, self.INERTIAL) if a not in self.asleep]

    def writeto_mem(self, address: int, register: int, data: bytes) -> None:
        self._awake(address)
        self.written.append((address, register, bytes(data)))

    def writeto(self, address: int, data: bytes) -> None:
        self._awake(address)
        self.written.append((address, -1, bytes(data)))

    def readfrom_mem(self, address: int, register: int, count: int) -> bytes:
        self._awake(address)
        return bytes([self.identities[address, register]] * count)

    def readfrom_mem_into(self, address: int, register: int, into: bytearray) -> None:  # noqa: ARG002
        self._awake(address)
        order = "little" if address == self.FIELD else "big"
        counts = self.field() if address == self.FIELD else self.inertial()
        into[:] = b"".join((c & 0xFFFF).to_bytes(2, order) for c in counts)

    def field(self) -> list[int]:
        """Counts of bx, by, bz."""
        x = self.amplitude[0] * math.cos(self.phi) + self.middle[0]
        z = self.amplitude[1] * math.sin(self.phi) + self.middle[2]
        self._reads += 1
        return [max(-32768, min(32767, round(v))) for v in (x, self.middle[1] + self.noise * (self._reads % 3), z)]

    def inertial(self) -> list[int]:
        """Counts of acceleration, temperature, rate."""
        return [*(round(a * 16384) for a in self.acc_g), -1000, *(round(r * 128) for r in self.rate_dps)]

    def _awake(self, address: int) -> None:
        if address in self.asleep:
            raise OSError(19)


class Board:
    """What `firmware/wagon/board.py` gathers, of a computer."""

    def __init__(self, path: Path, ticks: Ticks, bus: Bus | None = None, serial: Any = None) -> None:
        self.path = str(path)
        self.ticks = ticks
        self.i2c = bus or Bus()
        self.serial = serial
        self.socket: Any = socket
        self.pressed = False
        self.cell_mv = 3900

    def identity(self) -> bytes:
        return bytes.fromhex("a1b2c3d4e5f6")

    def button(self) -> bool:
        return self.pressed

    def battery_mv(self) -> int:
        return self.cell_mv


class Cable:
    """A cable in memory: what the wagon wrote, and what it will read."""

    def __init__(self) -> None:
        self.out = bytearray()
        self.incoming = b""
        self.plugged = True

    def write(self, view: Any) -> int | None:
        if not self.plugged:
            return None
        self.out += view
        return len(view)

    def read(self, count: int) -> bytes | None:
        data, self.incoming = self.incoming[:count], self.incoming[count:]
        return data or None


class Pty:
    """A cable over a pseudo-terminal: the wagon's end of it."""

    def __init__(self, handle: int) -> None:
        self._handle = handle
        os.set_blocking(handle, False)

    def write(self, view: Any) -> int | None:
        try:
            return os.write(self._handle, view)
        except BlockingIOError:
            return None

    def read(self, count: int) -> bytes | None:
        try:
            return os.read(self._handle, count) or None
        except (BlockingIOError, OSError):
            return None


class Picture:
    """MicroPython's frame buffer, as far as the display needs it: remembers the words."""

    def __init__(self, dots: bytearray, *_shape: int) -> None:
        self.dots, self.words = dots, []

    def fill(self, colour: int) -> None:
        self.dots[:] = bytes([255 * colour]) * len(self.dots)
        self.words: list[str] = []

    def text(self, word: str, x: int, y: int, _colour: int) -> None:
        self.words.append(word)
        for k, char in enumerate(word.encode()):
            self.dots[(x // 8 + k) * 8 + (y // 8) * 128] = char


framebuf = SimpleNamespace(FrameBuffer=Picture, MONO_VLSB=0)
