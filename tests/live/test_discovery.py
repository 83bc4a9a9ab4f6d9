"""Wagons that make themselves known: a real announcement over multicast DNS, and what is not to be believed."""

import socket
import time

import pytest
from zeroconf import ServiceInfo, Zeroconf

from wayrule.live.discovery import SERVICES, Browser, Found, look

LOOPBACK = ["127.0.0.1"]


@pytest.fixture
def announcer():
    try:
        made = Zeroconf(interfaces=LOOPBACK)
    except OSError as error:
        pytest.skip(f"no multicast on this machine's loopback: {error}")
    yield made
    made.close()


def announce(announcer, kind, name, port, **properties):
    service = SERVICES[kind]
    info = ServiceInfo(
        service, f"{name}.{service}", addresses=[socket.inet_aton("127.0.0.1")], port=port, properties=properties,
        server="van7.local.",
    )  # fmt: skip
    announcer.register_service(info, cooperating_responders=True)  # nobody else has the name: no probing


def test_a_wagon_that_announces_itself_is_found(announcer):
    announce(announcer, "udp", "Van 7", 47870, id="a1b2")
    announce(announcer, "tcp", "Coach 2", 5000)
    seen = []
    browser = Browser(seen.append, LOOPBACK)
    end = time.monotonic() + 10
    while len(seen) < 2 and time.monotonic() < end:
        time.sleep(0.05)
    browser.close()
    if not seen:
        pytest.skip("multicast does not come back on this machine's loopback")
    assert sorted(seen, key=lambda f: f.kind) == [
        Found("tcp", "Coach 2", "127.0.0.1", 5000, ""), Found("udp", "Van 7", "127.0.0.1", 47870, "a1b2"),
    ]  # fmt: skip
    assert [f.link for f in sorted(seen, key=lambda f: f.kind)] == ["tcp:127.0.0.1:5000", "udp:"]


def test_looking_where_nobody_is_finds_nobody(announcer):  # noqa: ARG001  skips where there is no multicast
    assert look(0.3, LOOPBACK) == ()


def test_an_address_of_six_is_written_in_brackets():
    assert Found("tcp", "Van 7", "fe80::1%eth0", 47870, "").link == "tcp:[fe80::1%eth0]:47870"
