"""Joins the network that stands in `wifi.toml` on the wagon, or opens its own. Name and key are never printed."""

JOIN_S = 15
"""So long it tries the network of the house before it opens its own."""


class Radio:
    """network : the module of that name; wifi : {"name", "key", "own_name", "own_key"} or {}."""

    def __init__(self, network, wifi, own_name):
        self._network = network
        self._wifi = wifi
        self._own_name = wifi.get("own_name", own_name)
        self._station = None
        self._own = None
        self._since = 0
        self.words = "radio off"
        """What it does, for display and cable; never a name of a foreign network, never a key."""

    def start(self, sec):
        """Begin to join; with no name in the file, open its own network at once."""
        self._since = sec
        if not self._wifi.get("name"):
            self._open()
            return
        self._station = self._network.WLAN(self._network.STA_IF)
        self._station.active(True)
        self._station.connect(self._wifi["name"], self._wifi.get("key", ""))
        self.words = "joining"

    def step(self, sec):
        """Look after it about once a second; True when an address was just won or lost."""
        before = self.words
        if self._own is None and self._station is not None:
            if self._station.isconnected():
                self._since = sec
                self.words = "joined"
            elif sec - self._since > JOIN_S:
                self._station.active(False)
                self._open()
            else:
                self.words = "joining"
        return self.words != before

    def _open(self):
        key = self._wifi.get("own_key", "")
        if len(key) < 8:  # WPA2 asks for 8 characters (IEEE 802.11, passphrase of 8 to 63)
            self.words = "no own network: own_key in wifi.toml needs 8 characters"
            return
        self._own = self._network.WLAN(self._network.AP_IF)
        self._own.config(ssid=self._own_name, key=key, security=3)
        self._own.active(True)
        self.words = "own network " + self._own_name

    def address(self):
        """Its address, or None while it has none."""
        wlan = self._own if self._own is not None else self._station
        if wlan is None or (self._own is None and not wlan.isconnected()):
            return None
        return wlan.ifconfig()[0]

    def dbm(self):
        """Strength of the network it joined [dBm]; 0 where it cannot tell."""
        try:
            return self._station.status("rssi") if self._station is not None and self._own is None else 0
        except (OSError, ValueError, TypeError):
            return 0
