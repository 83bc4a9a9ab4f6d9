"""The microcontroller's own things, gathered in one place; on a computer the tests put stand-ins here."""

import sys
import time


class UsbSerial:
    """The cable, never waiting."""

    def __init__(self):
        import select

        import micropython

        micropython.kbd_intr(-1)  # a byte 3 from the desk is no Ctrl-C
        self._in, self._out = select.poll(), select.poll()
        self._in.register(sys.stdin, select.POLLIN)
        self._out.register(sys.stdout, select.POLLOUT)

    def write(self, view):
        """How many bytes went; None if the cable takes nothing just now."""
        return sys.stdout.buffer.write(view) if self._out.poll(0) else None

    def read(self, count):
        """Up to `count` bytes, or None."""
        data = b""
        while len(data) < count and self._in.poll(0):
            data += sys.stdin.buffer.read(1)
        return data or None


class Board:
    """i2c, ticks (ticks_us, ticks_diff, ticks_add), serial, socket, path, and the few pins that the settings name."""

    def __init__(self, settings, path=""):
        import machine

        bus = settings["bus"]
        pins = {"sda": machine.Pin(bus["sda"]), "scl": machine.Pin(bus["scl"])}
        self.i2c = machine.I2C(bus.get("id", 0), freq=bus.get("freq_hz", 400_000), **pins)
        self.ticks = time
        self.path = path
        self.serial = None
        self._id = machine.unique_id()[:16]
        button = settings.get("button_pin")
        self._button = machine.Pin(button, machine.Pin.IN, machine.Pin.PULL_UP) if button is not None else None
        cell = settings.get("battery")
        self._cell = machine.ADC(machine.Pin(cell["pin"])) if cell else None
        self._cell_uv = cell["uv_per_count"] if cell else 0

    @property
    def socket(self):
        """The module of that name."""
        import socket

        return socket

    def identity(self):
        """The microcontroller's own number, 1 to 16 bytes."""
        return self._id

    def button(self):
        """Whether it is pressed."""
        return self._button is not None and not self._button.value()

    def battery_mv(self):
        """Voltage of the cell [mV]; 0 where nothing measures it."""
        return self._cell.read_u16() * self._cell_uv // 1000 if self._cell is not None else 0

    def pause(self, ms):
        """Wait; only before sampling begins."""
        time.sleep_ms(ms)
