"""The addresses that a phone may come to are found without a packet."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

LOOK = "from silhouette.live import own_addresses as m; print(m.own_addresses(), m._by_route())"


def test_nothing_is_sent_to_find_the_own_addresses(needs_strace: None, watched: Callable[..., Any],
                                                   tmp_path: Path) -> None:
    calls = watched(tmp_path / "run", "-c", LOOK, watch=False).calls
    opened = [call for call in calls if call.startswith("socket(AF_INET")]
    assert opened and all("SOCK_DGRAM" in call for call in opened), "such a socket sends nothing when it is connected"
    sent = [call for call in calls if call.startswith(("sendto(", "sendmsg(", "sendmmsg("))]
    assert all("<NETLINK" in call or "<UNIX" in call for call in sent), "only the system itself is asked"
    if sys.platform == "linux":
        assert [call for call in calls if call.startswith("connect(") and "192.0.2.1" in call], "the watcher sees"
