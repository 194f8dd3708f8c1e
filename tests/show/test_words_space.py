"""Every kind of note that the figure in space can bear has its sentence, and no sentence waits for a note."""

from __future__ import annotations

import re
from pathlib import Path

import silhouette
from silhouette.show import words_rings, words_space

PACKAGE = Path(silhouette.__file__).parent
KIND = re.compile(r'Note\.of\(\s*"([^"]+)"')


def test_each_note_has_its_sentence() -> None:
    sources = [*(PACKAGE / "space").glob("*.py"), PACKAGE / "armature.py"]
    kinds = {kind for path in sources for kind in KIND.findall(path.read_text(encoding="utf-8"))}
    assert kinds - {"of ring"} <= {*words_space.NOTES, *words_rings.NOTES}
    assert set(words_space.NOTES) <= kinds
