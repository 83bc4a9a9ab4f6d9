"""The wire between wagon and desk: bytes to frames and back (docs/wire.md), frames to recordings. Opens nothing."""

from wayrule.formats.wire.decoder import Decoder
from wayrule.formats.wire.encoder import encode
from wayrule.formats.wire.frames import (
    Column,
    Damage,
    Frame,
    Gone,
    Hello,
    Line,
    Marked,
    Samples,
    State,
    Unknown,
    Want,
)

__all__ = [
    "Column",
    "Damage",
    "Decoder",
    "Frame",
    "Gone",
    "Hello",
    "Line",
    "Marked",
    "Samples",
    "State",
    "Unknown",
    "Want",
    "encode",
]
