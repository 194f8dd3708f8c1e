"""Photographs of a figure in a room, with the exact mask of the figure.

    stage = Stage(scene, camera)
    picture, mask = stage.shoot(figure, angle)

Light is counted in linear units; the picture is turned to sRGB at the very end, then gets its noise. Edges are
antialiased by drawing the figure at twice the size; the mask holds the pixels whose middle the figure covers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.studio.cameras import Camera
from silhouette.studio.raster import Eye, Mesh, draw, joined, metres, turned, vertex_normals
from silhouette.studio.room import Backdrop, Colour, Floats, Lamp, Shadows, furnished, kept_away, surfaces

GREY_PAPER = Backdrop()
KEY = Lamp((-2.2, -2.6, 2.7), 0.8, 0.35)
FILL = Lamp((2.6, -2.6, 1.9), 0.25, 0.6)


@dataclass(frozen=True)
class Scene:
    """A room, its light, and how the camera takes it."""

    backdrop: Backdrop = GREY_PAPER
    lamps: tuple[Lamp, ...] = (KEY, FILL)
    ambient: float = 0.22
    """Light from everywhere, in the lamps' units; half of it comes from above and shades the floor round the feet."""
    ambient_colour: Colour = (1.0, 1.0, 1.0)
    exposure: float = 1.0
    vignette: float = 0.1
    """How much darker the corners are, 0 to 1."""
    noise: float = 1.5
    """Standard deviation of a mid grey in 8-bit steps."""
    blur_px: float = 0.0
    """Length of a sideways motion blur of the figure, pixels."""
    gloss: float = 0.06
    """Strength of the sheen on skin and cloth."""
    seed: int = 0


@dataclass(frozen=True, eq=False)
class Posed:
    """A figure ready to be shot: normals, and how open every vertex is to the room around it (0 to 1)."""

    mesh: Mesh
    normals: Floats
    openness: Floats
    own: int | None = None
    """How many of the triangles, the first ones, are the figure; the rest (a plinth, a chair) turns along and throws
    shadows, but is not in the mask. None: all."""


def posed(mesh: Mesh, stand: Mesh | None = None) -> Posed:
    """Work out once what stays the same while the figure turns; it may stand or sit on something that is not figure."""
    own = None if stand is None else len(mesh.triangles)
    mesh = mesh if stand is None else joined([mesh, stand])
    normals = vertex_normals(mesh.points, mesh.triangles)
    open_to = np.full(len(mesh.points), 0.15)
    weight = np.full(len(mesh.points), 0.15)
    for height in (15, 50):
        for azimuth in range(0, 360, 60):
            a, e = np.radians(azimuth + height), np.radians(height)
            way = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
            position = tuple(np.array([0, 0, 1.0]) + 10 * way)
            eye = Eye(position, (0.0, 0.0, 1.0), 256 / 2 * 10 / 1.35, 256, 256)  # type: ignore[arg-type]
            facing = np.maximum(normals @ way, 0)
            buffer = draw(mesh.points, mesh.triangles, eye, "s")[1]
            open_to += facing * _seen(mesh.points, normals, buffer, eye, 0.03)
            weight += facing
    return Posed(mesh, normals, open_to / weight, own)


def _seen(points: Floats, normals: Floats, depth: NDArray[np.float32], eye: Eye, slack: float, spread: float = 1.0
          ) -> Floats:
    """(n,) share of each vertex that the eye sees, by comparing its distance with the drawn one round about."""
    at = eye.project(points + normals * slack / 2)
    total = np.zeros(len(points))
    for dx, dy in ((0, 0), (1, 0.4), (-0.4, 1), (-1, -0.4), (0.4, -1)):
        u = np.clip((at[:, 0] + dx * spread).astype(int), 0, eye.width - 1)
        v = np.clip((at[:, 1] + dy * spread).astype(int), 0, eye.height - 1)
        total += at[:, 2] < metres(depth[v, u]) + slack
    return total / 5


@dataclass(frozen=True)
class Standing:
    """Where a figure stands against its spot."""

    shift: tuple[float, float] = (0.0, 0.0)
    """Picture right and away from the camera, metres."""
    lean: tuple[float, float] = (0.0, 0.0)
    """How far a point 1.7 m above the floor has moved the same two ways, metres; the feet stay."""


