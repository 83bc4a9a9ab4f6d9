"""The wagon's settings file: the part of TOML that a wagon needs, read in a hundred lines.

`key = value` with strings, whole numbers (also 0x2A), decimals, true, false and lists; [tables], [[tables in
a row]] and remarks after #. What is not understood is told with its line.
"""


class SettingsError(Exception):
    """Expected, came, where, next step, in one line."""


def read(text, name="settings.toml"):
    """The settings as a dict of values and dicts, lists of dicts for [[tables]].

    >>> read('rate_hz = 200  # per second\\n[bus]\\nsda = 0x08\\n[[sensor]]\\nplaces = [[0, 1], [2, 3]]')
    {'rate_hz': 200, 'bus': {'sda': 8}, 'sensor': [{'places': [[0, 1], [2, 3]]}]}
    """
    whole = {}
    table = whole
    lines = text.split("\n")
    at = 0
    while at < len(lines):
        line, began = _bare(lines[at]), at + 1
        at += 1
        if not line:
            continue
        if line.startswith("["):
            table = _table(whole, line, name, began)
            continue
        key, equals, value = line.partition("=")
        while _open(value) and at < len(lines):
            value += _bare(lines[at])
            at += 1
        key = key.strip()
        if not equals or not key or not value.strip():
            raise _wrong(name, began, "key = value", line)
        if key in table:
            raise _wrong(name, began, key + " once", "it a second time")
        table[key] = _Value(value.strip(), name, began).read()
    return whole


def _wrong(name, line, expected, came):
    where = name + " line " + str(line)
    return SettingsError(where + ": expected " + expected + ", came " + came + "; correct the line and switch on again")


def _bare(line):
    """The line without a remark (a # outside of quotes) and blanks."""
    quoted = False
    for at, char in enumerate(line):
        if char == '"':
            quoted = not quoted
        elif char == "#" and not quoted:
            return line[:at].strip()
    return line.strip()


def _open(value):
    """Whether a list that began is not yet closed."""
    bare = "".join(value.split('"')[::2])
    return bare.count("[") > bare.count("]")


def _table(whole, line, name, number):
    row = line.startswith("[[") and line.endswith("]]")
    key = line[2:-2].strip() if row else line[1:-1].strip()
    if not line.endswith("]") or not key or "[" in key or "]" in key:
        raise _wrong(name, number, "[table]", line)
    if row:
        whole.setdefault(key, []).append({})
        return whole[key][-1]
    if key in whole:
        raise _wrong(name, number, "[" + key + "] once", "it a second time")
    whole[key] = {}
    return whole[key]


class _Value:
    """Reads one value from text."""

    def __init__(self, text, name, line):
        self.text, self.at, self.name, self.line = text, 0, name, line

    def read(self):
        value = self._value()
        if self.at < len(self.text):
            raise self._no("nothing after the value")
        return value

    def _no(self, expected):
        return _wrong(self.name, self.line, expected, self.text[self.at :] or "the end of the line")

    def _skip(self):
        while self.at < len(self.text) and self.text[self.at] in " \t":
            self.at += 1

    def _value(self):
        self._skip()
        if self.text[self.at : self.at + 1] == "[":
            return self._list()
        if self.text[self.at : self.at + 1] == '"':
            end = self.text.find('"', self.at + 1)
            if end < 0:
                raise self._no('a closing "')
            word = self.text[self.at + 1 : end]
            self.at = end + 1
            self._skip()
            return word
        began = self.at
        while self.at < len(self.text) and self.text[self.at] not in ",] \t":
            self.at += 1
        word = self.text[began : self.at]
        self._skip()
        return self._number(word, began)

    def _number(self, word, began):
        if word in ("true", "false"):
            return word == "true"
        digits = word.replace("_", "")
        try:
            return int(digits, 16) if digits.startswith("0x") else int(digits)
        except ValueError:
            pass
        try:
            if word and word[0] in "+-.0123456789":
                return float(digits)
        except ValueError:
            pass
        self.at = began
        raise self._no('a number, a "word", true, false or a list')

    def _list(self):
        values = []
        self.at += 1
        while True:
            self._skip()
            if self.text[self.at : self.at + 1] == "]":
                self.at += 1
                self._skip()
                return values
            values.append(self._value())
            if self.text[self.at : self.at + 1] == ",":
                self.at += 1
            elif self.text[self.at : self.at + 1] != "]":
                raise self._no(", or ]")
