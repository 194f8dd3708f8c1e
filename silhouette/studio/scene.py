"""Photographs of a figure in a room, with the exact mask of the figure.

    stage = Stage(scene, camera)
    picture, mask = stage.shoot(figure, angle)

Light is counted in linear units; the picture is turned to sRGB at the very end, then gets its noise. Edges are
antialiased by drawing the figure at twice the size; the mask holds the pixels that the figure covers by half or more.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.studio.cameras import Camera
from silhouette.studio.raster import Eye, Mesh, draw, turned, vertex_normals
from silhouette.studio.room import Backdrop, Colour, Floats, Lamp, Shadows, surfaces

KEY = Lamp((-2.2, -2.6, 2.7), 0.8, 0.35)
FILL = Lamp((2.6, -2.6, 1.9), 0.25, 0.6)


@dataclass(frozen=True)
class Scene:
    """A room, its light, and how the camera takes it."""

    backdrop: Backdrop = Backdrop()
    lamps: tuple[Lamp, ...] = (KEY, FILL)
    ambient: float = 0.22
    """Light from everywhere, in the lamps' units; half of it comes from above and leaves soft shadows round the feet."""
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


def posed(mesh: Mesh) -> Posed:
    """Work out once what stays the same while the figure turns."""
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
            open_to += facing * _seen(mesh.points, normals, draw(mesh.points, mesh.triangles, None, eye, "s")[1], eye, 0.03)
            weight += facing
    return Posed(mesh, normals, open_to / weight)


def _seen(points: Floats, normals: Floats, depth: Floats, eye: Eye, slack: float, spread: float = 1.0) -> Floats:
    """(n,) share of each vertex that the eye sees, by comparing its distance with the drawn one round about."""
    at = eye.project(points + normals * slack / 2)
    nearest = np.where(np.isfinite(depth), depth, 1e3).astype(np.float32)
    total = np.zeros(len(points))
    for dx, dy in ((0, 0), (1, 0.4), (-0.4, 1), (-1, -0.4), (0.4, -1)):
        u = np.clip((at[:, 0] + dx * spread).astype(int), 0, eye.width - 1)
        v = np.clip((at[:, 1] + dy * spread).astype(int), 0, eye.height - 1)
        total += at[:, 2] < nearest[v, u] + slack
    return total / 5


