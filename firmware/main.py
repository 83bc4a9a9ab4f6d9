"""Started at power-up: three seconds for Ctrl-C, the check at the first power-up, then the wagon runs."""

import os
import time

from wagon import settings as files
from wagon.board import Board, UsbSerial
from wagon.bringup import BringUp
from wagon.display import Display
from wagon.links import Cable
from wagon.radio import Radio
from wagon.sensors import Sensor
from wagon.store import Store
from wagon.wagon import Wagon

IDLE_US = 200
"""With nothing to do it rests so long: the cell lasts longer, and the radio's own program gets its turn."""

CHECKED = "checked.txt"
"""Written when the first check found nothing wrong; delete it to check again."""


def text_of(name):
    """A file's text; empty if it is not there."""
    try:
        with open(name) as file:
            return file.read()
    except OSError:
        return ""


def checked(board, settings):
    """Whether the check was passed, now or before; the button held at power-up asks for it anew."""
    if CHECKED in os.listdir() and not board.button():
        return True
    sensors = [Sensor(board.i2c, table) for table in settings["sensor"]]
    good = BringUp(board.i2c, sensors, settings, print, board.pause).run()
    if good:
        with open(CHECKED, "w") as file:
            file.write("passed\n")
    return good


def display_of(board, settings):
    """The display that the settings name, or None."""
    if "display" not in settings:
        return None
    import framebuf

    return Display(board.i2c, framebuf, settings["display"])


def radio_of(identity):
    """The radio, started, if there is a wifi.toml; its content goes nowhere else."""
    wifi = text_of("wifi.toml")
    if not wifi:
        return None
    import network

    radio = Radio(network, files.read(wifi, "wifi.toml"), "wayrule-" + identity[-2:].hex())
    radio.start(0)
    return radio


def started():
    """The wagon, ready to run; None if the check found something wrong."""
    settings = files.read(text_of("settings.toml"))
    board = Board(settings)
    if not checked(board, settings):
        return None
    radio, display = radio_of(board.identity()), display_of(board, settings)
    store = Store("kept", files=settings.get("kept_kb", 512) // 16)
    try:
        wagon = Wagon(board, settings, store, radio, display)
    except OSError:  # a sensor that was well at the first power-up does not answer: say which
        os.remove(CHECKED)
        checked(board, settings)
        return None
    wagon.adopt(Cable(UsbSerial()))
    return wagon


def main():
    """Everything, for ever."""
    print("# wagon: starts in 3 s; Ctrl-C stops here")
    time.sleep_ms(3000)
    try:
        wagon = started()
    except files.SettingsError as error:
        print("# " + str(error))
        return
    except KeyError as error:
        print("# settings.toml: expected a key " + str(error.args[0]) + ", came none; see README.md for every key")
        return
    while wagon:
        if not wagon.step():
            time.sleep_us(IDLE_US)


main()
