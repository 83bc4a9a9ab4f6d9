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
from wayrule.formats.wire.ledger import Ledger
from wayrule.formats.wire.recorded import recording_of
from wayrule.formats.wire.textlines import TextLog, text_recording
from wayrule.formats.wire.trips import Heard, Trip, gather

__all__ = [
    "Column",
    "Damage",
    "Decoder",
    "Frame",
    "Gone",
    "Heard",
    "Hello",
    "Ledger",
    "Line",
    "Marked",
    "Samples",
    "State",
    "TextLog",
    "Trip",
    "Unknown",
    "Want",
    "encode",
    "gather",
    "recording_of",
    "text_recording",
]
