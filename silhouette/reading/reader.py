"""Reads the body from one outline: how legible each limb is, and where its joints must be.

A small network that was trained on rendered bodies alone (see ``READER.md`` beside this file) takes the test that a
viewer takes: given only the black shape, tell where each limb is. It runs on OpenCV's own dnn, on one core.

The outline is framed as in training: its box, longer side ``FIGURE`` pixels, in the middle of a square of ``CANVAS``.
The network sees the shape and its mirror image and the answers are averaged: a little better than one look, and
mirroring changes nothing but the sides.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon

from silhouette.errors import CutterError
from silhouette.records import BodyReading, Joint, LimbLegibility, Outline

CANVAS = 640
"""Side of the square that an outline is drawn on, pixels."""
FIGURE = 590
"""Longer side of the outline's box on it, pixels."""
SIDE = 160
"""Side of the grey picture that the network sees: the canvas, area-averaged."""
FOLD = 4
"""It enters folded: FOLD x FOLD pixels become channels, so that thin gaps survive cheaply."""
MAPS = 20
"""Side of the network's maps of where a joint may be."""
POINTS = ("head", "hand", "hand", "elbow", "elbow", "foot", "foot", "knee", "knee")
UNLIKE = 0.3
"""``BodyReading.unlike`` from which an outline should be read by shape alone."""
PLACED = 0.05
"""A joint is placed if it lies this near to where the reader puts it, figure heights."""
SPREAD_FACTOR, SPREAD_FLOOR = 1.0, 0.04
"""Stretch of the maps' own radius and its least value (figure heights), so that it holds the joint 9 times in 10 on
rendered poses kept out of training."""
SHOWN_WHOLE = 0.72
"""Legibility at which the black shape shows about all it can of a limb: its root is always hidden in the body."""

_lock = threading.Lock()


@dataclass(frozen=True)
class Framed:
    """An outline as the network sees it."""

    picture: NDArray[np.float32]
    """(2, FOLD^2, SIDE / FOLD, SIDE / FOLD) share of each pixel covered, folded: the shape, then its mirror image."""
    scale: float
    """Canvas pixels per figure height."""
    middle: tuple[float, float]
    """Middle of the outline's box, figure heights."""


def read_body(outline: Outline) -> BodyReading:
    """Read the body from an outline alone.

    Returns
    -------
    BodyReading
        Legibility 0 to 1; nine joints (head, two each of hand, elbow, foot and knee; pairs unordered) in picture
        fractions with the radius, in figure heights, that holds the true joint 9 times in 10; and how unlike a body the
        outline is, 0 to 1 (from UNLIKE on, do not trust the rest).

    Raises
    ------
    CutterError
        The weights that ship with the package are missing or OpenCV cannot run them.
    """
    framed = frame(outline.polygon)
    answers, where = _run(framed.picture)
    told = (1 / (1 + np.exp(-answers.astype(np.float64)))).mean(0)
    places, radii = _places(_both_looks(where))
    joints = []
    width, height = outline.picture_size
    for name, (x, y), radius in zip(POINTS, places, radii, strict=True):
        across = (x - 0.5) * CANVAS / framed.scale + framed.middle[0]
        down = (y - 0.5) * CANVAS / framed.scale + framed.middle[1]
        joints.append(Joint(name, float((across * outline.height_px + outline.origin_px[0]) / width),
                            float((down * outline.height_px + outline.origin_px[1]) / height),
                            float(max(SPREAD_FLOOR, SPREAD_FACTOR * radius * CANVAS / framed.scale))))
    arms, legs = sorted(told[1:3].tolist()), sorted(told[3:5].tolist())
    limbs = LimbLegibility(float(told[0]), (arms[0], arms[1]), (legs[0], legs[1]))
    return BodyReading(limbs, tuple(joints), float(told[5]))


def clear_from_body(body: BodyReading) -> float:
    """What the reader could tell, 0 to 100.

    The mean over head, arms and legs of 0.75 s + 0.25 p: s the limb's legibility over SHOWN_WHOLE, at most 1; p the
    chance that its joints lie within PLACED of where they are put, from their spread r as 1 - 10^-((PLACED / r)^2) (a
    round bell that holds nine tenths within r). Of a pair the weaker limb is taken with the wider spread. Legibility
    weighs more because it is the steadier answer: a slightly rough edge moves spreads several times as much.
    """
    spreads: dict[str, list[float]] = {}
    for joint in body.joints:
        spreads.setdefault(joint.joint, []).append(joint.spread)
    chance = {name: [1 - 10 ** -((PLACED / r) ** 2) for r in sorted(values, reverse=True)]
              for name, values in spreads.items()}
    limbs = [(chance["head"][0], body.limb_legibility.head)]
    arms, legs = body.limb_legibility.arms, body.limb_legibility.legs
    for inner, outer, pair in (("elbow", "hand", arms), ("knee", "foot", legs)):
        limbs += [((chance[inner][k] + chance[outer][k]) / 2, pair[k]) for k in (0, 1)]
    return 100 * float(np.mean([0.75 * min(1.0, s / SHOWN_WHOLE) + 0.25 * p for p, s in limbs]))


