"""Reads the body from one outline: how legible each limb is, and where its joints must be.

A small network that was trained on rendered bodies alone (see ``READER.md`` beside this file) takes the test that a
viewer takes: given only the black shape, tell where each limb is. It runs on onnxruntime, on one thread.

The outline is framed as in training (``geometry/framed.py``). The network sees the shape and its mirror image and the
answers are averaged: a little better than one look, and mirroring changes nothing but the sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette import quiet
from silhouette.errors import CutterError
from silhouette.geometry.framed import CANVAS, Framed, frame
from silhouette.reading.weights import UNLIKE_CURVE
from silhouette.records import BodyReading, Joint, LimbLegibility, Outline
from silhouette.records_space import POINTS, PointBells

MAPS = 20
"""Side of the network's maps of where a joint may be."""
START_WIDTH, LEAST_WIDTH, MOST_WIDTH = 0.45, 0.06, 2.0
"""How the maps say the width of a bell, in cells: at 0, at least, at most."""
NINE_TENTHS = 2.146
"""Radius that holds nine tenths of a round normal distribution, standard deviations: sqrt(2 ln 10)."""
NINE = 9
"""The first of POINTS are what a BodyReading tells."""
TWIN = tuple(i + 1 if name == after else i - 1 if name == before else i for i, (before, name, after) in
             enumerate(zip(("", *POINTS), POINTS, (*POINTS[1:], ""), strict=False)))
"""Place in POINTS of the other one of a pair; a single point's own."""
BELLS = 6
"""Bells of a point that are told, the likeliest."""
UNLIKE = UNLIKE_CURVE[1]
"""``BodyReading.unlike`` from which an outline is read by shape alone; trust fades towards it, so that no small change
of an outline switches from one way of reading to the other."""
PLACED = 0.05
"""A joint is placed if it lies this near to where the reader puts it, figure heights."""
SECOND_SHARE, SECOND_APART = 0.2, 0.10
"""A second place is told if at least the first speaks for it and it lies farther from the first than the second, figure
heights."""
SPREAD_FLOOR = 0.005
"""Least spread, figure heights: about the error of a joint that lies in the open."""

Floats = NDArray[np.float64]


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
        The weights that ship with the package are missing or onnxruntime cannot run them.
    """
    framed, told, where, fine = _looked(outline)
    return _reading(outline, framed, told, _both_looks(where[:, :NINE], fine[:, : 3 * NINE]))


def point_bells(outline: Outline) -> PointBells:
    """Where the outline alone says that each of all POINTS may lie, for the fit in space.

    Raises
    ------
    CutterError
        As :func:`read_body`.
    """
    framed, told, where, fine = _looked(outline)
    return _likeliest(outline, framed, told, _both_looks(where, fine))


def read(outline: Outline) -> tuple[BodyReading, PointBells]:
    """Both at once, from one run of the network: see :func:`read_body` and :func:`point_bells`."""
    framed, told, where, fine = _looked(outline)
    bells = _both_looks(where, fine)
    return _reading(outline, framed, told, bells.rows(slice(NINE))), _likeliest(outline, framed, told, bells)


def _looked(outline: Outline) -> tuple[Framed, Floats, NDArray[np.float32], NDArray[np.float32]]:
    """What the network says of an outline and its mirror image: chances (6,), the mean of both; the maps of each."""
    framed = frame(outline.polygon)
    answers, where, fine = _run(framed.picture)
    return framed, (1 / (1 + np.exp(-answers.astype(np.float64)))).mean(0), where, fine


def _likeliest(outline: Outline, framed: Framed, told: Floats, bells: _Bells) -> PointBells:
    """The BELLS likeliest of every point's bells, in pixels of the picture."""
    order = np.argsort(-bells.share, axis=1, kind="stable")[:, :BELLS]
    share, x, y, width = (np.take_along_axis(part, order, 1) for part in (bells.share, bells.x, bells.y, bells.width))
    pixels = outline.height_px * CANVAS / framed.scale
    return PointBells(share, (x - 0.5) * pixels + framed.middle[0] * outline.height_px + outline.origin_px[0],
                      (y - 0.5) * pixels + framed.middle[1] * outline.height_px + outline.origin_px[1],
                      width * pixels, outline.height_px, float(told[5]))


