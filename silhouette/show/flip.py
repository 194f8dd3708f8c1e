"""The turnaround as one web page that works without a network: flip round by drag, keys and touch, and from ring to
ring where a pose has several."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

import cv2

from silhouette.records import Pixels
from silhouette.records_shoot import SetFigure, SetLayout
from silhouette.show import html, words, words_rings
from silhouette.show.svg import UNIT, path_d

PHOTO_QUALITY = 88


def flip_page(layout: SetLayout, *, photos: Mapping[str, Pixels] | None = None) -> str:
    """The page as HTML; nothing in it points outside it.

    Parameters
    ----------
    photos : mapping of stem to (h, w, 3) BGR, optional
        All in the layout's window and of one size. None or empty: the page holds black shapes alone.
    """
    left, top, right, bottom = (round(v * UNIT) for v in layout.window)
    top = min(top, -round(layout.crown * UNIT) - 20)
    stops = [_stop(figure, photos) for figure in layout.figures]
    rings: list[dict[str, Any]] = [
        {
            "name": words_rings.NAMES[one.ring],
            "short": one.ring.capitalize(),
            "heads": bool(layout.head_lines_of(one.ring)),
            "stops": [stop for stop, figure in zip(stops, layout.figures, strict=True) if figure.ring == one.ring],
        }
        for one in layout.rings
        if any(figure.ring == one.ring for figure in layout.figures)
    ]
    main = next((i for i, ring in enumerate(rings) if ring["heads"]), 0)
    own = rings[main]["stops"] if rings else stops
    return html.render(
        "turnaround.html.j2",
        name=layout.name,
        several=bool(rings),
        rings=rings,
        told=html.script_json(rings),
        main=main,
        stops=html.script_json([] if rings else stops),
        first=own[0],
        count=len(own),
        box=(left, top, right - left, bottom - top),
        window=tuple(round(v * UNIT) for v in layout.window),
        heads=[-round(over * UNIT) for _, over in layout.head_lines],
        ticks=[round(figure.angle) for figure in layout.figures],
        has_photos=any(stop["photo"] for stop in stops),
    )


def _stop(figure: SetFigure, photos: Mapping[str, Pixels] | None) -> dict[str, Any]:
    return {
        "angle": round(figure.angle) % 360,
        "side": words.side_of(figure.angle),
        "path": path_d(figure.polygon),
        "photo": _data_uri(photos[figure.stem]) if photos and figure.stem in photos else "",
    }


def _data_uri(pixels: Pixels) -> str:
    _, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, PHOTO_QUALITY])
    return "data:image/jpeg;base64," + base64.b64encode(data.tobytes()).decode("ascii")
