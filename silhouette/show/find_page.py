"""The page of what was found: one html file that opens from disk, offline, every figure in it a vector drawing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from silhouette.records_find import Found, Hit
from silhouette.show import html, words, words_find
from silhouette.show.svg import UNIT, path_d
from silhouette.writing import whole_file


def write_page(found: Found, path: Path) -> Path:
    """Write the page.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    return whole_file(Path(path), page_html(found).encode())


def page_html(found: Found) -> str:
    """The page as text, with nothing fetched from anywhere."""
    several = words_find.several_rings(found)
    return html.render(
        "find.html.j2",
        title=words_find.title(found),
        picture=None if found.picture is None else {
            "name": found.picture.name, "path": path_d(found.picture.outline.drawn),
            "said": words_find.picture(found.picture),
        },
        your_picture=words_find.YOUR_PICTURE,
        hits=[_hit(place, hit, several) for place, hit in enumerate(found.hits, 1)],
        box=_box(found),
        nothing=words_find.NOTHING,
        looked_in=words_find.looked_in(found),
        how=words_find.HOW,
        no_sides=words_find.NO_SIDES if any(hit.mirrored for hit in found.hits) else "",
        left_out=list(words_find.left_out(found)),
        cannot_see=words.CANNOT_SEE,
    )


def _hit(place: int, hit: Hit, several: bool) -> dict[str, Any]:
    """What the page shows of one hit."""
    alike = hit.likeness is not None
    return {
        "place": place, "name": words_find.called(hit), "seen": words_find.seen(hit, several),
        "mirrored": words_find.mirrored(hit), "likeness": words_find.likeness(hit), "reads": words_find.reads(hit),
        "band": words_find.band(hit), "differs": [words_find.differs(note) for note in hit.differs],
        "same": words_find.NO_DIFFERENCE if alike else "",
        "pose": "" if hit.outline is None else path_d(hit.outline),
        "laid": "" if hit.laid is None else path_d(hit.laid),
    }


def _box(found: Found) -> str:
    """An svg view box that holds every figure on one ground line."""
    shapes = [shape for hit in found.hits for shape in (hit.outline, hit.laid) if shape is not None]
    if found.picture is not None:
        shapes.append(found.picture.outline.polygon)
    bounds = [shape.bounds for shape in shapes] or [(-0.3, 0.0, 0.3, 1.0)]
    half = round(UNIT * max(max(-b[0], b[2]) for b in bounds)) + 30
    top, low = round(UNIT * min(b[1] for b in bounds)) - 30, round(UNIT * max(1.0, *(b[3] for b in bounds))) + 30
    return f"{-half} {top} {2 * half} {low - top}"