@dataclass(frozen=True)
class Layer:
    """One thing as the camera sees it."""

    light: NDArray[np.float32]
    """(h, w, 3) linear, red first, times ``cover``."""
    cover: NDArray[np.float32]
    """(h, w) share of each pixel that it covers."""
    box: tuple[slice, slice]
    """Rows and columns of the picture that it fills."""

    def lay_on(self, picture: NDArray[np.float32]) -> None:
        """Paint it over a picture, in place."""
        picture[self.box] = picture[self.box] * (1 - self.cover[..., None]) + self.light

    def grown(self, by: int, size: tuple[int, ...]) -> Layer:
        """The same with a wider box, so that it can be smeared or moved."""
        rows, columns = self.box
        top, left = min(by, rows.start), min(by, columns.start)
        low, right = min(by, size[0] - rows.stop), min(by, size[1] - columns.stop)
        room = ((top, low), (left, right))
        box = (slice(rows.start - top, rows.stop + low), slice(columns.start - left, columns.stop + right))
        return Layer(np.pad(self.light, (*room, (0, 0))), np.pad(self.cover, room), box)

    def through(self, step: Callable[[NDArray[np.float32]], Any]) -> Layer:
        """Light and cover put through the same step, picture by picture."""
        return Layer(np.asarray(step(self.light), np.float32), np.asarray(step(self.cover), np.float32), self.box)

    def smeared(self, length: float, size: tuple[int, ...]) -> Layer:
        """With motion blur of this many pixels along the rows, in a picture of (h, w) size."""
        wide = self.grown(round(length), size)
        kernel = np.full((1, max(2, round(length))), 1 / max(2, round(length)), np.float32)
        return wide.through(lambda image: cv2.filter2D(image, -1, kernel))

    def leaned(self, pixels: float, size: tuple[int, ...]) -> Layer:
        """Sheared sideways: its top moves by this many pixels to the picture's right, its bottom row stays."""
        wide = self.grown(int(abs(pixels)) + 2, size)
        height, width = wide.cover.shape
        bottom = self.box[0].stop - wide.box[0].start
        k = pixels / max(self.box[0].stop - self.box[0].start, 1)
        shear = np.array([[1.0, -k, k * bottom], [0.0, 1.0, 0.0]])
        return wide.through(lambda image: cv2.warpAffine(image, shear, (width, height)))


