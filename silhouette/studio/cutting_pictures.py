"""Random studio pictures with exact masks, to teach the cutter what shadows, furniture and figures do to a backdrop.

Quick rather than true: bodies come as little pictures of their normals and of where on the body each pixel lies, and
are coloured, lit and shadowed flat in the picture. What must be right is the variety. Everything is drawn from one
random generator, so the same seed gives the same picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]
LONG = 504
"""Longer side of the pictures, pixels: what the cutter takes colours from."""
KINDS = ("grey", "white", "black", "pastel", "any", "skin")
LIMB_STEP = 5
"""Limb labels 0 to 5 are stored as shares of this."""


@dataclass(frozen=True)
class Seen:
    """One posed body seen from somewhere, cropped to itself."""

    normals: bytes
    """JPEG of the normals in the camera's frame (right, down, forward), -1 to 1 as 0 to 255."""
    place: bytes
    """JPEG of where on the body at rest: across, up, limb label; 0 to 1 as 0 to 255."""
    mask: bytes
    """1-bit PNG."""


@dataclass(frozen=True)
class Placed:
    """A body put into a picture: (h, w) and (h, w, 3) arrays of the picture's size, and its box."""

    alpha: Floats
    normals: Floats
    place: Floats
    box: tuple[int, int, int, int]

    @property
    def limb(self) -> Floats:
        return np.round(self.place[..., 2] * LIMB_STEP).astype(np.float32)