def _reading(outline: Outline, framed: Framed, told: Floats, bells: _Bells) -> BodyReading:
    """Legibility, and the places of the first nine points with how sure they are."""
    unit = framed.scale / CANVAS
    places, radii, sure = _places(bells, PLACED * unit)
    others = _second_places(bells, places, SECOND_APART * unit)

    def in_picture(spot: Floats) -> tuple[float, float]:
        there = ((spot - 0.5) / unit + framed.middle) * outline.height_px + outline.origin_px
        return float(there[0] / outline.picture_size[0]), float(there[1] / outline.picture_size[1])

    joints = []
    for name, spot, radius, chance, other in zip(POINTS[:NINE], places, radii, sure, others, strict=True):
        joints.append(Joint(name, *in_picture(spot), float(max(SPREAD_FLOOR, radius / unit)), float(chance),
                            None if other is None else in_picture(other)))
    arms, legs = sorted(told[1:3].tolist()), sorted(told[3:5].tolist())
    limbs = LimbLegibility(float(told[0]), (arms[0], arms[1]), (legs[0], legs[1]))
    return BodyReading(limbs, tuple(joints), float(told[5]))


@dataclass(frozen=True)
class _Bells:
    """Where each of the points may lie: for every cell of its map a round bell and its share, each (points, cells)."""

    share: Floats
    """Sums to 1 over the cells of a point."""
    x: Floats
    """Middle of the bell, canvas fractions."""
    y: Floats
    width: Floats
    """Standard deviation, canvas fractions."""

    def rows(self, index: list[int] | slice) -> _Bells:
        return _Bells(self.share[index], self.x[index], self.y[index], self.width[index])


def _both_looks(where: NDArray[np.float32], fine: NDArray[np.float32]) -> _Bells:
    """The mean of what is said of the shape and, turned back, of its mirror image.

    The members of a pair have no names, so the second look's pair is taken in the order that agrees better, where
    neighbouring cells agree too.
    """
    first, second = _bells(where[0], fine[0], 1), _bells(where[1, :, :, ::-1], fine[1, :, :, ::-1], -1)
    root = [np.sqrt(_blurred(look.share)) for look in (first, second)]
    order = list(range(where.shape[1]))
    for i, j in enumerate(TWIN[: len(order)]):
        if i < j:
            agree = root[0][[i, j]] @ root[1][[i, j]].T
            if agree[0, 1] + agree[1, 0] > agree[0, 0] + agree[1, 1]:
                order[i], order[j] = j, i
    second = second.rows(order)
    whole = first.share + second.share
    one, two = first.share / whole, second.share / whole
    return _Bells(whole / 2, one * first.x + two * second.x, one * first.y + two * second.y,
                  one * first.width + two * second.width)


def _blurred(share: Floats) -> Floats:
    """(points, MAPS^2) the mean over each cell and its neighbours."""
    maps = np.ascontiguousarray(share.reshape(-1, MAPS, MAPS).transpose(1, 2, 0))
    return np.asarray(cv2.blur(maps, (3, 3)).transpose(2, 0, 1).reshape(len(share), -1), np.float64)


def _bells(where: NDArray[np.float32], fine: NDArray[np.float32], right: int) -> _Bells:
    """One look's maps (points, MAPS, MAPS) and (3 points, MAPS, MAPS) as bells; ``right`` -1 where turned back."""
    logits = where.reshape(len(where), -1).astype(np.float64)
    share = np.exp(logits - logits.max(1, keepdims=True)) + 1e-12
    across, down, width = fine.reshape(len(where), 3, -1).astype(np.float64).transpose(1, 0, 2)
    middle = np.tile((np.arange(MAPS) + 0.5), (MAPS, 1))
    return _Bells(share / share.sum(1, keepdims=True), (middle.ravel() + right * np.tanh(across)) / MAPS,
                  (middle.T.ravel() + np.tanh(down)) / MAPS,
                  np.clip(START_WIDTH * np.exp(width), LEAST_WIDTH, MOST_WIDTH) / MAPS)


