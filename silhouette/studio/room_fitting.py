"""Fits the tables of weights in ``cutout/room.py`` and prints them.

    python -m silhouette.studio.room_fitting ROOMS --figures FIGURES --photos PHOTOGRAPHS [--count 24] [--seed 1]

It looks at two kinds of turns, each with a picture of the empty room: those that ``studio/rooms.py`` wrote under ROOMS
(only ``tune_*``), and COUNT composites. For these a figure is laid over a photograph without people (``*.jpg`` under
PHOTOGRAPHS). The figures come from turnarounds before plain paper with exact masks: ``POSE/NNN.jpg`` and
``POSE/masks/NNN.png`` under FIGURES, where NNN is the angle; they were rendered from one body in the public domain, in
four poses. They are dressed anew in each turn, at times in the room's own colours. Every second pose and every second
photograph is kept aside for judging.

The map of the person's cutter is what ``cutout/person_net.py`` makes of each picture. The tables are fitted one after
the other, each to what comes of those before: the first look (LOCAL), the last look by an empty picture (ALONE,
WITH_PERSON) and by the turn itself (LEARNED, HIDDEN), and the promise (LOSS). LOSS also sees the empty pictures of
other rooms, and of the right one from another place or in another light. WITH_PERSON, LEARNED and HIDDEN were made so:

    python -m silhouette.studio.rooms ROOMS 16 41
    python -m silhouette.studio.rooms ROOMS 16 42 --photos PHOTOGRAPHS
    python -m silhouette.studio.room_fitting ROOMS --figures FIGURES --photos PHOTOGRAPHS --keep LOCAL ALONE

LOCAL, ALONE and LOSS are older: fitted on like composites, before there was a network to make the maps. New ones were
no better on turns kept aside.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import cycle
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from silhouette.cutout import mask_cleanup, person_net, plate, room
from silhouette.cutout.background_model import halved
from silhouette.cutout.plate import Floats
from silhouette.records import NO_FIGURE, Mask, Pixels

Rng = np.random.Generator
W, H = 756, 1008
"""Size of the composites, pixels."""
MARGIN = 30
"""Pixels of the photograph round the picture, so that a nudged camera still sees it."""
STOPS = 8
"""Pictures of a composite turn."""
EVERY = 3
"""Of a turn each so-many-th picture is learned from."""
PIXELS = 4000
"""Pixels that are learned from in a picture, at most, and as many again close to the figure's edge."""
NEAR, CLOSE = 61, 13
"""Width of the bands about the edge of the figure from which most of them are taken, pixels of the half picture."""
RIDGE = 2e-3
"""How far the weights are held to 0."""


@dataclass(frozen=True)
class Turn:
    """A turn and the room without the figure."""

    name: str
    empty: Pixels
    pictures: list[Pixels]
    truths: list[Mask]
    """(h, w) exact masks."""
    chances: list[NDArray[np.float32]]
    """What the person's cutter says of each picture."""


# ---------------------------------------------------------------------------------------------------------- composites


def _read(file: Path) -> Pixels:
    return np.asarray(cv2.imread(str(file)), np.uint8)


def _mask(file: Path) -> Mask:
    return np.asarray(cv2.imread(str(file), cv2.IMREAD_GRAYSCALE), np.uint8) > 127


@cache
def figure(picture: Path) -> tuple[Floats, Floats]:
    """The colours of a figure, (H, W, 3), carried on beyond its edge, and how far it covers each pixel, (H, W)."""
    pixels = _read(picture).astype(np.float32)
    mask = _mask(picture.parent / "masks" / f"{picture.stem}.png").astype(np.float32)
    inside = cv2.erode(mask, np.ones((3, 3)))
    inside = np.maximum(inside, mask * (1 - cv2.dilate(inside, np.ones((5, 5)))))  # fingers have no inside
    colours = np.where(inside[..., None] > 0, pixels, plate.fill(pixels, inside, across=1))
    cover = cv2.resize(cv2.GaussianBlur(mask, (0, 0), 0.7), (W, H), interpolation=cv2.INTER_CUBIC)
    large = cv2.resize(colours.astype(np.float32), (W, H), interpolation=cv2.INTER_CUBIC)
    return np.clip(large, 0, 255), np.clip(cover, 0, 1)


