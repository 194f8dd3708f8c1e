"""The kinds of attack, one file each: ``run(case)`` tries one case, ``prepare(case)`` makes what they share."""

from __future__ import annotations

import importlib
from typing import Any

KINDS: dict[str, tuple[int, int]] = {
    # name: cases of the short form, cases of the long form
    "reader": (3000, 100_000),
    "stills": (150, 10_000),
    "sizes": (6, 120),
    "clips": (60, 3000),
    "tables": (12, 300),
    "masks": (40, 1500),
    "flags": (6, 300),
    "names": (3, 120),
    "places": (39, 450),
    "signals": (6, 150),
    "kills": (6, 300),
    "disks": (6, 120),
    "caches": (10, 400),
    "streams": (11, 66),
}
"""A case of tables, flags and names is a block of up to 20 examples that Hypothesis draws, each a run of its own."""


SHARED = {"signals": "kills", "stills": "reader"}
"""Kinds that work on what another one prepared."""


def module(kind: str) -> Any:
    """The file of a kind."""
    return importlib.import_module(f"campaign.{kind}")
