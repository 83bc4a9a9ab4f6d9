"""The test vectors that other people's senders and readers are held against; a library that is not ours agrees."""

import json
import re
import zlib
from pathlib import Path

import numpy as np
import pytest
from cobs import cobs

from wayrule.formats import wire

ROOT = Path(__file__).parents[3]
VECTORS = json.loads((ROOT / "tests/vectors/wire.json").read_text(encoding="utf-8"))
WHOLE = [v for v in VECTORS if "packet" in v]


def as_frame(vector: dict) -> wire.Frame:
    """The frame that a vector's fields describe."""
    fields = dict(vector["fields"])
    for name in ("seq", "t_us", "counts"):
        if isinstance(fields.get(name), list):
            fields[name] = np.array(fields[name])
    if "columns" in fields:
        fields["columns"] = tuple(wire.Column(**c) for c in fields["columns"])
    return getattr(wire, vector["kind"])(**fields)


@pytest.mark.parametrize("vector", WHOLE, ids=lambda v: v["what"])
def test_a_frame_is_made_and_read(vector: dict) -> None:
    frame, data = as_frame(vector), bytes.fromhex(vector["frame"])
    assert wire.encode(frame, rows=30) == data
    (back,) = wire.Decoder().feed(data)
    assert frame.same(back) if isinstance(frame, wire.Samples) else back == frame


@pytest.mark.parametrize("vector", WHOLE, ids=lambda v: v["what"])
def test_its_packet_is_what_a_foreign_library_unstuffs(vector: dict) -> None:
    packet = bytes.fromhex(vector["packet"])
    assert cobs.decode(bytes.fromhex(vector["frame"]).strip(b"\0")) == packet
    assert zlib.crc32(packet[:-4]) == int.from_bytes(packet[-4:], "little")


@pytest.mark.parametrize("vector", [v for v in VECTORS if "packet" not in v], ids=lambda v: v["what"])
def test_what_is_no_frame_of_this_version_is_told(vector: dict) -> None:
    (found,) = wire.Decoder().feed(bytes.fromhex(vector["frame"]))
    assert type(found).__name__ == vector["kind"]
    for name, value in vector.get("fields", {}).items():
        assert getattr(found, name) == value


def test_the_bytes_on_the_page_are_those_of_the_vector() -> None:
    page = (ROOT / "docs/wire.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```text\n(.*?)```", page.partition("## A frame byte by byte")[2], re.DOTALL)
    frame, packet = ("".join(re.findall(r"(?<!\S)[0-9a-f]{2}(?!\S)", block)) for block in blocks)
    (vector,) = [v for v in VECTORS if v["what"].startswith("two samples")]
    assert frame == vector["frame"]
    assert packet == vector["packet"]
