"""Stills of the rendered turn, as a folder of a pose or of one of its rings."""

from __future__ import annotations

import shutil
from pathlib import Path

TURN = Path(__file__).parent / "data" / "rendered" / "turn"


def some(folder: Path, angles: range, name: str = "{:03d}.jpg") -> Path:
    """The stills taken at these angles, called by ``name``."""
    folder.mkdir(parents=True, exist_ok=True)
    for angle in angles:
        shutil.copy(TURN / f"{angle:03d}.jpg", folder / name.format(angle))
    return folder