def _places(bells: _Bells, near: float) -> tuple[Floats, Floats, Floats]:
    """(n, 2) canvas fractions, (n,) radii that hold nine tenths of each point's bells, (9,) what lies within ``near``.

    A joint is put at the mean of its bells within two cells of the likeliest cell: where two places are possible that
    is the likelier one, and the radius reaches to the other.
    """
    top = bells.share.argmax(1)
    cells = np.arange(MAPS)
    near_y, near_x = (np.abs(cells - at[:, None]) <= 2 for at in (top // MAPS, top % MAPS))
    local = np.where((near_y[:, :, None] & near_x[:, None, :]).reshape(len(top), -1), bells.share, 0)
    local /= local.sum(1, keepdims=True)
    places = np.stack([(local * bells.x).sum(1), (local * bells.y).sum(1)], 1)
    middle = (bells.x - places[:, :1]) ** 2 + (bells.y - places[:, 1:]) ** 2
    # the share of a round bell within a circle, about: a logistic in the circle's radius less the root mean square
    # distance, in widths (0.88 for nine tenths of a bell in the middle)
    within = 1 / (1 + np.exp(np.clip(-1.702 * (near - np.sqrt(middle + bells.width**2)) / bells.width, -40, 40)))
    # nine tenths of one round bell lie within 2.146 widths; a bell aside reaches as far as its middle and its own width
    away = np.sqrt(middle + (NINE_TENTHS * bells.width) ** 2)
    order = np.argsort(away, axis=1)
    held = np.cumsum(np.take_along_axis(bells.share, order, 1), 1)
    reached = np.minimum((held < 0.9).sum(1), held.shape[1] - 1)
    radii = np.take_along_axis(np.take_along_axis(away, order, 1), reached[:, None], 1)[:, 0]
    return places, radii, (bells.share * within).sum(1)


def _second_places(bells: _Bells, places: Floats, apart: float) -> list[Floats | None]:
    """For each point the other place it may lie at, canvas fractions: where at least SECOND_SHARE of its bells lie
    within two cells of a cell, all of them ``apart`` or farther from its first place and from its twin's."""
    twin = list(TWIN[: len(places)])
    rest = bells.share
    for taken in (places, places[twin]):
        rest = np.where(np.hypot(bells.x - taken[:, :1], bells.y - taken[:, 1:]) > apart, rest, 0)
    found: list[Floats | None] = [None] * len(places)
    cells = np.arange(MAPS)
    for k in np.flatnonzero(rest.sum(1) >= SECOND_SHARE):
        round_it = cv2.blur(rest[k].reshape(MAPS, MAPS), (5, 5), borderType=cv2.BORDER_CONSTANT) * 25
        y, x = np.unravel_index(int(round_it.argmax()), round_it.shape)
        if round_it[y, x] >= SECOND_SHARE:
            share = rest[k] * ((np.abs(cells - y) <= 2)[:, None] & (np.abs(cells - x) <= 2)[None]).ravel()
            spot = np.array([share @ bells.x[k], share @ bells.y[k]]) / share.sum()
            if min(np.hypot(*(spot - taken)) for taken in (places[k], places[twin[k]])) > apart:   # no ring round one
                found[k] = spot
    return found


def _run(picture: NDArray[np.float32]) -> tuple[NDArray[np.float32], ...]:
    """Answers (2, 6) and maps (2, points, MAPS, MAPS) and (2, 3 points, MAPS, MAPS)."""
    answers, where, fine = _net().run(["answers", "where", "fine"], {"picture": picture})
    return answers, where, fine


@cache
def _net() -> Any:
    """The network, loaded once a process."""
    try:
        return quiet.network((resources.files("silhouette.reading") / "reader.onnx").read_bytes())
    except (ImportError, OSError, ValueError) as err:
        raise CutterError("The weights of the reader of outlines (reading/reader.onnx) are missing or damaged.",
                          do="Install the package again.") from err