def place(rng: Rng, photo: Path) -> Floats:
    """A part of a photograph with a margin, sharpened where it had to be enlarged, (h, w, 3)."""
    picture: Floats = _read(photo).astype(np.float32)
    tall, wide = H + 2 * MARGIN, W + 2 * MARGIN
    scale = max(tall / picture.shape[0], wide / picture.shape[1]) * rng.uniform(1, 1.3)
    picture = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    y, x = (rng.integers(n - size + 1) for n, size in zip(picture.shape[:2], (tall, wide), strict=True))
    picture = picture[y : y + tall, x : x + wide]
    if scale > 1.2:
        picture = picture + picture - cv2.GaussianBlur(picture, (0, 0), scale * 0.8)
    return np.clip(picture[:, ::-1] if rng.random() < 0.5 else picture, 0, 255)


def dressed(rng: Rng, colours: Floats, cover: Floats, behind: Floats, like_room: bool) -> Floats:
    """The figure in other colours: two bands of cloth, plain or striped, some in the colours of the room."""
    shade = colours.mean(-1, keepdims=True) / (colours[cover > 0.9].mean() + 1e-3)
    result = colours * rng.uniform(0.6, 1.2) * rng.uniform(0.92, 1.08, 3)
    rows = np.flatnonzero((cover > 0.5).any(1))
    y, x = np.arange(H)[:, None], np.arange(W)[None]
    share = (y - rows[0]) / max(rows[-1] - rows[0], 1) + 0 * x
    for top, bottom in ((0.18, 0.5), (0.48, 0.95)):
        bare, hidden, striped = rng.random(3) < (0.4, 0.6 * like_room, 0.3)
        colour = rng.uniform(15, 230) * rng.uniform(0.7, 1.2, 3)
        lean, pitch, depth = rng.uniform(-1, 1), rng.uniform(0.1, 0.6), 0.25 * striped
        near = rng.uniform(0.9, 1.1)
        band = (share > top) & (share < bottom)
        own = behind[band & (cover > 0.9)]
        if hidden and len(own):
            colour = np.median(own, axis=0) * near
        if not bare:
            cloth = colour * shade ** rng.uniform(0.5, 1) * (1 + depth * np.sin((x + y * lean) * pitch))[..., None]
            result = np.where(band[..., None], cloth, result)
    return np.clip(result, 0, 255)


def _glow(rng: Rng, radius: tuple[float, float]) -> Floats:
    """A soft spot somewhere, (H, W, 1), 0 to 1."""
    y, x = np.mgrid[:H, :W].astype(np.float32)
    at, size = rng.uniform(0, (W, H)), rng.uniform(*radius)
    return np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / size**2)[..., None]


@dataclass(frozen=True)
class Shadow:
    """How the figure darkens the room all round the turn."""

    depth: float
    soft: float
    on_floor: bool
    lean: float
    """Of a shadow on the floor, columns a row; of one on the wall, as a share of 150 pixels."""
    squash: float


def light(rng: Rng, cover: Floats, shadow: Shadow) -> Floats:
    """What the light on the room is multiplied by, (H, W, 3): shadows, what the figure throws back, a lamp."""
    foot = float(np.flatnonzero((cover > 0.5).any(1))[-1])
    move = np.array([[1, 0, 150 * shadow.lean], [0, 1, 10]], np.float32)
    if shadow.on_floor:
        move = np.array([[1, shadow.lean, -shadow.lean * foot], [0, shadow.squash, foot * (1 - shadow.squash)]])
    dark = cv2.GaussianBlur(cv2.warpAffine(cover, move, (W, H)), (0, 0), shadow.soft)[..., None]
    result: Floats = 1 - shadow.depth * dark * rng.uniform(0.85, 1.15, 3)
    standing = cover * (np.arange(H)[:, None] > foot - 60)
    result = result * (1 - 0.4 * rng.random() * np.roll(cv2.GaussianBlur(standing, (0, 0), 8), 6, 0)[..., None])
    result *= 1 + 0.1 * rng.random() * cv2.GaussianBlur(cover, (0, 0), 30)[..., None] * rng.uniform(0.3, 1.5, 3)
    if rng.random() < 0.3:
        result *= 1 - rng.uniform(0.1, 0.4) * _glow(rng, (60, 220))
    if rng.random() < 0.3:
        result *= 1 + rng.uniform(-0.12, 0.15) * _glow(rng, (80, 300)) * np.array([0.8, 1, 1.15])
    return np.maximum(result, 0.02)


