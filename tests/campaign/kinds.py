"""The kinds of attack, one file each: ``run(case)`` tries one case, ``prepare(case)`` makes what they share."""

from __future__ import annotations

import importlib
from typing import Any

KINDS: dict[str, tuple[int, int]] = {
    # name: cases of the short form, cases of the long form
    "reader": (4000, 100_000),
    "stills": (250, 10_000),
    "sizes": (12, 120),
    "clips": (100, 3000),
    "tables": (20, 300),
    "masks": (60, 1500),
    "flags": (12, 300),
    "names": (6, 120),
    "places": (45, 450),
    "signals": (8, 150),
    "kills": (8, 300),
    "disks": (8, 120),
    "caches": (16, 400),
    "streams": (16, 66),
}
"""A case of tables, flags and names is a block of examples that Hypothesis draws; the table of results counts runs."""


SHARED = {"signals": "kills", "stills": "reader"}
"""Kinds that work on what another one prepared."""


def module(kind: str) -> Any:
    """The file of a kind."""
    return importlib.import_module(f"campaign.{kind}")
