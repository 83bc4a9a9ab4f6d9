"""A desk that answers on a port of this machine, for tests, and a plain client that may say anything."""

import http.client
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode

from wayrule.web.serving import Serving


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()


@dataclass
class Client:
    """Speaks HTTP as told: method, path and headers go out as they are."""

    port: int
    cookie: str = ""
    sent: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
        """One request. Headers are those of a page of the desk unless others are named; "" leaves one out."""
        host = f"127.0.0.1:{self.port}"
        said = {"Host": host, "Origin": f"http://{host}" if method == "POST" else "", "Cookie": self.cookie}
        if body is not None:
            said["Content-Type"] = "application/x-www-form-urlencoded"
        said |= {name.replace("_", "-"): value for name, value in headers.items()}
        wire = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            wire.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            lengths = {} if body is None or "Content-Length" in said else {"Content-Length": str(len(body))}
            for name, value in (said | lengths).items():
                if value:
                    wire.putheader(name, value)
            wire.endheaders(body)
            got = wire.getresponse()
            return Answer(got.status, {k.lower(): v for k, v in got.getheaders()}, got.read())
        finally:
            wire.close()

    def enter(self, key: str) -> Answer:
        """Bring a key; keeps the session."""
        answer = self.ask("POST", "/enter", urlencode({"key": key}).encode())
        self.cookie = answer.headers.get("set-cookie", "").split(";")[0]
        return answer


@contextmanager
def desk(folder: Path, *, share: bool = False) -> Iterator[Serving]:
    """A desk that answers until the block ends."""
    with Serving(str(folder), share=share) as serving:
        thread = threading.Thread(target=serving.run)
        thread.start()
        try:
            yield serving
        finally:
            serving.end()
            thread.join(20)
            assert not thread.is_alive()


def paired(serving: Serving) -> Client:
    """A device that may act."""
    client = Client(serving.port)
    assert client.enter(serving.office.keys.own).status == 204
    return client


def watcher(serving: Serving) -> Client:
    """A device that may look."""
    client = Client(serving.port)
    assert client.enter(serving.office.keys.watching).status == 204
    return client
