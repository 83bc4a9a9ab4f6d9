"""The ways by which bytes come: a cable, the network, a saved log, a make-believe wagon."""

from wayrule.live.links.link import Link, LinkDownError, LinkEndedError, Sink, keep_up
from wayrule.live.links.spelling import link_of

__all__ = ["Link", "LinkDownError", "LinkEndedError", "Sink", "keep_up", "link_of"]