class Stage:
    """One room with one camera; shoots any figure at any angle."""

    OVER = 2

    def __init__(self, scene: Scene, camera: Camera, things: Mesh | None = None) -> None:
        """``things``: furniture that never moves and stands behind the figure."""
        self.scene, self.camera = scene, camera
        pitch = np.radians(camera.tilt_deg)
        position = (0.0, -camera.distance_m, camera.height_m)
        target = (0.0, position[1] + float(np.cos(pitch)), position[2] + float(np.sin(pitch)))
        aim = (camera.aim[0] * max(camera.width, camera.height), camera.aim[1] * max(camera.width, camera.height))
        self.eye = Eye(position, target, camera.focal_px, camera.width, camera.height, aim)
        k = self.OVER
        self.fine = Eye(position, target, camera.focal_px * k, camera.width * k, camera.height * k,
                        (aim[0] * k, aim[1] * k))
        sky = Lamp((0.0, -0.3, 5.0), scene.ambient * 0.5, 1.1, scene.ambient_colour)
        self.lamps = (*scene.lamps, sky)
        room = surfaces(scene.backdrop, self.eye)
        if things is not None:
            room = furnished(room, things, self.eye)
        self.flat = (room.albedo * scene.ambient * 0.55 * np.array(scene.ambient_colour) + room.glow).astype(np.float32)
        self.lit, self.shadows = [], []
        for lamp in self.lamps:
            way, strength = lamp.reach(room.points)
            facing = np.maximum((way * room.normals).sum(-1), 0) * strength
            if things is not None:
                facing *= 1 - kept_away(lamp, room.points, things)
            self.lit.append((facing[..., None] * room.albedo * np.array(lamp.colour)).astype(np.float32))
            self.shadows.append(Shadows(lamp, room.points))
        self.bounce = self._bounce(room.albedo)
        x = (np.arange(camera.width) + 0.5) / camera.width * 2 - 1
        y = (np.arange(camera.height) + 0.5) / camera.height * 2 - 1
        fall = 1 - scene.vignette * np.clip((x[None] ** 2 + y[:, None] ** 2) / 1.6, 0, 1.3)
        self.gain = (fall * scene.exposure).astype(np.float32)[..., None]
        self.rng = np.random.default_rng(scene.seed)

    def _bounce(self, albedo: Floats) -> Floats:
        """Colour of the light that the room throws back on the figure."""
        mean = np.asarray(albedo.reshape(-1, 3).mean(axis=0))
        return 0.5 + 0.5 * mean / max(float(mean.max()), 1e-6)

    def shoot(self, figure: Posed, angle: float, others: tuple[Posed, ...] = (), at: Standing | None = None
              ) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
        """Take one picture.

        Parameters
        ----------
        figure : Posed
        angle : float
            Where the camera stands round the figure, degrees (see records.py): the figure is turned, the camera stays.
        others : tuple of Posed
            Furniture and other people; they stand as they are and are not in the mask. What stands nearer to the
            camera than the turning axis is drawn over the figure.
        at : Standing
            How far the figure is off its spot or leans.

        Returns
        -------
        picture : (h, w, 3) uint8 BGR
        mask : (h, w) bool
        """
        shown, layer, over = self.layers(figure, angle, others, at)
        mask = self.mask(figure, angle, at)
        for other in over:
            mask[other.box] &= other.cover < 0.5
        if self.scene.blur_px > 1:
            layer = layer.smeared(self.scene.blur_px, mask.shape)
        for each in (layer, *over):
            each.lay_on(shown)
        return self.develop(shown), mask

    def mask(self, figure: Posed, angle: float, at: Standing | None = None) -> NDArray[np.bool_]:
        """(h, w) the pixels whose middle the figure covers, less what it stands on where that is nearer."""
        points, _ = _placed(figure, angle, at)
        if figure.own is None:
            return draw(points, figure.mesh.triangles, self.eye, "m")[1] < 1
        depth = draw(points, figure.mesh.triangles[: figure.own], self.eye, "m")[1].copy()
        return (depth < 1) & (depth <= draw(points, figure.mesh.triangles[figure.own :], self.eye, "m")[1])

    def empty(self, others: tuple[Posed, ...] = ()) -> NDArray[np.uint8]:
        """The room without the figure."""
        shown = self._room([self._black(o.mesh.points, o.mesh.triangles) for o in others])
        for other in others:
            self._layer(other, other.mesh.points, other.normals).lay_on(shown)
        return self.develop(shown)

    def layers(self, figure: Posed, angle: float, others: tuple[Posed, ...] = (), at: Standing | None = None
               ) -> tuple[NDArray[np.float32], Layer, list[Layer]]:
        """The room with all shadows and what stands behind, (h, w, 3) linear light, red first; the figure; what stands
        before it."""
        points, normals = _placed(figure, angle, at)
        blacks = [self._black(points, figure.mesh.triangles)]
        blacks += [self._black(o.mesh.points, o.mesh.triangles) for o in others]
        shown, before = self._room(blacks), []
        for other in others:
            layer = self._layer(other, other.mesh.points, other.normals)
            if float(other.mesh.points[:, 1].mean()) < 0:
                before.append(layer)
            else:
                layer.lay_on(shown)
        return shown, self._layer(figure, points, normals, blacks[0]), before

    def light(self) -> NDArray[np.float32]:
        """(h, w, 3) linear light of the empty room, red first."""
        return self._room([])

    def _black(self, points: Floats, triangles: NDArray[np.int64]) -> list[NDArray[np.float32]]:
        """What every lamp sees of a mesh: distances."""
        return [draw(points, triangles, lamp.eye(), "s")[1].copy() for lamp in self.lamps]

    def _room(self, blacks: list[list[NDArray[np.float32]]]) -> NDArray[np.float32]:
        """The room with the shadows of what stands in it."""
        total = self.flat.copy()
        for k, (lit, shadow) in enumerate(zip(self.lit, self.shadows, strict=True)):
            if blacks:
                shape = np.any([black[k] < 1 for black in blacks], axis=0)
                total += lit * (1 - shadow.fall(shape))[..., None]
            else:
                total += lit
        return total

    def _layer(self, figure: Posed, points: Floats, normals: Floats, black: list[NDArray[np.float32]] | None = None
               ) -> Layer:
        """A mesh as the camera sees it."""
        black = black or self._black(points, figure.mesh.triangles)
        light = self._vertex_light(figure, points, normals, black)
        coded = np.clip(np.sqrt(light / 2.0) * 255 + 0.5, 0, 255).astype(np.uint8)
        colour, buffer = draw(points, figure.mesh.triangles, self.fine, "c", coded)
        assert colour is not None
        seen = self.eye.project(points)[:, :2]
        (x0, y0), (x1, y1) = np.floor(seen.min(axis=0)).astype(int) - 2, np.ceil(seen.max(axis=0)).astype(int) + 2
        x0, x1 = np.clip([x0, x1], 0, self.eye.width)
        y0, y1 = np.clip([y0, y1], 0, self.eye.height)
        box = (slice(int(y0), int(y1)), slice(int(x0), int(x1)))
        if x0 == x1 or y0 == y1:
            return Layer(np.zeros((y1 - y0, x1 - x0, 3), np.float32), np.zeros((y1 - y0, x1 - x0), np.float32), box)
        k = self.OVER
        part = (slice(y0 * k, y1 * k), slice(x0 * k, x1 * k))
        there = np.asarray(buffer[part] < 1, np.float32)
        shown = np.asarray(_CODE[colour[part]], np.float32)  # black, so nothing, where no figure is
        size = (int(x1 - x0), int(y1 - y0))
        return Layer(shown, there, box).through(lambda image: cv2.resize(image, size, interpolation=cv2.INTER_AREA))

    def _vertex_light(self, figure: Posed, points: Floats, normals: Floats, black: list[NDArray[np.float32]]) -> Floats:
        """(n, 3) light that every vertex sends to the camera."""
        scene = self.scene
        hemisphere = (0.62 + 0.38 * normals[:, 2]) * figure.openness * scene.ambient * 0.75
        total = hemisphere[:, None] * self.bounce * np.array(scene.ambient_colour)
        sheen = np.zeros_like(total)
        to_eye = np.array(self.eye.position) - points
        to_eye /= np.linalg.norm(to_eye, axis=1, keepdims=True)
        for lamp, buffer in zip(self.lamps, black, strict=True):
            way, strength = lamp.reach(points)
            # Skin and cloth scatter a little light past the edge of the shadow.
            facing = np.maximum(((way * normals).sum(1) + 0.12) / 1.12, 0)
            free = _seen(points, normals, buffer, lamp.eye(), 0.02, spread=1 + 6 * lamp.radius)
            arriving = (strength * free)[:, None] * np.array(lamp.colour)
            total += facing[:, None] * arriving
            half = way + to_eye
            half /= np.linalg.norm(half, axis=1, keepdims=True)
            sheen += (np.maximum((half * normals).sum(1), 0) ** 24 * (facing > 0))[:, None] * arriving
        return total * figure.mesh.albedo + sheen * scene.gloss

    def develop(self, radiance: NDArray[np.float32]) -> NDArray[np.uint8]:
        """Linear light, red first, to a noisy 8-bit BGR picture."""
        graded = self.grade(radiance, self.gain)
        if self.scene.noise > 0:
            strength = self.scene.noise * (1.25 - graded[..., 1:2] / 400)
            graded = np.asarray(graded + self.grain() * strength, np.float32)
        return np.clip(graded + 0.5, 0, 255).astype(np.uint8)

    def grade(self, radiance: NDArray[np.float32], gain: NDArray[np.float32]) -> NDArray[np.float32]:
        """Linear light, red first, times gain, to 0 to 255 in sRGB, blue first, without noise."""
        index = np.minimum(np.sqrt(radiance * gain) * np.float32(2048 / np.sqrt(2.0)), 2047).astype(np.uint16)
        return _TONE[index[..., ::-1]]

    def grain(self) -> NDArray[np.float32]:
        """Sensor noise: brightness and, coarser, colour."""
        tile = _noise(self.eye.height, self.eye.width)
        dy, dx = self.rng.integers(0, self.eye.height), self.rng.integers(0, self.eye.width)
        return np.roll(tile, (int(dy), int(dx)), axis=(0, 1))


