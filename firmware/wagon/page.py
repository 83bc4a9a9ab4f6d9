"""The wagon's own one page, for a telephone: distance, speed, scale speed, cell; and a button for marks."""

import json

from wagon.links import Stream
from wagon.shown import now
from wagon.websocket import CAN, WebSocket, accept_key

HEAD = "HTTP/1.1 {}\r\nContent-Type: {}\r\nContent-Length: {}\r\nCache-Control: no-store\r\nConnection: close\r\n\r\n"

UPGRADE = b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Accept: "

PAGE = """<!doctype html><html lang=en><meta charset=utf-8><meta name=viewport content="width=device-width">
<title>Wagon</title><style>:root{color-scheme:light dark}body{font:1.4em sans-serif;margin:1em;max-width:22em}
h1{font-size:1.2em}dt{font-size:.6em;opacity:.7}dd{margin:0 0 .6em;font-size:1.5em}
button,input{font:inherit;max-width:10em;margin:.2em 0}</style>
<h1 id=name></h1><dl><dt>scale speed<dd id=scale>-<dt>speed<dd id=speed>-
<dt>distance<dd id=way>-<dt>cell<dd id=cell>-</dl>
<p id=note></p><p><input id=what value="mark" maxlength=40> <button onclick="post('/mark',what.value)">Mark</button>
<button onclick="post('/zero','')">Distance to 0</button><script>
const put=(k,v)=>document.getElementById(k).textContent=v,post=(u,b)=>fetch(u,{method:'POST',body:b})
async function now(){try{const n=await(await fetch('/now')).json();put('name',n.name)
put('scale',n.km_h.toFixed(0)+' km/h, '+n.mph.toFixed(0)+' mph')
put('speed',n.mm_s.toFixed(0)+' mm/s, '+(n.mm_s/25.4).toFixed(1)+' in/s')
put('way',(n.distance_mm/1000).toFixed(3)+' m, '+(n.distance_mm/25.4).toFixed(1)+' in')
put('cell',n.cell_mv?(n.cell_mv/1000).toFixed(2)+' V':'-')
put('note',n.known?'':'Roll three turns of the wheel, then distance and speed are known.')}
catch(e){put('note','The wagon does not answer.')}setTimeout(now,500)}now()</script></html>
"""

LIMIT = 1024
"""Longest request [bytes]."""

PATIENCE = 400
"""Calls of `step` that a visitor may take to say what is wanted."""


class Page:
    """Serves one visitor at a time. door : `links.Door`; wagon : the `wagon.Wagon`."""

    def __init__(self, door, wagon):
        self._door = door
        self._wagon = wagon
        self._visitor = None
        self._request = b""
        self._answer = b""
        self._calls = 0
        self._look = None

    def step(self, look):
        """A small piece of work; it looks for a visitor whenever `look` has changed."""
        if self._visitor is None:
            if look == self._look:
                return
            self._look = look
            self._visitor = self._door.accept()
            if self._visitor is not None:
                self._visitor.setblocking(False)
                self._request, self._answer, self._calls = b"", b"", 0
            return
        self._calls += 1
        try:
            if self._answer:
                self._send()
            else:
                self._listen()
        except OSError as error:
            if error.args[0] not in (11, 35, 10035):
                self._leave()
        if self._calls > PATIENCE:
            self._leave()

    def _send(self):
        gone = self._visitor.send(self._answer[:512]) or 0
        self._answer = self._answer[gone:]
        if not self._answer:
            self._leave()

    def _listen(self):
        data = self._visitor.recv(256)
        self._request += data
        if not data or len(self._request) > LIMIT:
            self._leave()
            return
        head, end, body = self._request.partition(b"\r\n\r\n")
        length = _field(head, b"content-length")
        if end and len(body) >= (int(length) if length.isdigit() else 0):
            self._serve(head, body)

    def _serve(self, head, body):
        verb, _, rest = head.partition(b" ")
        path = rest.partition(b" ")[0]
        if path == b"/wire" and CAN and _field(head, b"sec-websocket-key"):
            answer = UPGRADE + accept_key(_field(head, b"sec-websocket-key")) + b"\r\n\r\n"
            visitor, self._visitor = self._visitor, None
            visitor.send(answer)
            self._wagon.adopt(WebSocket(Stream(visitor)))
        elif verb == b"GET" and path == b"/":
            self._say("200 OK", "text/html; charset=utf-8", PAGE.encode())
        elif verb == b"GET" and path == b"/now":
            self._say("200 OK", "application/json", json.dumps(now(self._wagon)).encode())
        elif verb == b"POST" and path == b"/mark":
            self._wagon.mark(_name(body))
            self._say("200 OK", "text/plain", b"marked")
        elif verb == b"POST" and path == b"/zero":
            self._wagon.zero()
            self._say("200 OK", "text/plain", b"zero")
        else:
            self._say("404 Not Found", "text/plain", b"There is one page here: /")

    def _say(self, status, kind, body):
        self._answer = HEAD.format(status, kind, len(body)).encode() + body

    def _leave(self):
        if self._visitor is not None:
            self._visitor.close()
        self._visitor = None


def _field(head, name):
    """Value of a header field; empty if it is not there."""
    for line in head.split(b"\r\n")[1:]:
        key, _, value = line.partition(b":")
        if key.strip().lower() == name:
            return value.strip()
    return b""


def _name(body):
    """The name of a mark from what was sent: printable, 64 bytes at most, never empty."""
    try:
        text = body[:64].decode()
    except (UnicodeError, ValueError):
        text = ""
    return "".join(c for c in text if ord(c) >= 32).strip() or "mark"
