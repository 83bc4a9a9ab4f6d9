"""First power-up: who is on the bus, does each axis move as it should; if not, which wire, axis or range is wrong."""

from wagon.axle import MIN_SWING

G_LOW, G_HIGH = 0.9, 1.1
"""Length of the specific force at rest [g]: gravity, with a tenth for an accelerometer as delivered."""

TILT_G = 0.1
"""An axis that was lifted by hand changes by more than this: 6 degrees."""

TURN_DEG = 30
"""A turn by hand about the upright is at least this."""


def bus_words(found, sensors):
    """What the addresses that answer say. found : list of addresses; sensors : (name, address) of the settings."""
    if not found:
        return ["nobody answers on the bus: SDA and SCL may be exchanged, or 3.3 V, ground or a pull-up is missing"]
    expected = [address for _, address in sensors]
    others = [address for address in found if address not in expected]
    words = []
    for name, address in sensors:
        if address in found:
            words.append(name + " answers at " + hex(address))
        else:
            hint = "; " + ", ".join(hex(a) for a in others) + " answers: is its address wire set so?" if others else ""
            words.append(name + ": expected at " + hex(address) + ", nobody there: look at its wires" + hint)
    return words + [hex(a) + " answers too, and the settings say nothing about it" for a in others]


def identity_words(name, came, expected):
    """What a sensor's identity register says; "" if it is right."""
    if came == expected:
        return ""
    return name + ": expected identity " + hex(expected) + ", came " + hex(came) + ": is the register map its own?"


