"""Powers a wagon up in a process of its own: boot.py SECONDS. `firmware/main.py` runs as it is, in the folder it is
started in; the modules that a microcontroller has are stand-ins, the cable is standard input and output."""

import math
import runpy
import sys
import time
from pathlib import Path
from types import ModuleType, SimpleNamespace

from tests.firmware.standin import Bus, Ticks, framebuf

FIRMWARE = Path(__file__).parents[2] / "firmware"


class Moving(Bus):
    """Stands for three seconds, is turned by hand as the check asks, then rolls."""

    def __init__(self, seconds: float) -> None:
        super().__init__()
        self._began = time.monotonic()
        self._seconds = seconds

    def readfrom_mem_into(self, address: int, register: int, into: bytearray) -> None:
        passed = time.monotonic() - self._began
        if passed > self._seconds:
            sys.exit(0)
        self.phi = 2 * math.pi * 3 * passed
        super().readfrom_mem_into(address, register, into)


class Pin:
    """Not pressed."""

    IN = PULL_UP = 0

    def __init__(self, *_: int) -> None:
        pass

    def value(self) -> int:
        return 1


class Cell:
    """A converter behind a divider."""

    def __init__(self, pin: Pin) -> None:
        del pin

    def read_u16(self) -> int:
        return 39_000


def module(name: str, **members: object) -> None:
    """Put a module of the microcontroller where `import` finds it."""
    made = ModuleType(name)
    vars(made).update(members)
    sys.modules[name] = made


def power_up(seconds: float) -> None:
    """Run main.py until so much time has passed."""
    bus, ticks = Moving(seconds), Ticks(real=True)
    module("machine", Pin=Pin, ADC=Cell, I2C=lambda *_, **__: bus, unique_id=lambda: bytes.fromhex("a1b2c3d4e5f6"))
    module("micropython", kbd_intr=lambda _: None)
    module("framebuf", **vars(framebuf))
    for name in ("ticks_us", "ticks_diff", "ticks_add"):
        setattr(time, name, getattr(ticks, name))
    time.sleep_ms = lambda ms: time.sleep(ms / 1e4)  # type: ignore[attr-defined]  # a tenth: nobody is waiting
    time.sleep_us = lambda us: time.sleep(us / 1e6)  # type: ignore[attr-defined]
    sys.stdin = SimpleNamespace(buffer=open(0, "rb", buffering=0), fileno=lambda: 0)  # noqa: SIM115
    sys.path.insert(0, str(FIRMWARE))
    runpy.run_path(str(FIRMWARE / "main.py"), run_name="__main__")


if __name__ == "__main__":
    power_up(float(sys.argv[1]))
