"""The addresses that this computer has in its networks, found by asking the system alone: nothing is sent."""

from __future__ import annotations

import contextlib
import re
import socket
import struct
import sys
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network

_HOME = tuple(map(IPv4Network, ("192.168.0.0/16", "10.0.0.0/8", "172.16.0.0/12")))
"""Networks of homes and studios, likeliest first (RFC 1918)."""
_INNER = re.compile(r"docker|br-|veth|virbr|vmnet|vboxnet|tun|tap|utun|wg|tailscale|zt|ppp|awdl|llw", re.IGNORECASE)
"""How cards are called that lead into this computer or through a tunnel, where no phone is."""
_ASK_ADDRESS = 0xC0206921 if sys.platform == "darwin" else 0x8915
"""The system's number for "which address has this card" (SIOCGIFADDR)."""


@dataclass(frozen=True)
class OwnAddress:
    """One address of this computer."""

    address: str
    card: str
    """The network card as the system calls it; empty where it does not say."""

    @property
    def private(self) -> bool:
        """Whether it cannot be reached from the internet."""
        return IPv4Address(self.address).is_private


def own_addresses() -> tuple[OwnAddress, ...]:
    """All of them but loopback, the one that a phone most likely reaches first."""
    found = _by_card() if sys.platform != "win32" else _by_route()
    return tuple(sorted(dict.fromkeys(found), key=_order))


def _order(one: OwnAddress) -> tuple[bool, bool, bool, int, str, IPv4Address]:
    ip = IPv4Address(one.address)
    net = next((k for k, home in enumerate(_HOME) if ip in home), len(_HOME))
    return not one.private, ip.is_link_local, bool(_INNER.match(one.card)), net, one.card, ip


def _by_card() -> list[OwnAddress]:
    """Ask for the address of each card."""
    import fcntl

    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, card in socket.if_nameindex():
            with contextlib.suppress(OSError):  # a card without an address
                told = fcntl.ioctl(asking.fileno(), _ASK_ADDRESS, struct.pack("256s", card.encode()[:15]))
                found.append(OwnAddress(socket.inet_ntoa(told[20:24]), card))
    return [one for one in found if not IPv4Address(one.address).is_loopback]


def _by_route() -> list[OwnAddress]:
    """Where cards cannot be asked: from which address a datagram would go out. None goes: to connect such a socket only
    chooses a route, and the address that is named is kept for examples (RFC 5737)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))
        except OSError:
            return []
        address = asking.getsockname()[0]
    return [] if IPv4Address(address).is_loopback or address == "0.0.0.0" else [OwnAddress(address, "")]
