"""Sizes of paper, and the pages that are handed out as bytes rather than written here."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAPER_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a3": (297.0, 420.0)}
"""(width, height) upright, mm (ISO 216; ANSI A)."""
MM = 72 / 25.4
"""Points in a millimetre."""
# No date, no author, no name of a machine or a person: what a file does not hold cannot leak.
NO_METADATA = {"pdf": {"CreationDate": None, "Producer": None, "Creator": "silhouette"}, "png": {"Software": None}}

# TrueType type inside the pdf: a page that goes to a print shop keeps text that can be searched and is never refused.
_TRUETYPE: Any = {"pdf.fonttype": 42}


def page_points(paper: str) -> tuple[float, float]:
    """(width, height) of an upright page, points."""
    width, height = PAPER_MM[paper]
    return width * MM, height * MM


def page_bytes(figure: Figure, kind: str, dpi: float = 150, *, truetype: bool = True) -> bytes:
    """One page as the bytes of a ``pdf`` or ``png`` file without metadata; ``truetype`` as in :func:`pages_pdf`."""
    import matplotlib

    held = io.BytesIO()
    with matplotlib.rc_context(_TRUETYPE if truetype else {}):
        figure.savefig(held, format=kind, dpi=dpi, metadata=NO_METADATA[kind])
    return held.getvalue()


def pages_pdf(figures: list[Figure], *, truetype: bool = True) -> bytes:
    """Many pages as the bytes of one pdf file without metadata.

    Without ``truetype`` its letters are embedded as drawn shapes, as the style has it: five times quicker.
    """
    import matplotlib
    from matplotlib.backends.backend_pdf import PdfPages

    held = io.BytesIO()
    with matplotlib.rc_context(_TRUETYPE if truetype else {}), PdfPages(held, metadata=NO_METADATA["pdf"]) as pdf:
        for figure in figures:
            pdf.savefig(figure)
    return held.getvalue()


def stacked_png(figures: Sequence[Figure], dpi: float = 150) -> bytes:
    """Many pages of one width, one under the other, as the bytes of one png file without metadata."""
    from PIL import Image

    pages = [Image.open(io.BytesIO(page_bytes(figure, "png", dpi))).convert("RGB") for figure in figures]
    whole = Image.new("RGB", (max(p.width for p in pages), sum(p.height for p in pages)), "white")
    below = 0
    for page in pages:
        whole.paste(page, (0, below))
        below += page.height
    held = io.BytesIO()
    whole.save(held, format="png")
    return held.getvalue()