class Swings:
    """Lowest and highest count of each column, while something is moved by hand."""

    def __init__(self, names, limits):
        self.names, self.limits = names, limits
        self.low = [1 << 30] * len(names)
        self.high = [-(1 << 30)] * len(names)
        self.now = [0] * len(names)

    def take(self, counts):
        """One sample of all columns."""
        for k, count in enumerate(counts):
            self.now[k] = count
            self.low[k] = min(self.low[k], count)
            self.high[k] = max(self.high[k], count)

    def swing(self, k):
        """Half of what column k moved by."""
        return (self.high[k] - self.low[k]) // 2

    def bars(self):
        """A line for each column: where it is within what it can read."""
        lines = []
        for k, name in enumerate(self.names):
            at = (self.now[k] + self.limits[k]) * 20 // (2 * self.limits[k])
            at = min(20, max(0, at))
            lines.append(name + " " + "." * at + "#" + "." * (20 - at) + " " + str(self.now[k]))
        return lines

    def axle_words(self, a, b):
        """Verdicts after the axle was turned by hand; a, b : the two columns that the settings take for the axle."""
        words = []
        for k, name in enumerate(self.names):
            if self.high[k] >= self.limits[k] or self.low[k] <= -self.limits[k] - 1:
                words.append(name + " is at the end of its range: take a greater range, or move the sensor away")
            elif self.low[k] == self.high[k]:
                words.append(
                    name + " always reads " + str(self.low[k]) + ": a wire, its register or its wake-up is wrong"
                )
        order = sorted(range(len(self.names)), key=self.swing, reverse=True)
        if self.swing(order[1]) < MIN_SWING:
            words.append(
                "the axle does not show: " + self.names[order[0]] + " moves by " + str(self.swing(order[0]))
                + " counts, " + self.names[order[1]] + " by " + str(self.swing(order[1]))
                + "; magnets missing or turned alike, or the sensor too far"
            )  # fmt: skip
            return words
        seen = sorted(self.names[k] for k in order[:2])
        if seen != sorted((a, b)):
            words.append("the axle turns in " + seen[0] + " and " + seen[1] + ", the settings say " + a + " and " + b)
        small, large = self.swing(order[1]), self.swing(order[0])
        if 3 * small < large:
            words.append(
                "one component is "
                + str(large // max(small, 1))
                + " times the other: the sensor sits aside of the magnets"
            )
        return words or ["the axle shows in " + a + " and " + b + ": good"]


def rest_words(acc_g):
    """Verdicts on an accelerometer at rest. acc_g : (ax, ay, az) [g] of a wagon that stands level."""
    length = (acc_g[0] ** 2 + acc_g[1] ** 2 + acc_g[2] ** 2) ** 0.5
    if not G_LOW < length < G_HIGH:
        near = "" if length < 0.05 else ": its scale is about " + str(round(1 / length, 2)) + " times as great"
        return [
            "at rest it should feel 1 g and feels " + str(round(length, 2)) + " g" + near + "; look at range and scale"
        ]
    sizes = [abs(a) for a in acc_g]
    up = sizes.index(max(sizes))
    if up != 2:
        return [
            "upwards is " + "xyz"[up] + ", not z: exchange the names of the columns, for acceleration and rate alike"
        ]
    return (
        ["z is upside down: put a minus before its scale, and before one more axis"]
        if acc_g[2] < 0
        else ["1 g upwards: good"]
    )


def lift_words(what, axis, before_g, after_g):
    """Verdict after the nose or the left side was lifted by hand. axis : 0 for the nose, 1 for the left side."""
    change = [after_g[k] - before_g[k] for k in (0, 1)]
    if max(abs(c) for c in change) < TILT_G:
        return what + ": nothing was felt; lift it by a finger's breadth and hold"
    if abs(change[1 - axis]) > abs(change[axis]):
        return what + ": " + "xy"[1 - axis] + " felt it, not " + "xy"[axis] + ": exchange the names of the two columns"
    if change[axis] < 0:
        return what + ": a" + "xy"[axis] + " fell and should rise: put a minus before its scale"
    return what + ": good"


def turn_words(turned_deg):
    """Verdict after the wagon was turned to the left by hand. turned_deg : what x, y, z of the gyro add up to."""
    sizes = [abs(t) for t in turned_deg]
    if max(sizes) < TURN_DEG:
        return "turned left: nothing was felt; turn it by a quarter"
    if sizes[2] < max(sizes):
        return (
            "turned left: " + "xyz"[sizes.index(max(sizes))] + " felt it, not z: exchange the names of the rate columns"
        )
    return (
        "turned left: good"
        if turned_deg[2] > 0
        else "turned left: gz fell and should rise: put a minus before its scale"
    )


class BringUp:
    """Leads through the check. wagon's sensors, `say` for a line of text, `pause(ms)` between looks."""

    LOOKS = 50
    """Looks in each step, a tenth of a second apart."""

    def __init__(self, i2c, sensors, settings, say, pause):
        self.i2c, self.sensors, self.settings = i2c, sensors, settings
        self.say, self.pause = say, pause
        self.names = [name for s in sensors for name in s.columns]
        self.scales = [float(x) for s in sensors for x in s.table["scale"]]

    def run(self):
        """All steps; True if nothing was wrong."""
        if not self._bus():
            self.say("# look at what is told above, then switch on again")
            return False
        good = self._axle()
        if all(name in self.names for name in ("ax_g", "ay_g", "az_g")):
            good = self._tilt() and good
        if all(name in self.names for name in ("gx_dps", "gy_dps", "gz_dps")):
            good = self._turn() and good
        self.say("# all is well" if good else "# look at what is told above, then switch on again")
        return good

    def _tell(self, words):
        for word in words:
            self.say("# " + word)
        return all(word.endswith("good") for word in words)

    def _bus(self):
        sensors = [(s.name, s.address) for s in self.sensors]
        found = self.i2c.scan()
        self._tell(bus_words(found, sensors))
        if any(address not in found for _, address in sensors):
            return False
        for sensor in self.sensors:
            sensor.start()
            seen = sensor.identity()
            wrong = identity_words(sensor.name, seen[0], seen[1]) if seen else ""
            if wrong:
                self._tell([wrong])
                return False
        return True

    def _counts(self):
        for sensor in self.sensors:
            sensor.take()
        return [s.count(k) for s in self.sensors for k in range(len(s.columns))]

    def _mean(self, names):
        """Mean readings of three columns over a second, in their units."""
        total = [0.0, 0.0, 0.0]
        for _ in range(10):
            counts = self._counts()
            for k in range(3):
                at = self.names.index(names[k])
                total[k] += counts[at] * self.scales[at] / 10
            self.pause(100)
        return total

    def _axle(self):
        table = self.settings["axle"]
        field = [k for k, name in enumerate(self.names) if name[0] == "b"]
        limits = [s.limit(k) for s in self.sensors for k in range(len(s.columns))]
        swings = Swings([self.names[k] for k in field], [limits[k] for k in field])
        self.say("# turn the sensed axle by hand, five turns or more")
        for look in range(self.LOOKS):
            counts = self._counts()
            swings.take([counts[k] for k in field])
            if look % 10 == 0:
                for line in swings.bars():
                    self.say("# " + line)
            self.pause(100)
        return self._tell(swings.axle_words(table["a"], table["b"]))

    def _tilt(self):
        names = ("ax_g", "ay_g", "az_g")
        self.say("# stand the wagon level and let go")
        self.pause(3000)
        level = self._mean(names)
        good = self._tell(rest_words(level))
        for axis, what in enumerate(("nose lifted", "left side lifted")):
            self.say("# now: " + what + ", and hold")
            self.pause(3000)
            good = self._tell([lift_words(what, axis, level, self._mean(names))]) and good
        return good

    def _turn(self):
        names = ("gx_dps", "gy_dps", "gz_dps")
        self.say("# stand it still")
        self.pause(3000)
        still = self._mean(names)
        self.say("# now turn it to the left by a quarter, on the table")
        turned = [0.0, 0.0, 0.0]
        for _ in range(30):
            rates = self._mean_of_one(names)
            for k in range(3):
                turned[k] += (rates[k] - still[k]) * 0.1
            self.pause(100)
        return self._tell([turn_words(turned)])

    def _mean_of_one(self, names):
        counts = self._counts()
        return [counts[self.names.index(n)] * self.scales[self.names.index(n)] for n in names]
