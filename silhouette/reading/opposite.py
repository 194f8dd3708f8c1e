"""What the opposite view shows from far: an outline, its measures, its joints, with left and right changed over."""

from __future__ import annotations

from dataclasses import replace

from silhouette.geometry.mirror import point, polygon
from silhouette.records import Doubt, DoubtWhere, Joint, Measures, Outline

_OTHER_SIDE: dict[DoubtWhere, DoubtWhere] = {
    "picture left of the body": "picture right of the body", "picture right of the body": "picture left of the body"}


def outline(line: Outline) -> Outline:
    """An outline and its place in the picture."""
    width = line.picture_size[0]
    return replace(
        line,
        polygon=polygon(line.polygon),
        contour=None if line.contour is None else polygon(line.contour),
        origin_px=(width - line.origin_px[0], line.origin_px[1]),
    )


def measures(found: Measures) -> Measures:
    """What was measured: the same numbers, with gaps, parts and tangents in their mirrored places."""
    return replace(
        found,
        gaps=tuple(replace(gap, polygon=polygon(gap.polygon)) for gap in found.gaps),
        parts=tuple(
            replace(p, polygon=polygon(p.polygon), base=(point(p.base[0]), point(p.base[1])), tip=point(p.tip))
            for p in found.parts
        ),
        tangents=tuple(replace(t, point=point(t.point)) for t in found.tangents),
    )


def joint(found: Joint) -> Joint:
    """A joint in picture fractions, and the other place where it may lie."""
    return replace(found, x=1 - found.x, also=None if found.also is None else (1 - found.also[0], found.also[1]))


def doubt(found: Doubt) -> Doubt:
    """A place where cut-outs disagree: what lay to picture left lies to picture right."""
    return found._replace(where=_OTHER_SIDE.get(found.where, found.where))
