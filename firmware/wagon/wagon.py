"""The wagon: a sample whenever one is due, and between samples one small piece of everything else."""

import binascii

from wagon import packets
from wagon.announce import Announcer, announcement
from wagon.answers import Answers
from wagon.axle import Axle, Speed
from wagon.framing import Listener, framed, seal, want_of
from wagon.links import PORT, Cable, Door, Stream, Udp
from wagon.page import Page
from wagon.ring import Ring
from wagon.sampler import Sampler
from wagon.sensors import Sensor, columns_of, place_of
from wagon.shown import words

AWAY_S = 2
"""A desk that has not spoken for so long is away (docs/wire.md)."""

HELLO_S = 2

SPARE_US = 1200
"""A piece of other work is begun only if the next sample is due later than this."""

BATCH = 8
"""Frames that go to flash at once."""

MAX_LINKS = 4

MAX_MARKS = 32

REMIND_S = 20
"""A mark is said again with each hello for so long, and once more to a desk that was away: it comes once at least."""

LOOK_US = 40_000
"""Links and visitors are looked after 25 times a second."""


def device_of(identity):
    """The four bytes that name a wagon in every frame: CRC-32 of its id (bytes)."""
    room = bytearray(identity) + bytearray(4)
    seal(room, len(identity))
    return bytes(room[-4:])


def next_boot(path):
    """How often it was switched on, this time included; kept in a file."""
    try:
        with open(path) as file:
            boot = int(file.read()) + 1
    except (OSError, ValueError):
        boot = 1
    with open(path, "w") as file:
        file.write(str(boot))
    return boot


