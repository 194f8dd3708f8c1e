"""The kinds of attack, one file each: ``run(case)`` tries one case, ``prepare(case)`` makes what they share."""

from __future__ import annotations

import importlib
from typing import Any

KINDS: dict[str, tuple[int, int, float]] = {
    # name: cases of the short form, cases of the long form, seconds that a case takes, about
    "reader": (3000, 100_000, 0.004),
    "stills": (150, 10_000, 0.12),
    "sizes": (6, 120, 2.5),
    "clips": (60, 3000, 0.15),
    "tables": (12, 300, 0.6),
    "masks": (40, 1500, 0.12),
    "empties": (24, 1200, 0.9),
    "armatures": (12, 300, 2),
    "rings": (16, 400, 2.5),
    "archives": (12, 300, 2.5),
    "finds": (24, 1500, 0.7),
    "flags": (8, 300, 2.5),
    "names": (3, 120, 5),
    "places": (41, 450, 0.7),
    "signals": (7, 150, 2),
    "kills": (7, 300, 4),
    "disks": (8, 120, 2),
    "caches": (10, 400, 1.2),
    "streams": (11, 66, 1.3),
    "server": (4, 200, 12),
}
"""A case of tables, tapes, flags and names is a block of up to 20 examples that Hypothesis draws, each one run."""


SHARED = {"signals": "kills", "stills": "reader"}
"""Kinds that work on what another one prepared."""


def module(kind: str) -> Any:
    """The file of a kind."""
    return importlib.import_module(f"campaign.{kind}")