class Stage:
    """One room with one camera; shoots any figure at any angle."""

    OVER = 2

    def __init__(self, scene: Scene, camera: Camera) -> None:
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
        self.flat = (room.albedo * scene.ambient * 0.55 * np.array(scene.ambient_colour) + room.glow).astype(np.float32)
        self.lit, self.shadows = [], []
        for lamp in self.lamps:
            way, strength = lamp.reach(room.points)
            facing = np.maximum((way * room.normals).sum(-1), 0) * strength
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

    def shoot(self, figure: Posed, angle: float, others: tuple[Posed, ...] = (),
              shift: tuple[float, float] = (0.0, 0.0)) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
        """Take one picture.

        Parameters
        ----------
        figure : Posed
        angle : float
            Where the camera stands round the figure, degrees (see records.py): the figure is turned, the camera stays.
        others : tuple of Posed
            Furniture and other people; they stand as they are, behind or beside the figure, and are not in the mask.
        shift : (float, float)
            How far the figure stands off the turning axis: picture right, away from the camera, metres.

        Returns
        -------
        picture : (h, w, 3) uint8 BGR
        mask : (h, w) bool
        """
        radiance, cover = self.light(figure, angle, others, shift)
        return self.develop(radiance), cover >= 0.5

    def empty(self, others: tuple[Posed, ...] = ()) -> NDArray[np.uint8]:
        """The room without the figure."""
        shown = self._room([self._black(o.mesh.points, o.mesh.triangles) for o in others])
        for other in others:
            shown = _over(shown, *self._layer(other, other.mesh.points, other.normals))
        return self.develop(shown)

    def light(self, figure: Posed, angle: float, others: tuple[Posed, ...] = (),
              shift: tuple[float, float] = (0.0, 0.0)) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """(h, w, 3) linear light, red first, and (h, w) the share of each pixel that the figure covers."""
        points = turned(figure.mesh.points, angle) + np.array([shift[0], shift[1], 0.0])
        normals = turned(figure.normals, angle)
        blacks = [self._black(points, figure.mesh.triangles)]
        blacks += [self._black(o.mesh.points, o.mesh.triangles) for o in others]
        shown = self._room(blacks)
        for other in others:
            shown = _over(shown, *self._layer(other, other.mesh.points, other.normals))
        layer, cover, box = self._layer(figure, points, normals, blacks[0])
        full = np.zeros(shown.shape[:2], np.float32)
        full[box] = cover
        if self.scene.blur_px > 1:
            layer, cover, box = _smeared(layer, full, box, self.scene.blur_px)
        return _over(shown, layer, cover, box), full

    def _black(self, points: Floats, triangles: NDArray[np.int64]) -> list[Floats]:
        """What every lamp sees of a mesh: distances."""
        return [draw(points, triangles, None, lamp.eye(), "s")[1] for lamp in self.lamps]

    def _room(self, blacks: list[list[Floats]]) -> NDArray[np.float32]:
        """The room with the shadows of what stands in it."""
        total = self.flat.copy()
        for k, (lit, shadow) in enumerate(zip(self.lit, self.shadows, strict=True)):
            shape = np.zeros(blacks[0][k].shape, bool) if blacks else None
            for black in blacks:
                shape |= np.isfinite(black[k])
            total += lit if shape is None else lit * (1 - shadow.fall(shape))[..., None]
        return total

    def _layer(self, figure: Posed, points: Floats, normals: Floats, black: list[Floats] | None = None
               ) -> tuple[NDArray[np.float32], NDArray[np.float32], tuple[slice, slice]]:
        """A mesh as the camera sees it: light times cover, cover, and the box of the picture that they fill."""
        black = black or self._black(points, figure.mesh.triangles)
        light = self._vertex_light(figure, points, normals, black)
        coded = np.clip(np.sqrt(light / 2.0) * 255 + 0.5, 0, 255).astype(np.uint8)
        colour, depth = draw(points, figure.mesh.triangles, coded, self.fine, "c")
        seen = self.eye.project(points)[:, :2]
        (x0, y0), (x1, y1) = np.floor(seen.min(axis=0)).astype(int) - 2, np.ceil(seen.max(axis=0)).astype(int) + 2
        x0, x1 = np.clip([x0, x1], 0, self.eye.width)
        y0, y1 = np.clip([y0, y1], 0, self.eye.height)
        box = (slice(y0, y1), slice(x0, x1))
        if x0 == x1 or y0 == y1:
            return np.zeros((y1 - y0, x1 - x0, 3), np.float32), np.zeros((y1 - y0, x1 - x0), np.float32), box
        k = self.OVER
        part = (slice(y0 * k, y1 * k), slice(x0 * k, x1 * k))
        there = np.isfinite(depth[part]).astype(np.float32)
        shown = _CODE[colour[part]] * there[..., None]
        size = (int(x1 - x0), int(y1 - y0))
        return (cv2.resize(shown, size, interpolation=cv2.INTER_AREA),
                cv2.resize(there, size, interpolation=cv2.INTER_AREA), box)

    def _vertex_light(self, figure: Posed, points: Floats, normals: Floats, black: list[Floats]) -> Floats:
        """(n, 3) light that every vertex sends to the camera."""
        scene = self.scene
        hemisphere = (0.62 + 0.38 * normals[:, 2]) * figure.openness * scene.ambient * 0.75
        total = hemisphere[:, None] * self.bounce * np.array(scene.ambient_colour)
        sheen = np.zeros_like(total)
        to_eye = np.array(self.eye.position) - points
        to_eye /= np.linalg.norm(to_eye, axis=1, keepdims=True)
        for lamp, depth in zip(self.lamps, black, strict=True):
            way, strength = lamp.reach(points)
            # Skin and cloth scatter a little light past the edge of the shadow.
            facing = np.maximum(((way * normals).sum(1) + 0.12) / 1.12, 0)
            free = _seen(points, normals, depth, lamp.eye(), 0.02, spread=1 + 6 * lamp.radius)
            arriving = (strength * free)[:, None] * np.array(lamp.colour)
            total += facing[:, None] * arriving
            half = way + to_eye
            half /= np.linalg.norm(half, axis=1, keepdims=True)
            sheen += (np.maximum((half * normals).sum(1), 0) ** 24 * (facing > 0))[:, None] * arriving
        return total * figure.mesh.albedo + sheen * scene.gloss

    def develop(self, radiance: NDArray[np.float32]) -> NDArray[np.uint8]:
        """Linear light, red first, to a noisy 8-bit BGR picture."""
        exposed = radiance * self.gain
        index = np.clip(np.sqrt(exposed) * (2048 / np.sqrt(2.0)), 0, 2047).astype(np.uint16)
        graded = _TONE[index][..., ::-1]
        if self.scene.noise > 0:
            graded = graded + self._grain() * (self.scene.noise * (1.25 - graded[..., 1:2] / 400))
        return np.clip(graded + 0.5, 0, 255).astype(np.uint8)

    def _grain(self) -> NDArray[np.float32]:
        """Sensor noise: brightness and, coarser, colour."""
        tile = _noise(self.eye.height, self.eye.width)
        dy, dx = self.rng.integers(0, self.eye.height), self.rng.integers(0, self.eye.width)
        return np.roll(tile, (int(dy), int(dx)), axis=(0, 1))


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


def _over(below: NDArray[np.float32], layer: NDArray[np.float32], cover: NDArray[np.float32],
          box: tuple[slice, slice]) -> NDArray[np.float32]:
    below[box] = below[box] * (1 - cover[..., None]) + layer
    return below


def _smeared(layer: NDArray[np.float32], cover: NDArray[np.float32], box: tuple[slice, slice], length: float
             ) -> tuple[NDArray[np.float32], NDArray[np.float32], tuple[slice, slice]]:
    """Motion blur along the picture's rows."""
    whole = np.zeros((*cover.shape, 3), np.float32)
    whole[box] = layer
    kernel = np.ones((1, max(2, round(length))), np.float32) / max(2, round(length))
    everything = (slice(0, cover.shape[0]), slice(0, cover.shape[1]))
    return cv2.filter2D(whole, -1, kernel), cv2.filter2D(cover, -1, kernel), everything
