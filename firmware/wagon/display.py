"""A small monochrome display on the I2C bus, written in pieces so short that no sample is missed.

The settings tell its address, size and wake-up commands. It must take its picture page by page: eight rows of dots to a
page, a byte for each column. The letters are MicroPython's own, 8 by 8 dots.
"""

COMMAND, DATA = 0x00, 0x40
"""Byte in front of commands, and of dots."""

PIECE = 32
"""Columns that are sent at once: 33 bytes, 0.8 ms at 400 kHz."""


class Display:
    """i2c : bus; framebuf : the module of that name; table : [display] of the settings."""

    def __init__(self, i2c, framebuf, table):
        self._i2c = i2c
        self._address = table["address"]
        self.width, self.height = table["width"], table["height"]
        self._page, self._low, self._high = table["select"]
        self._dots = bytearray(self.width * self.height // 8)
        self._shown = bytearray(b"\xff" * len(self._dots))
        self._picture = framebuf.FrameBuffer(self._dots, self.width, self.height, framebuf.MONO_VLSB)
        self._at = 0
        self._out = bytearray(PIECE + 1)
        self._out[0] = DATA
        self.works = True
        try:
            for command in table["start"]:
                i2c.writeto(self._address, bytes([COMMAND, command]))
        except OSError:
            self.works = False

    def lines(self, words):
        """Show these lines of text, 8 dots high, from the top."""
        self._picture.fill(0)
        for k, word in enumerate(words[: self.height // 8]):
            self._picture.text(word[: self.width // 8], 0, 8 * k, 1)

    def step(self):
        """Send one piece that has changed; False if there was none."""
        pieces = len(self._dots) // PIECE
        for _ in range(pieces):
            at = self._at * PIECE
            self._at = (self._at + 1) % pieces
            if self._dots[at : at + PIECE] != self._shown[at : at + PIECE]:
                self._send(at)
                return True
        return False

    def _send(self, at):
        page, column = at // self.width, at % self.width
        try:
            for command in (self._page | page, self._low | column & 15, self._high | column >> 4):
                self._i2c.writeto(self._address, bytes([COMMAND, command]))
            self._out[1:] = self._dots[at : at + PIECE]
            self._i2c.writeto(self._address, self._out)
            self._shown[at : at + PIECE] = self._dots[at : at + PIECE]
        except OSError:
            self.works = False
