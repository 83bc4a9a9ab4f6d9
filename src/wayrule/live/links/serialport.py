"""A cable: a serial port, found again by what is plugged into it when it comes back under another name."""

import contextlib
import threading

import serial
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from wayrule.errors import UsageError
from wayrule.live.links.link import WAIT_S, LinkDownError, Sink


def usb_ports() -> list[ListPortInfo]:
    """Ports behind which there is a USB device, by name."""
    return sorted((port for port in list_ports.comports() if port.vid is not None), key=lambda port: port.device)


def only_port() -> str:
    """The one USB serial port there is.

    Raises
    ------
    UsageError   when there is none, or more than one
    """
    ports = usb_ports()
    if len(ports) == 1:
        return str(ports[0].device)
    names = ", ".join(f"{port.device} ({port.description})" for port in ports)
    raise UsageError(
        expected="one USB serial port",
        came=names or "none",
        where="serial:",
        next_step=f"name it: serial:{ports[0].device}"
        if ports
        else "plug the wagon in; a charging cable has no data wires",
    )


class SerialLink:
    """One serial port."""

    def __init__(self, spelling: str, port: str, baud: int) -> None:
        self.spelling, self._baud = spelling, baud
        self._port = port or only_port()
        self._known = _what_is_in(self._port)

    def run(self, sink: Sink, stop: threading.Event) -> None:
        """From opening to unplugging."""
        self._port = _where_is(self._known) or self._port
        self._known = self._known or _what_is_in(self._port)
        try:
            made = serial.Serial(self._port, self._baud, timeout=WAIT_S, write_timeout=WAIT_S, exclusive=True)
        except (serial.SerialException, OSError, ValueError) as error:
            raise LinkDownError(_reason(error)) from None
        with contextlib.closing(made):
            sink.up(self._port, lambda said: _send(made, said))
            while not stop.is_set():
                try:
                    data = made.read(1)  # waits for the first byte only; the rest is there or comes next time
                    if data:
                        data += made.read(made.in_waiting)
                except (serial.SerialException, OSError, TypeError) as error:
                    raise LinkDownError(_reason(error)) from None  # TypeError: the port was closed under the call
                if data:
                    sink.came(self._port, bytes(data))
            sink.down(self._port, "stopped")


def _what_is_in(port: str) -> tuple[int, int, str] | None:
    """Maker's number, product's number and serial number of the USB device behind a port."""
    for found in usb_ports():
        if found.device == port:
            return found.vid, found.pid, found.serial_number or ""
    return None


def _where_is(known: tuple[int, int, str] | None) -> str | None:
    """The port behind which that device is now."""
    for found in usb_ports() if known else ():
        if (found.vid, found.pid, found.serial_number or "") == known:
            return str(found.device)
    return None


def _reason(error: Exception) -> str:
    words = (getattr(error, "strerror", None) or str(error) or type(error).__name__).splitlines()[0]
    return f"{words}; may this user open it?" if "ermission" in words else words


def _send(made: serial.Serial, data: bytes) -> None:
    with contextlib.suppress(serial.SerialException, OSError, TypeError):
        made.write(data)