class Wagon:
    """board : bus, clock, pins, network (board.py); store : `store.Store` for what the desk has not had, or None."""

    def __init__(self, board, settings, store=None, radio=None, display=None):
        self.board, self.settings = board, settings
        self.store, self.radio, self.display = store, radio, display
        self.identity = board.identity()
        self.device = device_of(self.identity)
        self.boot = next_boot(board.path + "/boot.txt" if board.path else "boot.txt")
        self.sensors = [Sensor(board.i2c, table) for table in settings["sensor"]]
        rows = settings.get("rows", 4)
        width = sum(len(s.columns) for s in self.sensors)
        self.ring = Ring(settings.get("slots", 400), Sampler.slot_bytes(rows, width))
        axle = settings["axle"]
        round_um = int(float(axle["diameter_mm"]) * 3141.5927 + 0.5)
        self.axle = Axle(round_um, axle.get("sign", 1), axle.get("ellipse"))
        self.speed = Speed(settings["ratio"])
        across = (place_of(self.sensors, axle["a"]), place_of(self.sensors, axle["b"]))
        period_us = 1_000_000 // settings["rate_hz"]
        for sensor in self.sensors:
            sensor.start()
        self.sampler = Sampler(
            board.ticks, self.sensors, self.ring, self.device, self.boot, period_us, rows, self.axle, across
        )
        self.time = self.sampler.time
        lines = packets.hello_lines(binascii.hexlify(self.identity).decode(), settings, columns_of(self.sensors))
        self._lines = lines
        self.links, self._sent, self._listeners, self._greeted = [], [], [], []
        self._network, self._address = {}, None
        self._heard_s = -AWAY_S - 1
        self.answers = Answers(self.sampler, store, self.device, self.boot)
        self._marks, self._marked = 0, []
        self._remind = False
        self._listened = self._served = -1
        self._pressed = False
        self._told_s, self._looked = -1, (0, 0)
        self._next = 0
        self._chores = (
            self._live,
            self._listen,
            self._live,
            self._keep,
            self._live,
            self.answers.step,
            self._live,
            self._else,
        )
        self.sampler.guarded = bool(settings.get("keep_always", False))
        if board.serial is not None:
            self.adopt(Cable(board.serial))

    def step(self):
        """A sample if it is due, or a piece of other work if there is time; False if there was nothing to do."""
        if self.sampler.poll():
            return True
        if self.sampler.spare_us() < SPARE_US:
            return False
        self._next = (self._next + 1) % len(self._chores)
        return self._chores[self._next]()

    # links

    def adopt(self, link):
        """Speak to one more desk; the oldest network link goes if there are too many."""
        if len(self.links) >= MAX_LINKS:
            self._drop(next(k for k, old in enumerate(self.links) if not isinstance(old, Cable)))
        self.links.append(link)
        self._sent.append(self.ring.head)
        self._listeners.append(Listener())
        self._greeted.append(-HELLO_S)

    def _drop(self, k):
        for column in (self.links, self._sent, self._listeners, self._greeted):
            column.pop(k)

    def open_network(self, address):
        """Speak over a network that has just come up, at this address of ours."""
        socket = self.board.socket
        port, page_port = self.settings.get("port", PORT), self.settings.get("page_port", 80)
        if not self._network:
            udp = Udp(socket, self.settings.get("desk", "255.255.255.255"), port)
            self.adopt(udp)
            page = Page(Door(socket, page_port), self)
            self._network = {"udp": udp, "door": Door(socket, port), "page": page}
        if self.settings.get("announce", True):
            name = self.settings.get("name", "wagon")
            message = announcement(name, binascii.hexlify(self.identity).decode(), address, port)
            self._network["announcer"] = Announcer(socket, message)

    # pieces of work

    def _live(self):
        """One frame to each link that has not had it."""
        worked = False
        k = 0
        while k < len(self.links):
            if self.time.sec - self._greeted[k] >= HELLO_S:
                self._greeted[k] = self.time.sec
                self._greet(self.links[k])
                return True
            if self._sent[k] < self.ring.tail:
                self._sent[k] = self.ring.tail
            if self._sent[k] < self.ring.head:
                if self.links[k].send(self.ring.views[self._sent[k] % self.ring.slots]):
                    self._sent[k] += 1
                    worked = True
                elif self.ring.head - self._sent[k] > self.ring.slots // 8:
                    self._sent[k] += 1  # it takes nothing: what it misses it may ask for
            k += 1
        return worked

    def _greet(self, link):
        link.send(self.hello())
        for when, frame in self._marked:
            if self._remind or self.time.sec - when < REMIND_S:
                link.send(frame)
        self._remind = False

    def _listen(self):
        """What the desks say; links that are gone go."""
        if self._listened == self.time.usec // LOOK_US:
            return False
        self._listened = self.time.usec // LOOK_US
        for k in range(len(self.links) - 1, -1, -1):
            link = self.links[k]
            data = link.poll()
            for packet in self._listeners[k].feed(data) if data else ():
                want = want_of(packet)
                if want and want[0] == self.device:
                    link.heard()
                    self._take_want(want, link)
            if not link.up:
                self._drop(k)
        return False

    def _take_want(self, want, link):
        if self.away():
            self._remind = True
            self._greeted = [-HELLO_S] * len(self.links)
        self._heard_s = self.time.sec
        self.sampler.guarded = True
        self.answers.take(want, link)

    def away(self):
        """Whether no desk has spoken for a while."""
        return self.time.sec - self._heard_s > AWAY_S

    def _keep(self):
        """Frames that the desk has not had go to flash before they are overwritten."""
        sampler, ring = self.sampler, self.ring
        if self.store is None or not sampler.guarded:
            return False
        n = max(sampler.stored, ring.tail, ring.find(sampler.safe))
        if ring.head - n <= ring.slots // 2:
            return False
        for k in range(n, n + BATCH):
            if self.store.put(self.boot, ring.first(k), ring.views[k % ring.slots]):
                sampler.stored = k + 1
        self.store.flush()
        return True

    def _else(self):
        """What is not urgent: once a second the state and the radio; the button; page, display, announcement."""
        sec = self.time.sec
        self._button()
        if sec != self._told_s:
            self._told_s = sec
            self._say(self.state())
            self._look_after_radio(sec)
            return True
        if self._network and self._served != self.time.usec // LOOK_US:
            self._served = self.time.usec // LOOK_US
            visitor = self._network["door"].accept()
            if visitor is not None:
                self.adopt(Stream(visitor))
            if "announcer" in self._network:
                self._network["announcer"].step(sec)
        if self._network:
            self._network["page"].step(self._served)
        return self._show()

    def _look_after_radio(self, sec):
        if self.radio is None:
            return
        self.radio.step(sec)
        address = self.radio.address()
        if address and self._address != address:
            self.open_network(address)
            self._address = address

    def _show(self):
        """Speed four times a second; then a piece of the display."""
        sec, usec = self._looked
        passed_us = (self.time.sec - sec) * 1_000_000 + self.time.usec - usec
        if passed_us >= 250_000:
            if self.axle.known:
                self.speed.take(self.axle.distance_um(), passed_us)
            self._looked = (self.time.sec, self.time.usec)
            if self.display is not None:
                self.display.lines(words(self))
            return True
        return self.display.step() if self.display is not None and self.display.works else False

    def _button(self):
        pressed = self.board.button()
        if pressed and not self._pressed:
            self.mark("button")
        self._pressed = pressed

    def _say(self, packet):
        frame = framed(packet)
        for link in self.links:
            link.send(frame)

    # what it says

    def hello(self):
        """The frame of its hello."""
        return framed(packets.hello(self.device, self.boot, self.time.sec, self.time.usec, self._lines))

    def state(self):
        """The packet of its state."""
        dbm = self.radio.dbm() if self.radio is not None else 0
        counts = (self.sampler.missed, self.sampler.lost, self.ring.kept())
        battery = (self.board.battery_mv(), 255)
        return packets.state(self.device, self.boot, self.time.sec, self.time.usec, battery, dbm, counts)

    def mark(self, name):
        """A named moment, now."""
        self._marks += 1
        self.time.now()
        packet = packets.mark(self.device, self.boot, self._marks, self.time.sec, self.time.usec, name)
        self._marked = self._marked[1 - MAX_MARKS :] + [(self.time.sec, framed(packet))]
        self._say(packet)

    def zero(self):
        """The way shown begins here."""
        self.axle.zero()
