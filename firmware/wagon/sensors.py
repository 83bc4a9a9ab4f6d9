"""Sensors on the I2C bus, by the register maps in the settings file: no sensor is known by name here."""

from array import array


class Sensor:
    """One chip: how it is woken, what is read at once, and where in that the counts lie.

    table["places"] has for each column [high byte, low byte, shift, bits]: the count is the high byte, then the `bits`
    bits of the low byte above its lowest `shift`, the whole with sign. [0, 1, 0, 8] is 16 bits, high byte first;
    [1, 0, 0, 8] low byte first; [0, 1, 4, 4] 12 bits pushed to the left.
    """

    def __init__(self, i2c, table):
        self.i2c = i2c
        self.name = table["name"]
        self.address = table["address"]
        self.register = table["read"]
        self.table = table
        self.columns = table["columns"]
        self._data = bytearray(table["bytes"])
        places = table["places"]
        if len(places) != len(self.columns) or len(table["scale"]) != len(self.columns):
            raise ValueError(self.name + ": expected a place and a scale for each column")
        self._high = array("B", [p[0] for p in places])
        self._low = array("B", [p[1] for p in places])
        self._shift = array("B", [p[2] for p in places])
        self._bits = array("B", [p[3] for p in places])

    def start(self):
        """Write what wakes it. OSError where it does not answer."""
        for register, value in self.table["start"]:
            self.i2c.writeto_mem(self.address, register, bytes([value]))

    def identity(self):
        """(what its identity register says, what it should say); None if the settings name none."""
        check = self.table.get("check")
        return (self.i2c.readfrom_mem(self.address, check[0], 1)[0], check[1]) if check else None

    def take(self):
        """Read all its columns at once into its own memory. OSError where it does not answer."""
        self.i2c.readfrom_mem_into(self.address, self.register, self._data)

    def count(self, k):
        """Column k of the last reading, with its sign."""
        bits = self._bits[k]
        low = (self._data[self._low[k]] >> self._shift[k]) & ((1 << bits) - 1)
        value = (self._data[self._high[k]] << bits) | low
        return value - (1 << (8 + bits)) if value >> (7 + bits) else value

    def limit(self, k):
        """The greatest count of column k."""
        return (1 << (7 + self._bits[k])) - 1


def columns_of(sensors):
    """The columns as a hello tells them: (name, bits, scale, offset)."""
    found = []
    for sensor in sensors:
        offsets = sensor.table.get("offset", ["0"] * len(sensor.columns))
        for name, scale, offset in zip(sensor.columns, sensor.table["scale"], offsets):
            found.append((name, 16, str(scale), str(offset)))
    return found


def place_of(sensors, name):
    """(sensor, column within it) of a column's name."""
    for sensor in sensors:
        if name in sensor.columns:
            return sensor, sensor.columns.index(name)
    raise ValueError("expected a column " + name + " of a sensor, for the axle")
