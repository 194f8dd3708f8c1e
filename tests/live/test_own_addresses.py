"""The computer's own addresses are found without a packet, and the one that a phone reaches comes first."""

from __future__ import annotations

import socket
import struct
import sys
from collections.abc import Callable

import pytest

from silhouette.live import own_addresses as module
from silhouette.live.own_addresses import OwnAddress, own_addresses

needs_cards = pytest.mark.skipif(sys.platform == "win32", reason="cards cannot be asked there")


@pytest.fixture
def having(monkeypatch: pytest.MonkeyPatch) -> Callable[[dict[str, str]], None]:
    """``having({"eth0": "10.0.0.2"})`` makes these the cards of this computer."""
    import fcntl

    def make(cards: dict[str, str]) -> None:
        def told(_: int, __: int, asked: bytes) -> bytes:
            address = cards[asked.rstrip(b"\0").decode()]
            if not address:
                raise OSError(99, "Cannot assign requested address")
            return asked[:20] + socket.inet_aton(address) + asked[24:]

        monkeypatch.setattr(socket, "if_nameindex", lambda: list(enumerate(cards)))
        monkeypatch.setattr(fcntl, "ioctl", told)

    return make


@needs_cards
def test_the_one_that_a_phone_reaches_comes_first(having: Callable[[dict[str, str]], None]) -> None:
    having({"lo": "127.0.0.1", "tun0": "192.168.200.2", "docker0": "172.17.0.1", "eth1": "8.8.8.8",
            "eth0": "10.0.0.5", "wlan0": "192.168.1.20", "wlan1": "", "eth9": "169.254.3.4"})
    assert [one.card for one in own_addresses()] == ["wlan0", "eth0", "tun0", "docker0", "eth9", "eth1"]
    assert not OwnAddress("8.8.8.8", "eth1").private and OwnAddress("10.0.0.5", "eth0").private


@needs_cards
def test_no_network_no_address(having: Callable[[dict[str, str]], None]) -> None:
    having({"lo": "127.0.0.1", "wlan0": ""})
    assert own_addresses() == ()


@needs_cards
def test_the_system_is_asked_as_it_wants_to_be() -> None:
    """The loopback card, which every system has, gives its address in the place that is read."""
    import fcntl

    card = next(name for _, name in socket.if_nameindex() if name.startswith("lo"))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        told = fcntl.ioctl(asking.fileno(), module._ASK_ADDRESS, struct.pack("256s", card.encode()))
    assert socket.inet_ntoa(told[20:24]) == "127.0.0.1"
    assert all(not one.address.startswith("127.") for one in own_addresses())


def test_by_route_gives_an_address_of_this_computer() -> None:
    for one in module._by_route():
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as bound:
            bound.bind((one.address, 0))
