"""The desk on a port: what it binds to, the names it answers to, and the addresses it hands out."""

import asyncio
import io
import os
import socket
from pathlib import Path
from types import TracebackType
from typing import Final

import segno
import uvicorn

from wayrule.desk.projects import layouts
from wayrule.errors import UsageError
from wayrule.web.app import make_app
from wayrule.web.jobs import Jobs
from wayrule.web.keys import Keys
from wayrule.web.page import Office

HERE: Final = "127.0.0.1"

NOWHERE: Final = "192.0.2.1"
"""An address kept for documentation (RFC 5737): asking for the way there sends nothing, and tells our own address."""


class Serving:
    """A desk that has its port; `run` answers until it is ended. Without `share` only this machine reaches it.

    Raises
    ------
    WayruleError   no such folder
    UsageError     the port is taken
    """

    def __init__(self, folder: str, *, port: int = 0, share: bool = False) -> None:
        layouts(folder)  # refuses what is no folder before anything is opened
        own = network_address() if share else ""
        self._socket = _bound("0.0.0.0" if share else HERE, port)
        self.port: int = self._socket.getsockname()[1]
        self.hosts = tuple(f"{name}:{self.port}" for name in (HERE, "localhost", *([own] if own else [])))
        self._seen = f"http://{own}:{self.port}" if own else ""
        root = Path(folder).resolve()
        self.office = Office(root, Jobs(hidden=f"{root}{os.sep}"), Keys(), self._seen)
        self.address = f"http://{HERE}:{self.port}/#key={self.office.keys.own}"
        self.pairing = f"{self._seen}/#key={self.office.keys.one_time()}" if own else ""
        self.watching = f"{self._seen}/#key={self.office.keys.watching}" if own else ""
        self.server = uvicorn.Server(
            uvicorn.Config(
                make_app(self.office, self.hosts, cookie=f"wayrule-{self.port}"),
                ws="websockets-sansio",
                ws_max_size=4096,
                access_log=False,
                log_level="warning",
                server_header=False,
                proxy_headers=False,
                limit_concurrency=100,
                timeout_graceful_shutdown=2,
                h11_max_incomplete_event_size=16 * 1024,
            )
        )

    def __enter__(self) -> "Serving":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._socket.close()

    def run(self, seconds: float | None = None) -> None:
        """Answer until Ctrl-C, or for so long."""
        asyncio.run(self._until(seconds))

    async def _until(self, seconds: float | None) -> None:
        if seconds is not None:
            asyncio.get_running_loop().call_later(seconds, self.end)
        await self.server.serve(sockets=[self._socket])

    def end(self) -> None:
        """Stop answering."""
        self.server.should_exit = True

    @staticmethod
    def code(address: str) -> str:
        """An address as a QR code (ISO/IEC 18004) of text, for a terminal."""
        drawn = io.StringIO()
        segno.make(address, error="m", micro=False).terminal(drawn, compact=True)
        return drawn.getvalue()


def network_address() -> str:
    """This machine's address on its network.

    Raises
    ------
    UsageError   without a network
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect((NOWHERE, 9))
            return str(asking.getsockname()[0])
        except OSError:
            raise UsageError(
                expected="a network to share the desk on",
                came="none",
                where="--share",
                next_step="join the network of the other device, or leave --share off",
            ) from None


def _bound(host: str, port: int) -> socket.socket:
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows would let a second program listen on the same port
            made.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((host, port))
        made.listen(100)  # who calls from now on waits for an answer instead of being turned away
    except OSError as error:
        made.close()
        raise UsageError(
            expected=f"port {port} to be free",
            came=error.strerror or "it is not",
            where="--port",
            next_step="end the other desk, or give --port 0 for any free one",
        ) from None
    return made