class Painter:
    """Draws pictures of one size from one random generator."""

    def __init__(self, rng: np.random.Generator, h: int, w: int) -> None:
        self.rng, self.h, self.w = rng, h, w
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        self.y, self.x = y, x

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def smooth(self, cells: int, size: float) -> Floats:
        """A smooth random field with about ``cells`` waves and standard deviation ``size``."""
        grid = self.rng.normal(0, 1, (cells + 2, cells + 2)).astype(np.float32)
        return size * cv2.resize(grid, (self.w, self.h), interpolation=cv2.INTER_CUBIC)

    def rough(self, low: int = 8, high: int = 128) -> Floats:
        """A cloudy random field of standard deviation 1."""
        field, cells = np.zeros((self.h, self.w), np.float32), low
        while cells <= high:
            field += self.smooth(cells, 1.0) / (cells / low) ** self.between(0.3, 1.0)
            cells *= 2
        return field / (field.std() + 1e-6)

    def colour(self, kind: str) -> Floats:
        """BGR, linear, 0 to 1."""
        rng = self.rng
        if kind == "skin":
            dark = rng.uniform()
            tone = np.array([0.55, 0.68, 0.88]) * (1 - dark) + np.array([0.10, 0.16, 0.26]) * dark
            value = tone * rng.normal(1, 0.06, 3)
        elif kind == "pastel":
            value = self.between(0.5, 0.9) + rng.uniform(-0.15, 0.15, 3)
        elif kind == "any":
            value = rng.uniform(0.02, 0.9, 3)
        else:
            spans = {"grey": (0.03, 0.95, 0.02), "white": (0.75, 0.98, 0.02), "black": (0.01, 0.06, 0.08)}
            low, high, tint = spans[kind]
            value = self.between(low, high) * (1 + rng.normal(0, tint, 3))
        return np.clip(value, 0.004, 1).astype(np.float32)

    def one_of(self, *shares: float) -> Floats:
        """A colour of a random kind; shares in the order of KINDS."""
        return self.colour(str(self.rng.choice(KINDS[: len(shares)], p=np.array(shares) / sum(shares))))

    def cloth(self, colour: Floats, place: Floats | None = None) -> Floats:
        """(h, w, 3) a plain, mottled, striped or printed stuff of a colour."""
        out = np.ones((self.h, self.w, 1), np.float32) * colour
        draw = self.rng.random()
        if draw < 0.25:
            return out * np.exp(self.rough()[..., None] * self.between(0.03, 0.35))
        if draw < 0.37 and place is not None:
            wave = np.sin(self.between(20, 160) * (place[..., 1] + self.between(-0.3, 0.3) * place[..., 0]))
            return np.where((wave > self.between(-0.5, 0.5))[..., None], out, self.colour("any"))
        if draw < 0.47:
            return np.where((self.rough(10, 80) > self.between(-0.5, 1.2))[..., None], self.colour("any"), out)
        return out

    def blob(self, x: float, y: float, rx: float, ry: float) -> Floats:
        """(h, w) a wavy disc, antialiased."""
        turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
        radius = np.ones(40)
        for k in range(1, 6):
            radius += self.between(-0.2, 0.2) / k * np.cos(k * turn + self.between(0, 6.3))
        ring = np.stack([x + rx * radius * np.cos(turn), y + ry * radius * np.sin(turn)], 1)
        mask = np.zeros((self.h, self.w), np.uint8)
        cv2.fillPoly(mask, [np.round(ring * 8).astype(np.int32)], 255, cv2.LINE_AA, 3)
        return mask.astype(np.float32) / 255

    def wall(self) -> tuple[Floats, Floats, Floats]:
        """The empty studio: albedo (h, w, 3), light on it (h, w), and the wall's colour."""
        wall = self.one_of(0.30, 0.22, 0.10, 0.15, 0.18, 0.05)
        albedo = np.ones((self.h, self.w, 3), np.float32) * wall
        x, y = (self.x / self.w - 0.5) * 2, (self.y / self.h - 0.5) * 2
        if self.chance(0.5):
            albedo = self._floor(albedo, wall, self.between(0.62, 0.92))
        if self.chance(0.25):
            clouds = self.rough(int(self.rng.integers(3, 12)), 64)
            albedo = albedo * np.exp(self.between(0.005, 0.05) * clouds)[..., None]
        if self.chance(0.12):
            folds = np.sin(x * self.between(5, 30) + 1.5 * self.smooth(2, 1))
            albedo = albedo * (1 + self.between(0.01, 0.12) * folds)[..., None]
        light = 1 + self.between(-0.35, 0.35) * x + self.between(-0.35, 0.35) * y
        far = (x - self.between(-0.6, 0.6)) ** 2 + (y - self.between(-0.8, 0.5)) ** 2 * self.between(0.2, 1)
        light = light * np.exp(-self.between(0, 0.5) * far)
        if self.chance(0.25):
            spot = ((x - self.between(-0.5, 0.5)) / self.between(0.4, 1.2)) ** 2
            spot = spot + ((y - self.between(-0.6, 0.3)) / self.between(0.4, 1.2)) ** 2
            light = light * (0.35 + self.between(0.5, 1.5) * np.exp(-spot))
        light = light * np.exp(self.smooth(int(self.rng.integers(1, 4)), self.between(0, 0.12)))
        return albedo, (np.maximum(light, 0.08) / max(float(light.mean()), 0.1)).astype(np.float32), wall

    def _floor(self, albedo: Floats, wall: Floats, horizon: float) -> Floats:
        """A floor below the horizon, sharp or as a sweep, perhaps with a skirting."""
        if self.chance(0.6):
            floor = wall * self.between(0.5, 1.3) * self.rng.normal(1, 0.02, 3)
        else:
            floor = self.one_of(0.4, 0.1, 0.1, 0.2, 0.2)
        soft = self.between(0.5, 40 if self.chance(0.5) else 2)
        below = (self.y - horizon * self.h - self.between(-0.03, 0.03) * (self.x - self.w / 2)) / soft
        share = (1 / (1 + np.exp(-np.clip(below, -20, 20))))[..., None]
        ground = np.ones((self.h, self.w, 1), np.float32) * np.clip(floor, 0.005, 1)
        if self.chance(0.3):
            ground = ground * np.exp(self.between(0.02, 0.15) * self.rough())[..., None]
        albedo = albedo * (1 - share) + ground * share
        if self.chance(0.5):
            lean = self.between(-0.02, 0.02) * (self.x - self.w / 2)
            top = horizon * self.h - self.h * self.between(0.008, 0.05)
            band = ((self.y - lean > top) & (self.y - lean < horizon * self.h))[..., None]
            other = albedo * self.between(0.5, 1.6) if self.chance(0.5) else self.one_of(1, 1, 0, 0, 1)
            albedo = np.where(band, other, albedo)
        return albedo.astype(np.float32)

    def furniture(self, albedo: Floats, middle: float) -> Floats:
        """Things at the sides that are no figure: boards, stools and stands, bundles."""
        for _ in range(int(self.rng.integers(1, 4))):
            x = (self.between(0, 0.22) if self.chance(0.5) else self.between(0.78, 1)) * self.w
            if abs(x / self.w - middle) < 0.2:
                continue
            mask = np.zeros((self.h, self.w), np.uint8)
            draw = self.rng.random()
            wide, tall = self.between(0.04, 0.25) * self.w, self.between(0.1, 0.9) * self.h
            foot = self.h * self.between(0.6, 1.05)
            if draw < 0.6:
                cv2.rectangle(mask, (int(x - wide / 2), int(foot - tall)), (int(x + wide / 2), int(foot)), 255, -1)
            elif draw < 0.84:
                thick = max(1, int(self.h * self.between(0.004, 0.02)))
                seat = int(foot - tall * self.between(0.7, 0.97))
                cv2.rectangle(mask, (int(x - wide / 2), int(foot - tall)), (int(x + wide / 2), seat), 255, -1)
                for leg in self.rng.uniform(-0.6, 0.6, int(self.rng.integers(1, 5))):
                    ends = (int(x + wide * leg * 0.6), int(foot - tall)), (int(x + wide * leg), int(foot))
                    cv2.line(mask, *ends, 255, thick, cv2.LINE_AA)
            else:
                soft = self.blob(x, self.h * self.between(0.3, 0.95), wide / 2, tall / 3)
                mask = np.round(soft * 255).astype(np.uint8)
            share = mask.astype(np.float32)[..., None] / 255
            lit = np.clip(1 + self.smooth(3, 0.2), 0.3, 2)[..., None]
            albedo = albedo * (1 - share) + self.cloth(self.colour("any")) * share * lit
        return albedo

    def place(self, body: Seen, tall: float, middle: float, ground: float) -> Placed:
        """Put a body into the picture, ``tall`` and ``ground`` as shares of the height, ``middle`` of the width."""
        normals, place, mask = (np.asarray(cv2.imdecode(np.frombuffer(b, np.uint8), cv2.IMREAD_UNCHANGED))
                                for b in (body.normals, body.place, body.mask))
        mirrored = self.chance(0.5)
        if mirrored:
            normals, place, mask = normals[:, ::-1], place[:, ::-1], mask[:, ::-1]
        scale = tall * self.h / mask.shape[0]
        if mask.shape[1] * scale > self.w * 0.98 and self.chance(0.9):
            scale = self.w * 0.98 / mask.shape[1]
        size = max(2, round(mask.shape[1] * scale)), max(2, round(mask.shape[0] * scale))
        corner = round(middle * self.w - size[0] / 2), round(ground * self.h - size[1])
        layers = [cv2.resize(np.ascontiguousarray(a), size, interpolation=cv2.INTER_AREA).astype(np.float32)
                  for a in (mask, normals, place)]
        layers[1] = layers[1][..., ::-1] / 127.5 - 1
        if mirrored:
            layers[1][..., 0] *= -1
        alpha, facing, where = (self._laid(a, corner) for a in (layers[0] / 255, layers[1], layers[2][..., ::-1] / 255))
        return Placed(alpha, facing, where, (*corner, *size))

    def _laid(self, image: Floats, corner: tuple[int, int]) -> Floats:
        out = np.zeros((self.h, self.w, *image.shape[2:]), np.float32)
        (x, y), (ih, iw) = corner, image.shape[:2]
        x0, y0, x1, y1 = max(0, x), max(0, y), min(self.w, x + iw), min(self.h, y + ih)
        if x1 > x0 and y1 > y0:
            out[y0:y1, x0:x1] = image[y0 - y : y1 - y, x0 - x : x1 - x]
        return out

    def shadows(self, alpha: Floats, box: tuple[int, int, int, int]) -> Floats:
        """(h, w) share of the light that is left: cast on wall and floor by up to three lamps, and under the feet."""
        x, y, wide, tall = box
        ground, middle = y + tall, x + wide / 2
        left = np.ones((self.h, self.w), np.float32)
        for _ in range(int(self.rng.choice([0, 1, 1, 2, 2, 3]))):
            depth = self.between(0.1, 0.65) if self.chance(0.6) else self.between(0.6, 0.96)
            if self.chance(0.6):
                size, rest = self.between(0.95, 1.7), np.array([middle, ground - tall * 0.5])
                turn = np.array([[size, self.between(-0.15, 0.15)], [0, size * self.between(0.85, 1.1)]])
                to = rest + np.array([self.between(-0.7, 0.7) * self.w, self.between(-0.15, 0.2) * self.h])
            else:
                rest = to = np.array([middle, ground - tall * 0.02])
                turn = np.array([[1, self.between(-2.2, 2.2)], [0, self.between(-0.5, 0.6)]])
            cast = cv2.warpAffine(alpha, np.column_stack([turn, to - turn @ rest]), (self.w, self.h))
            soft = self.between(0.4, 3) if self.chance(0.5) else self.between(3, 18)
            left *= 1 - depth * np.clip(cv2.GaussianBlur(cast, (0, 0), soft), 0, 1)
        if self.chance(0.6):
            under = self.blob(middle, ground - tall * 0.01, wide * self.between(0.2, 0.6) + 2,
                              tall * self.between(0.01, 0.05) + 1)
            soft = tall * self.between(0.005, 0.03) + 0.5
            left *= 1 - self.between(0.1, 0.5) * cv2.GaussianBlur(under, (0, 0), soft)
        return left

    def light_on(self, body: Placed) -> Floats:
        """(h, w) light on the body from one or two lamps and the room."""
        total = np.full((self.h, self.w), self.between(0.15, 0.8), np.float32)
        for _ in range(int(self.rng.integers(1, 3))):
            lamp = self.rng.normal(0, 1, 3) * [1, 0.7, 0.8]
            lamp[2] = -abs(lamp[2]) * (self.between(-0.4, 1) if self.chance(0.25) else 1)
            lamp[1] = -abs(lamp[1]) if self.chance(0.8) else lamp[1]
            lamp /= np.linalg.norm(lamp) + 1e-6
            wrap = self.between(0, 0.4)
            facing = (body.normals @ lamp.astype(np.float32) + wrap) / (1 + wrap)
            total += self.between(0.3, 1.1) * np.clip(facing, 0, 1)
        return total

    def dressed(self, body: Placed, wall: Floats) -> Floats:
        """(h, w, 3) skin, hair and clothes; now and then in the wall's own colour, or all of one (clay, bronze)."""

        def near() -> Floats:
            return np.clip(wall * self.rng.normal(1, 0.03, 3) * self.between(0.75, 1.3), 0.004, 1).astype(np.float32)

        def stuff() -> Floats:
            return near() if self.chance(0.22) else self.one_of(0.2, 0.15, 0.2, 0.1, 0.3, 0.05)

        draw, limb, up = self.rng.random(), body.limb, body.place[..., 1]
        if draw < 0.12:
            return self.cloth(stuff(), body.place)
        skin = near() if draw < 0.2 else self.colour("skin")
        out = self.cloth(skin) if self.chance(0.1) else np.ones((self.h, self.w, 1), np.float32) * skin
        layers: list[tuple[NDArray[np.bool_], Floats]] = []
        if self.chance(0.72):
            top, bottom, waist = stuff(), stuff(), self.between(0.5, 0.6)
            bottom = top if self.chance(0.3) else bottom
            layers.append(((limb == 0) & (up > waist), top))
            if self.chance(0.6):
                layers.append(((limb == 2) | (limb == 3), top))
            layers.append(((limb == 0) & (up <= waist), bottom))
            if self.chance(0.8):
                layers.append(((limb >= 4) & (up > self.between(0, 0.5)), bottom))
            if self.chance(0.4):
                layers.append(((limb >= 4) & (up < 0.06), stuff()))
        if self.chance(0.7):
            layers.append(((limb == 1) & (up > self.between(0.9, 0.97)), self.one_of(1, 0, 1, 0, 1, 1)))
        for where, colour in layers:
            out = np.where(where[..., None], self.cloth(colour, body.place), out)
        return out

    def worn_and_held(self, body: Placed) -> list[tuple[Floats, Floats, bool]]:
        """Hair, a skirt or bundle, a pole, a thing in the hand: (alpha, colour, lies in front of the body)."""
        out: list[tuple[Floats, Floats, bool]] = []
        limb, solid, tall = body.limb, body.alpha > 0.5, body.box[3]

        def where(mask: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
            rows, cols = np.nonzero(mask & solid)
            return rows, cols

        if self.chance(0.35):
            head = cv2.erode(((limb == 1) & (body.place[..., 1] > 0.82)).astype(np.uint8), np.ones((3, 3))) > 0
            rows, cols = where(head)
            if len(rows) > 20:
                hair = self.blob(cols.mean(), rows.mean() - self.between(-0.1, 0.3) * np.ptp(rows),
                                 np.ptp(cols) * self.between(0.4, 0.75) + 1, np.ptp(rows) * self.between(0.35, 0.8) + 1)
                out.append((hair, self.one_of(1, 0, 1, 0, 1, 1), False))
        rows, cols = where(limb == 0)
        if self.chance(0.1) and len(rows) > 20:
            skirt = self.blob(cols.mean(), rows.mean() + self.between(0, 0.6) * np.ptp(rows),
                              np.ptp(cols) * self.between(0.4, 0.8) + 1, np.ptp(rows) * self.between(0.3, 0.7) + 1)
            out.append((skirt, self.one_of(1, 1, 1, 1, 1), True))
        rows, cols = where(solid)
        if self.chance(0.15) and len(rows):
            at = int(self.rng.integers(len(rows)))
            lean = np.radians(90 + self.rng.normal(0, 25)) if self.chance(0.7) else self.between(0, np.pi)
            reach = np.array([np.cos(lean), np.sin(lean)]) * self.between(0.2, 0.7) * tall
            ends = [tuple(np.round((np.array([cols[at], rows[at]]) + s * reach) * 8).astype(int)) for s in (-1, 1)]
            pole = np.zeros((self.h, self.w), np.uint8)
            cv2.line(pole, ends[0], ends[1], 255, max(1, int(tall * self.between(0.004, 0.03))), cv2.LINE_AA, 3)
            out.append((pole.astype(np.float32) / 255, self.colour("any"), False))
        rows, cols = where((limb == 2) | (limb == 3))
        if self.chance(0.12) and len(rows) > 10:
            at, size = int(self.rng.integers(len(rows))), tall * self.between(0.02, 0.09)
            held = self.blob(cols[at], rows[at], size, size * self.between(0.5, 2))
            out.append((held, self.colour("any"), True))
        return out


def compose(rng: np.random.Generator, bodies: list[Seen]) -> tuple[NDArray[np.uint8], Floats, Floats]:
    """One random picture.

    Returns
    -------
    picture : (h, w, 3) uint8, BGR
    alpha : (h, w) float32, 0 to 1
        The figure's share of each pixel; all 0 where nobody is there.
    backdrop : (h, w, 3) float32
        What the picture would be without figure and shadows, BGR levels.
    """
    shape = float(rng.choice([0.75, 0.5625, 0.667, 1.0, 1.333], p=[0.6, 0.18, 0.1, 0.06, 0.06]))
    h, w = (LONG, round(LONG * shape)) if shape <= 1 else (round(LONG / shape), LONG)
    if rng.random() < 0.3:
        h, w = round(h * 0.8), round(w * 0.8)
    paint = Painter(rng, h, w)
    albedo, light, wall = paint.wall()
    tall = paint.between(0.45, 0.92) if paint.chance(0.9) else paint.between(0.2, 0.45)
    middle, ground = 0.5 + rng.normal(0, 0.08), paint.between(max(tall + 0.02, 0.75), 0.97) if tall < 0.93 else 0.98
    if paint.chance(0.06):
        ground += paint.between(0.05, 0.3)
    nobody = paint.chance(0.06)
    body = paint.place(bodies[int(rng.integers(len(bodies)))], tall, middle, ground)
    if paint.chance(0.6 if nobody else 0.25):
        albedo = paint.furniture(albedo, middle)
    empty = albedo * light[..., None]
    if nobody:
        return _photograph(paint, empty, empty, np.zeros((h, w), np.float32))
    figure, alpha = _figure(paint, body, wall)
    if paint.chance(0.04):
        aside = middle + float(rng.choice([-1, 1])) * paint.between(0.22, 0.4)
        other = paint.place(bodies[int(rng.integers(len(bodies)))], tall * paint.between(0.7, 1.1), aside, ground)
        theirs = paint.dressed(other, wall) * paint.light_on(other)[..., None] * 0.8
        figure = figure * alpha[..., None] + theirs * (1 - alpha[..., None])
        alpha = np.maximum(alpha, other.alpha)
    # Light that coloured walls throw back fills their shadows.
    tint = 1 + rng.normal(0, 0.03 if paint.chance(0.75) else 0.1, 3).astype(np.float32)
    lit = empty * paint.shadows(alpha, body.box)[..., None] ** tint
    return _photograph(paint, lit * (1 - alpha[..., None]) + figure * alpha[..., None], empty, alpha)


def _figure(paint: Painter, body: Placed, wall: Floats) -> tuple[Floats, Floats]:
    """The lit figure with what it wears and holds, (h, w, 3), and its share of each pixel, (h, w)."""
    light = paint.light_on(body)
    solid = light[body.alpha > 0.5]
    light = light / max(0.2, float(np.percentile(solid, 80)) if len(solid) else 1.0)
    light = light * (paint.between(0.6, 1.25) if paint.chance(0.9) else paint.between(0.12, 0.6))
    if paint.chance(0.2):
        light = light * np.clip(1 + paint.smooth(12, paint.between(0.05, 0.25)), 0.3, 2)
    figure, alpha = paint.dressed(body, wall) * light[..., None], body.alpha
    for share, colour, in_front in paint.worn_and_held(body):
        layer = paint.cloth(colour) * np.clip(0.8 + paint.smooth(6, 0.2), 0.2, 1.4)[..., None]
        over = share[..., None] if in_front else 1 - np.clip(body.alpha, 0, 1)[..., None]
        figure = figure * (1 - over) + layer * over
        alpha = np.maximum(alpha, share)
    return figure, np.clip(alpha, 0, 1)


def _photograph(paint: Painter, scene: Floats, empty: Floats,
                alpha: Floats) -> tuple[NDArray[np.uint8], Floats, Floats]:
    """Lens, exposure, tone curve, noise and JPEG."""
    rng = paint.rng
    exposure, balance = paint.between(0.55, 1.3), rng.normal(1, 0.04, 3).astype(np.float32)
    gamma = 1 / paint.between(1.8, 2.6)

    def levels(light: Floats) -> Floats:
        return np.clip(light * exposure * balance, 0, 1).astype(np.float32) ** gamma * 255

    if paint.chance(0.06):
        scene = scene + cv2.GaussianBlur(scene, (0, 0), paint.between(5, 30)) * paint.between(0.03, 0.2)
    blur = paint.between(0.25, 0.9) if paint.chance(0.9) else paint.between(0.9, 2.2)
    picture = levels(cv2.GaussianBlur(scene.astype(np.float32), (0, 0), blur))
    size = paint.between(0.3, 1.5) if paint.chance(0.75) else paint.between(1.5, 7)
    noise = rng.normal(0, 1, picture.shape).astype(np.float32)
    if paint.chance(0.5):
        noise = noise.mean(2, keepdims=True) * 0.8 + noise * 0.5
    if paint.chance(0.5):
        coarse = cv2.GaussianBlur(rng.normal(0, 1, picture.shape).astype(np.float32), (0, 0), 1.2)
        noise = 0.7 * noise + 1.75 * coarse
    picture = picture + noise * size * (1 if paint.chance(0.5) else np.sqrt(np.clip(picture, 5, 255) / 120))
    out = np.clip(np.round(picture), 0, 255).astype(np.uint8)
    if paint.chance(0.7):
        quality = int(paint.between(55, 97))
        out = cv2.imdecode(cv2.imencode(".jpg", out, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], cv2.IMREAD_COLOR)
    return out, alpha, levels(empty)
