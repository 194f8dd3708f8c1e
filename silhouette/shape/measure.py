"""All measures of one outline in one call."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from silhouette.errors import SilhouetteError
from silhouette.records import Measures
from silhouette.shape import contour, gaps, legibility, part_cuts

SPIKE = 1e-9
"""Area below this share of the squared height is no area (a line, a fold)."""
FEWEST_BAYS = 2.0
"""Contour complexity under which nothing can be told of limbs: a box has 0, an L and a U 1; of 211 cut-out figures,
standing, seated and crouching, none has less than 3.2."""


def measure_outline(polygon: Polygon, *, y_up: bool = False) -> Measures:
    """Measure a figure's outline.

    Parameters
    ----------
    polygon : shapely.Polygon
        Valid, with an area, holes as enclosed gaps; any units, any position; x to the right, y **downwards**.
    y_up : bool
        True where y grows upwards instead.

    Returns
    -------
    Measures
        Dimensionless. Gaps, parts and tangents lie in the normalised frame: height 1, top y = 0, x = 0 in the middle.
        ``limbs`` is None for an outline too plain to be a figure's (``FEWEST_BAYS``).

    Raises
    ------
    SilhouetteError
        What was given is not a polygon, is empty, invalid, or has no area.
    """
    figure = normalised(polygon, y_up=y_up)
    picture = contour.raster(figure)
    cuts = part_cuts.cut_parts(figure, picture)
    guessed = legibility.guess(legibility.features(figure, picture))
    negative = gaps.gaps_of(figure)
    bays = contour.contour_complexity(figure)
    return Measures(
        negative_space=gaps.negative_space(negative),
        contour_complexity=bays,
        limb_separation=legibility.separation(guessed),
        gaps=negative,
        parts=part_cuts.standing(cuts, guessed.standing),
        tangents=gaps.tangents_of(figure),
        solidity=contour.solidity(figure),
        circularity=contour.circularity(figure),
        convexity=contour.convexity(figure),
        symmetry=contour.symmetry(picture),
        limbs=guessed.limbs if bays >= FEWEST_BAYS else None,
    )


def normalised(polygon: Polygon, *, y_up: bool = False) -> Polygon:
    """The outline moved and scaled to height 1, top y = 0, x = 0 in the middle; outer ring one way, holes the other."""
    if not isinstance(polygon, Polygon):
        raise SilhouetteError(f"An outline is measured on one shapely Polygon, not on a {type(polygon).__name__}.",
                              do="Give the largest polygon alone.")
    if polygon.is_empty:
        raise SilhouetteError("The outline is empty.")
    if not np.isfinite(shapely.get_coordinates(polygon)).all():
        raise SilhouetteError("The outline has coordinates that are not numbers.")
    if not polygon.is_valid:
        raise SilhouetteError(f"The outline is not a valid polygon: {shapely.is_valid_reason(polygon)}.",
                              do="shapely.make_valid mends it.")
    x0, y0, x1, y1 = polygon.bounds
    height = y1 - y0
    if height <= 0 or polygon.area <= SPIKE * height**2:
        raise SilhouetteError("The outline has no area.")
    scale = 1 / height
    down, top = (-scale, y1 * scale) if y_up else (scale, -y0 * scale)
    moved = affinity.affine_transform(polygon, [scale, 0, 0, down, -(x0 + x1) / 2 * scale, top])
    return shapely.orient_polygons(moved)

