"""Runs under MicroPython: the firmware's pure parts on a board that is pretended, and what memory each sample takes.

Prints one line of JSON; tests/firmware/test_micropython.py holds it against libraries and test vectors.
"""

import gc
import json
import os
import sys

sys.path.insert(0, "/")
from wagon import axle, framing, packets
from wagon import settings as files
from wagon.ring import Ring
from wagon.sampler import Sampler
from wagon.sensors import Sensor, columns_of, place_of
from wagon.shown import words
from wagon.store import Store
from wagon.wagon import Wagon

out = {"version": sys.version}


def text_of(name):
    with open(name) as file:
        return file.read()


class Ticks:
    """A clock that is set; its counter runs over as that of a small board does."""

    WRAP = 1 << 29

    def __init__(self, now):
        self.now = now

    def ticks_us(self):
        return self.now

    def ticks_diff(self, a, b):
        d = a - b
        if d > self.WRAP // 2:
            return d - self.WRAP
        if d < -self.WRAP // 2:
            return d + self.WRAP
        return d

    def ticks_add(self, a, us):
        d = a + us
        return d - self.WRAP if d >= self.WRAP else d


class Bus:
    """Takes no memory itself: a field that turns by the tables of the axle, the rest constant."""

    def __init__(self):
        self.k = 0

    def writeto_mem(self, address, register, data):
        pass

    def readfrom_mem_into(self, address, register, into):
        self.k = (self.k + 37) & 4095
        at = 0
        while at < len(into):
            into[at] = (self.k * (at + 3)) & 255
            at += 1
        half = self.k if self.k < 2048 else 4096 - self.k
        into[1] = (half >> 4) & 63
        quarter = (self.k + 1024) & 4095
        half = quarter if quarter < 2048 else 4096 - quarter
        into[5] = (half >> 4) & 63


class Cable:
    def __init__(self):
        self.count = 0
        self.kept = []

    def write(self, view):
        self.count += 1
        if self.count < 8:
            self.kept.append(bytes(view))
        return len(view)

    def read(self, count):
        return None


class Board:
    path = "/"
    socket = None

    def __init__(self, ticks, cable):
        self.ticks, self.serial = ticks, cable
        self.i2c = Bus()

    def identity(self):
        return b"\xa1\xb2\xc3\xd4\xe5\xf6"

    def button(self):
        return False

    def battery_mv(self):
        return 3900


def allocated(work, times):
    """Bytes that `work` takes, called so often, with nothing collected in between."""
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    k = 0
    while k < times:
        work()
        k += 1
    taken = gc.mem_alloc() - before
    gc.enable()
    return taken


settings = files.read(text_of("/settings.toml"))
out["settings"] = settings

vectors = json.loads(text_of("/frames.json"))
out["frames"] = [framing.framed(bytes.fromhex(packet)).hex() for packet in vectors]
out["unstuffed"] = [framing.unstuffed(framing.framed(bytes.fromhex(p))[1:-1]).hex() for p in vectors]

out["angles"] = [axle.angle(y, x) for x, y in json.loads(text_of("/angles.json"))]

store = Store("/kept", file_bytes=300, files=3)
for n in range(20):
    head = bytes([2, 1, 0, 4]) + bytes(8) + bytes([4 * n, 0, 0, 0]) + bytes(8)
    store.put(7, 4 * n, framing.framed(head + bytes(16)))
store.close()
out["stored"] = [f[:2] for f in Store("/kept", file_bytes=300, files=3).read(7, 50)]
out["files"] = len(os.listdir("/kept"))

ticks = Ticks(Ticks.WRAP - 1_000_000)
board = Board(ticks, Cable())
sensors = [Sensor(board.i2c, table) for table in settings["sensor"]]
ring = Ring(100, Sampler.slot_bytes(4, 10))
wheel = axle.Axle(32987)
across = (place_of(sensors, "bx_mT"), place_of(sensors, "bz_mT"))
sampler = Sampler(ticks, sensors, ring, b"\x18\xb4\x2a\x90", 3, 5000, 4, wheel, across)


def sample():
    ticks.now = ticks.ticks_add(ticks.now, 5000)
    sampler.poll()


def wasteful():
    sample()
    return sampler.seq * 0.5


for _ in range(40):
    sample()
out["columns"] = columns_of(sensors)
out["bytes_per_1000_samples"] = allocated(sample, 1000)
out["ring"] = [bytes(ring.views[n % ring.slots]).hex() for n in range(ring.tail, ring.head)]
out["sampled"] = (sampler.seq, sampler.missed, ring.kept(), wheel.known)
out["bytes_per_1000_wasteful"] = allocated(wasteful, 1000)

out["free"] = gc.mem_free()
wagon = Wagon(board, settings)
steps = [0]


def step():
    ticks.now = ticks.ticks_add(ticks.now, 500)
    wagon.step()


for _ in range(20_000):
    step()
out["bytes_per_second_of_all"] = allocated(step, 20_000) // 10
out["sent"] = board.serial.count
out["kept"] = [frame.hex() for frame in board.serial.kept]
out["words"] = words(wagon)
out["hello"] = packets.hello_lines("a1b2", settings, columns_of(sensors))
print(json.dumps(out))
