"""The figure network has a card, and the card speaks of the file that is shipped."""

import hashlib
from pathlib import Path

from silhouette.cutout import figure_net

FOLDER = Path(figure_net.__file__).parent


def test_the_card_is_of_the_shipped_weights() -> None:
    digest = hashlib.sha256((FOLDER / "figure_net.onnx").read_bytes()).hexdigest()
    assert f"shipped file: `{digest}`" in (FOLDER / "FIGURE_NET.md").read_text(encoding="utf-8")