def frame(polygon: Polygon) -> Framed:
    """Draw the outline and its mirror image as the network sees them."""
    x0, y0, x1, y1 = polygon.bounds
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    scale = FIGURE / max(x1 - x0, y1 - y0)
    rings = []
    for ring in (polygon.exterior, *polygon.interiors):
        points = (np.asarray(ring.coords)[:, :2] - middle) * scale + CANVAS / 2 - 0.5
        rings.append(np.round(points * 16).astype(np.int32))
    mask = np.zeros((CANVAS, CANVAS), np.uint8)
    cv2.fillPoly(mask, rings, 255, shift=4)
    grey = cv2.resize(mask, (SIDE, SIDE), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    cells = SIDE // FOLD
    both = np.stack([grey, grey[:, ::-1]])
    folded = both.reshape(2, cells, FOLD, cells, FOLD).transpose(0, 2, 4, 1, 3).reshape(2, FOLD * FOLD, cells, cells)
    return Framed(np.ascontiguousarray(folded), scale, middle)


def _both_looks(where: NDArray[np.float32]) -> NDArray[np.float64]:
    """(9, MAPS, MAPS) densities: the mean of those for the shape and for its mirror image, turned back.

    The members of a pair have no names, so the second look's pair is taken in the order that agrees better.
    """
    flat = where.reshape(2, len(POINTS), -1).astype(np.float64)
    p = np.exp(flat - flat.max(-1, keepdims=True))
    p = (p / p.sum(-1, keepdims=True)).reshape(2, len(POINTS), MAPS, MAPS)
    first, second = p[0], p[1, :, :, ::-1].copy()
    root = np.sqrt(first), np.sqrt(second)
    for i in range(1, len(POINTS), 2):
        agree = np.einsum("ayx,byx->ab", root[0][i : i + 2], root[1][i : i + 2])
        if agree[0, 1] + agree[1, 0] > agree[0, 0] + agree[1, 1]:
            second[[i, i + 1]] = second[[i + 1, i]]
    return (first + second) / 2


def _places(maps: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(9, 2) canvas fractions and (9,) radii that hold nine tenths of each map, canvas fractions.

    A joint is put at the mean of its map within two cells of the highest cell: where two places are possible that is
    the likelier one, and the radius reaches to the other.
    """
    p = maps.reshape(len(POINTS), -1)
    top = p.argmax(1)
    cells = np.arange(MAPS)
    near_y, near_x = (np.abs(cells - at[:, None]) <= 2 for at in (top // MAPS, top % MAPS))
    near = near_y[:, :, None] & near_x[:, None, :]
    local = np.where(near, p.reshape(-1, MAPS, MAPS), 0)
    local /= local.sum((1, 2), keepdims=True)
    centre = (cells + 0.5) / MAPS
    places = np.stack([local.sum(1) @ centre, local.sum(2) @ centre], 1)
    away = np.hypot(centre[None, None, :] - places[:, 0, None, None], centre[None, :, None] - places[:, 1, None, None])
    away = away.reshape(len(POINTS), -1)
    order = np.argsort(away, axis=1)
    held = np.cumsum(np.take_along_axis(p, order, 1), 1)
    reached = np.minimum((held < 0.9).sum(1), held.shape[1] - 1)
    return places, np.take_along_axis(np.take_along_axis(away, order, 1), reached[:, None], 1)[:, 0]


def _run(picture: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Answers (2, 6) and maps (2, 9, MAPS, MAPS)."""
    net = _net()
    try:
        with _lock:
            net.setInput(picture, "picture")
            answers, where = net.forward(["answers", "where"])
    except cv2.error as err:
        raise CutterError("OpenCV cannot run the reader of outlines.",
                          do="Install opencv-python 4.10 or newer.") from err
    return answers, where


@cache
def _net() -> Any:
    """The network, loaded once a process."""
    place = resources.files("silhouette.reading") / "reader.onnx"
    try:
        data = np.frombuffer(place.read_bytes(), np.uint8)
        return cv2.dnn.readNetFromONNX(data)
    except (OSError, cv2.error) as err:
        raise CutterError("The weights of the reader of outlines (reading/reader.onnx) are missing or damaged.",
                          do="Install the package again.") from err
