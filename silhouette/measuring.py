"""All that is told of one mask or one outline: its measures, what the learned reader makes of it, the verdict."""

from __future__ import annotations

import math
import warnings

from shapely.geometry import Polygon

from silhouette.errors import SilhouetteError
from silhouette.reading import reader, view
from silhouette.reading.weights import UNLIKE_CURVE
from silhouette.records import BodyReading, Mask, Measures, Outline, Reading
from silhouette.settings import Intent
from silhouette.shape import measure, outline

UPSIDE_DOWN = 2.5
"""How many times as wide the joints of an outline spread as those of the same outline turned over, in the geometric
mean, from which one is asked whether y grows upwards. Of 224 outlines of rendered bodies, standing to lying, none is
asked about as it is, and all are when given upside down."""
READ_PX = 500
"""Height at which a bare outline is put before the reader, pixels."""


def measure_outline(polygon: Polygon, *, y_up: bool = False) -> Measures:
    """Measure the outline of a standing, sitting or crouching figure.

    Parameters
    ----------
    polygon : shapely.Polygon
        Valid, with an area, holes as enclosed gaps; any units, any position.
    y_up : bool
        True where y grows upwards, as in drawings and maps; pictures have y downwards.

    Returns
    -------
    Measures
        Dimensionless. Gaps, parts and tangents lie in the normalised frame: height 1, top y = 0, x = 0 in the middle.
        ``limbs`` is None for an outline too plain to be a figure's.

    Warns
    -----
    UserWarning
        The outline looks like a figure upside down: most likely its y grows upwards.

    Raises
    ------
    SilhouetteError
        What was given is not a polygon, is empty, invalid, or has no area.
    """
    measures = measure.measure_outline(polygon, y_up=y_up)
    figure = measure.normalised(polygon, y_up=y_up)
    if _upside_down(figure):
        other = "y_up=False" if y_up else "y_up=True"
        warnings.warn(f"This outline looks like a figure upside down. If so, say {other}.", stacklevel=2)
    return measures


def _upside_down(figure: Polygon) -> bool:
    """Whether a normalised outline reads as a body only when turned over; False where the reader cannot be run."""
    given, turned = (_read_bare(one) for one in (figure, measure.normalised(figure, y_up=True)))
    if given is None or turned is None or turned.unlike >= UNLIKE_CURVE[0]:
        return False
    wider = [math.log(a.spread / b.spread) for a, b in zip(given.joints, turned.joints, strict=True)]
    return sum(wider) / len(wider) > math.log(UPSIDE_DOWN)


def _read_bare(figure: Polygon) -> BodyReading | None:
    return read_any(bare(figure))


def bare(figure: Polygon) -> Outline:
    """A normalised outline (top 0, ground 1, x = 0 the middle) as if it had been traced in a picture of its own."""
    wide = 2 * math.ceil(figure.bounds[2] * READ_PX) + 2
    return Outline(figure, READ_PX, (wide / 2, 0.0), (wide, READ_PX))


def measure_mask(mask: Mask, intent: Intent = "open") -> tuple[Outline, Measures, BodyReading | None, Reading] | None:
    """Outline, measures, the reader's reading (None where it stood aside) and the verdict; None for an empty mask."""
    line = outline.outline_of(mask)
    return None if line is None else (line, *read_line(line, intent))


def read_line(line: Outline, intent: Intent = "open") -> tuple[Measures, BodyReading | None, Reading]:
    """As :func:`measure_mask`, of an outline that was traced already."""
    measures = measure.measure_outline(line.polygon)
    body = read_body(line)
    return measures, body, view.read_view(measures, line, intent, body)


def read_body(line: Outline) -> BodyReading | None:
    """The reader's reading; None where it stands aside or cannot be run."""
    body = read_any(line)
    return body if body is not None and body.unlike < reader.UNLIKE else None


def read_any(line: Outline) -> BodyReading | None:
    """As :func:`read_body`, however unlike a body the outline is."""
    try:
        return reader.read_body(line)
    except SilhouetteError:
        return None