def _seen(rng: Rng, room_: Floats, nudge: float) -> Floats:
    """The place as a camera sees it that was nudged by up to so many pixels."""
    centre = (W / 2 + MARGIN, H / 2 + MARGIN)
    roll, zoom = nudge * rng.uniform(-0.03, 0.03), 1 + nudge * rng.uniform(-3e-4, 3e-4)
    move: Floats = cv2.getRotationMatrix2D(centre, roll, zoom)
    way, far = rng.uniform(0, 2 * np.pi), rng.uniform(0, nudge)
    move[:, 2] += np.array([np.cos(way), np.sin(way)]) * far - MARGIN
    seen = cv2.warpAffine(room_, move, (W, H), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    return np.clip(seen, 0, 255)


def _developed(rng: Rng, picture: Floats, noise: float, quality: int) -> Pixels:
    grain = rng.normal(size=picture.shape).astype(np.float32) * noise
    levels = np.clip(np.round(picture + grain), 0, 255).astype(np.uint8)
    return np.asarray(cv2.imdecode(cv2.imencode(".jpg", levels, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], 1), np.uint8)


def composed(rng: Rng, views: list[Path], photo: Path) -> Turn:
    """A turn of one figure before one photograph; the light changes by up to 15 %, the camera is nudged by 3 pixels."""
    behind = place(rng, photo)
    like_room, mirrored = rng.random(2) < (0.4, 0.5)
    clothes = int(rng.integers(1 << 30))
    shadow = Shadow(rng.uniform(0.2, 0.7), float(np.exp(rng.uniform(np.log(2), np.log(25)))), bool(rng.random() < 0.5),
                    rng.uniform(-1, 1), rng.uniform(-0.3, 0.35))
    noise, quality = rng.uniform(0.8, 4), int(rng.integers(80, 93))
    pictures, truths = [], []
    for k in range(STOPS):
        colours, cover = figure(views[(k * len(views)) // STOPS])
        if mirrored:
            colours, cover = colours[:, ::-1], cover[:, ::-1]
        step = np.array([[1, 0, rng.normal() * 4], [0, 1, 0]], np.float32)
        colours = cv2.warpAffine(colours, step, (W, H), borderMode=cv2.BORDER_REPLICATE)
        cover = cv2.warpAffine(np.ascontiguousarray(cover), step, (W, H))
        here = _seen(rng, behind, 3.0)
        colours = dressed(np.random.default_rng(clothes), colours, cover, here, like_room)
        shown = here * light(rng, cover, shadow) * (1 - cover[..., None]) + colours * cover[..., None]
        shown = shown * rng.uniform(0.87, 1.13) * rng.uniform(0.97, 1.03, 3)
        shown *= 1 + rng.uniform(-0.08, 0.08) * (_glow(rng, (300, 900)) - 0.5)
        pictures.append(_developed(rng, shown, noise, quality))
        truths.append(cover > 0.5)
    empty = _developed(rng, _seen(rng, behind, 0.0), noise, quality)
    return Turn(f"composite {photo.stem}", empty, pictures, truths, [person_net.look(p) for p in pictures])


def composites(figures: Path, photos: Path, count: int, seed: int, held: bool = False) -> Iterator[Turn]:
    """``count`` turns of the half that is learned from, or of the one kept aside."""
    poses = sorted(p for p in figures.iterdir() if p.is_dir())[held::2]
    files = sorted(photos.glob("*.jpg"))[held::2]
    if not poses or not files:
        raise SystemExit("there must be two poses and two photographs at least")
    for k, pose in zip(range(count), cycle(poses), strict=False):
        rng = np.random.default_rng([seed, k, held])
        yield composed(rng, sorted(pose.glob("*.jpg")), files[int(rng.integers(len(files)))])


def rendered(rooms: Path, half: str = "tune") -> Iterator[Turn]:
    """The turns that ``studio/rooms.py`` wrote."""
    for folder in sorted(rooms.glob(f"{half}_*")):
        rows = json.loads((folder / "truth.json").read_text())
        pictures, truths = [_read(folder / row["file"]) for row in rows], [_mask(folder / row["mask"]) for row in rows]
        yield Turn(folder.name, _read(folder / "empty.jpg"), pictures, truths, [person_net.look(p) for p in pictures])


# ------------------------------------------------------------------------------------------------------------- fitting


def logistic(x: Floats, figure_: NDArray[np.bool_]) -> Floats:
    """Weights and a constant, (m + 1,), of a logistic regression on (n, m) signs: Newton's steps."""
    mean, spread = x.mean(0), x.std(0) + 1e-6
    z = np.concatenate([(x - mean) / spread, np.ones((len(x), 1))], 1)
    weights = np.zeros(z.shape[1])
    hold = RIDGE * len(z) * np.diag([1.0] * (z.shape[1] - 1) + [0.0])
    for _ in range(25):
        chance = 1 / (1 + np.exp(-np.clip(z @ weights, -30, 30)))
        slope = z.T @ (chance - figure_) + hold @ weights
        bend = (z * (chance * (1 - chance))[:, None]).T @ z + hold + 1e-6 * np.eye(len(weights))
        step = np.linalg.solve(bend, slope)
        weights -= step
        if np.abs(step).max() < 1e-4:
            break
    scaled = weights[:-1] / spread
    return np.append(scaled, weights[-1] - scaled @ mean).astype(np.float32)


def chosen(rng: Rng, truth: Floats) -> NDArray[np.intp]:
    """Numbers of the pixels learned from: more of them the nearer to the figure's edge, none on it."""
    clear, figure_ = (truth < 0.1) | (truth > 0.9), (truth > 0.5).astype(np.uint8)
    near = cv2.dilate(figure_, np.ones((NEAR, NEAR), np.uint8)) > 0
    close = cv2.morphologyEx(figure_, cv2.MORPH_GRADIENT, np.ones((CLOSE, CLOSE), np.uint8)) > 0
    some = (np.flatnonzero(clear & v) for v in (near | (rng.random(truth.shape) < 0.3), close))
    return np.concatenate([rng.choice(v, min(len(v), PIXELS), replace=False) for v in some])


class Samples:
    """Signs and truth of some pixels of each picture, gathered for one table."""

    def __init__(self) -> None:
        self.signs: list[Floats] = []
        self.truths: list[NDArray[np.bool_]] = []

    def add(self, found: Floats, truth: Floats, at: NDArray[np.intp]) -> None:
        self.signs.append(found.reshape(len(found), -1)[:, at].T)
        self.truths.append(truth.ravel()[at] > 0.5)

    def table(self, without: tuple[int, ...] = ()) -> Floats:
        """The weights, 0 for the signs that this table goes without."""
        x, figure_ = np.concatenate(self.signs), np.concatenate(self.truths)
        used = [k for k in range(x.shape[1]) if k not in without]
        fitted = logistic(x[:, used].astype(np.float64), figure_)
        result = np.zeros(x.shape[1] + 1, np.float32)
        result[[*used, -1]] = fitted
        return result.round(2)


def _truth(mask: Mask, shape: tuple[int, ...]) -> Floats:
    return cv2.resize(mask.astype(np.float32), shape[1::-1], interpolation=cv2.INTER_AREA)


def first_signs(turns: list[Turn]) -> Floats:
    """LOCAL."""
    samples, rng = Samples(), np.random.default_rng(0)
    for turn in turns:
        for k in range(0, len(turn.pictures), EVERY):
            half = halved(turn.pictures[k])
            look = room.first_look(half, room.from_empty(turn.empty), None)
            truth = _truth(turn.truths[k], half.shape)
            samples.add(room.signs(look.picture, look.even, look.sigma), truth, chosen(rng, truth))
    return samples.table()


def learned(turn: Turn) -> room.Room | None:
    glimpses = [(halved(p), c) for p, c in zip(turn.pictures, turn.chances, strict=True)]
    return room.learn(glimpses, turn.pictures[0].shape[:2])


def last_signs(turns: list[Turn], from_turn: bool, person: bool) -> tuple[Samples, Samples]:
    """What the tables of the last look are fitted to: where the room is known, and where it is not."""
    known, hidden = Samples(), Samples()
    rng = np.random.default_rng(1)
    for turn in turns:
        behind = learned(turn) if from_turn else room.from_empty(turn.empty)
        if behind is None:
            continue
        for k in range(0, len(turn.pictures), EVERY):
            half = halved(turn.pictures[k])
            look = room.first_look(half, behind, turn.chances[k] if person else None)
            odds, flags = mask_cleanup.whole(look.odds)
            if NO_FIGURE in flags:
                continue
            near = room.around(odds)
            found, _ = room.second_signs(look, odds, near)
            truth = _truth(turn.truths[k], half.shape)[near]
            at = chosen(rng, truth)
            there = look.known[near].ravel()[at] > 0
            known.add(found, truth, at[there])
            hidden.add(found, truth, at[~there])
    return known, hidden


def spoilt(rng: Rng, empty: Pixels, other: Pixels) -> list[Pixels]:
    """Empty pictures that are not what they should be: another room, another place, another light."""
    h, w = empty.shape[:2]
    moved = np.array([[1, 0.02, rng.uniform(-60, 60)], [-0.02, 1, rng.uniform(-30, 30)]])
    way = rng.uniform(0, 2 * np.pi)
    y, x = np.mgrid[:h, :w]
    lit = 1 / (1 + np.exp(-((x - w / 2) * np.cos(way) + (y - h / 2) * np.sin(way)) / rng.uniform(10, 120)))
    darker = np.clip(empty * (0.25 + 0.75 * lit[..., None]) * np.array([1.15, 1, 0.85]), 0, 255).astype(np.uint8)
    return [np.asarray(cv2.resize(other, (w, h)), np.uint8), darker,
            np.asarray(cv2.warpAffine(empty, moved, (w, h), borderMode=cv2.BORDER_REFLECT), np.uint8)]


def told(turns: list[Turn]) -> tuple[Floats, Floats]:
    """What speaks for each cut, (n, 4), and the overlap with the truth that it reached, (n,)."""
    rng = np.random.default_rng(2)
    rows, reached = [], []
    for n, turn in enumerate(turns):
        empties = [turn.empty, turn.empty, *spoilt(rng, turn.empty, turns[n - 1].empty)]
        behinds: list[room.Room | None] = [*map(room.from_empty, empties), learned(turn)]
        for k, behind in enumerate(behinds):
            at = (n + k * EVERY) % len(turn.pictures)
            for person in (turn.chances[at], None):
                done = None if behind is None else room.weighed(turn.pictures[at], behind, person)
                if done is not None:
                    mask, truth = done.odds > 0, _truth(turn.truths[at], done.look.half.shape)[done.near] > 0.5
                    rows.append(room.evidence(done.odds, done.found, done.look.known[done.near], done.look.fit))
                    reached.append((mask & truth).sum() / max((mask | truth).sum(), 1))
    return np.array(rows), np.array(reached)


def promise(rows: Floats, reached: Floats) -> Floats:
    """LOSS: a promise too high counts half as much again as one too low."""

    def miss(weights: Floats) -> Floats:
        off = np.clip(1 - np.exp(np.minimum(rows @ weights, 0)), 0, 0.995) - reached
        return np.concatenate([np.where(off > 0, 1.5, 1) * off, 0.003 * weights])

    start, least, most = [0.9, 1, 1, -0.5], [0.1, 0, 0, -5], [3, 30, 30, 3]
    return least_squares(miss, start, bounds=(least, most), loss="soft_l1", f_scale=0.05).x.round(2)


def show(name: str, table: Floats) -> None:
    print(f"{name} = [{', '.join(f'{v:.2f}' for v in table)}]", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("rooms", type=Path, help="what studio/rooms.py wrote")
    parser.add_argument("--figures", type=Path, required=True, help="turnarounds before paper, with masks")
    parser.add_argument("--photos", type=Path, required=True, help="a folder of photographs without people")
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", nargs="*", default=[], help="tables to leave as they are")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    turns = [*rendered(options.rooms), *composites(options.figures, options.photos, options.count, options.seed)]

    def fitted(name: str, table: Floats) -> None:
        show(name, table)
        setattr(room, name, table)

    if "LOCAL" not in options.keep:
        fitted("LOCAL", first_signs(turns))
    if "ALONE" not in options.keep:
        fitted("ALONE", last_signs(turns, False, False)[0].table(without=(room.OWN, room.POSE)))
    if "WITH_PERSON" not in options.keep:
        fitted("WITH_PERSON", last_signs(turns, False, True)[0].table(without=(room.POSE,)))
    if "LEARNED" not in options.keep:
        known, hidden = last_signs(turns, True, True)
        fitted("LEARNED", known.table())
        fitted("HIDDEN", hidden.table(without=(3, *range(5, room.POSE))))
    if "LOSS" not in options.keep:
        fitted("LOSS", promise(*told(turns)))


if __name__ == "__main__":
    main()