def _placed(figure: Posed, angle: float, at: Standing | None) -> tuple[Floats, Floats]:
    """Points and normals of the figure where it stands."""
    points, normals = turned(figure.mesh.points, angle), turned(figure.normals, angle)
    if at is not None:
        points = points + np.array([*at.shift, 0.0]) + points[:, 2:] / 1.7 * np.array([*at.lean, 0.0])
    return points, normals


_CODE = (np.arange(256, dtype=np.float32) / 255) ** 2 * 2.0


def _tone() -> NDArray[np.float32]:
    """Linear light 0 to 2 (by its root) to 8-bit values: the sRGB curve with a soft shoulder over 0.8."""
    light = (np.arange(2048) / 2048) ** 2 * 2.0
    soft = np.where(light < 0.8, light, 0.8 + 0.2 * (1 - np.exp(-(light - 0.8) / 0.2)))
    return (255 * np.where(soft <= 0.0031308, 12.92 * soft, 1.055 * soft ** (1 / 2.4) - 0.055)).astype(np.float32)


_TONE = _tone()


@lru_cache(maxsize=4)
def _noise(height: int, width: int) -> NDArray[np.float32]:
    rng = np.random.default_rng(11)
    luma = cv2.GaussianBlur(rng.normal(size=(height, width, 1)).astype(np.float32), (0, 0), 0.5)[..., None]
    chroma = cv2.GaussianBlur(rng.normal(size=(height, width, 3)).astype(np.float32), (0, 0), 0.9)
    return (luma / luma.std() + 0.6 * chroma / chroma.std()).astype(np.float32)
