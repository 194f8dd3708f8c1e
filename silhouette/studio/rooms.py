"""Turnarounds in rooms full of things, each with a picture of the empty room, as a phone on a tripod takes them.

    python -m silhouette.studio.rooms FOLDER COUNT SEED [--photos FOLDER]

``NAME/empty.jpg``, ``NAME/NNN.jpg``, ``NAME/masks/NNN.png`` and ``NAME/truth.json`` for each of COUNT rooms; half are
called ``tune_``, half ``held_``. With ``--photos`` the rooms are photographs without people, given as ``*.jpg`` in a
folder, and the figure is laid over them; else they are drawn. Between the pictures the light changes by up to 15 %, the
exposure by a step, the camera is nudged by up to 3 pixels, a shadow of something outside moves, a curtain sways, a lamp
flickers, and the figure throws its shadow and its colour on the room.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.studio import furniture, poses
from silhouette.studio.bodies import pose_body
from silhouette.studio.cameras import Camera, framed
from silhouette.studio.clothes import dress
from silhouette.studio.photo import save_mask, save_photo
from silhouette.studio.raster import Mesh, joined
from silhouette.studio.room import Backdrop, linear
from silhouette.studio.scene import Layer, Posed, Scene, Stage, posed
from silhouette.studio.variety import some_backdrop, some_build, some_lamps, some_outfit

Rng = np.random.Generator
Light = NDArray[np.float32]
MARGIN = 8
"""Pixels rendered round the picture, so that a nudged camera still sees the room."""
STOPS = 7


@dataclass(frozen=True)
class Drift:
    """What differs from one picture of a room to the next."""

    light: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Gain of red, green and blue: lamps, daylight, exposure and white balance together."""
    nudge: tuple[float, float] = (0.0, 0.0)
    """How far the picture has moved to the right and down, pixels."""
    roll_deg: float = 0.0
    shadow_at: float = 0.0
    """Where the shadow of something outside stands, -1 to 1 across the picture."""
    sway_m: float = 0.0
    """How far a curtain's hem swings."""
    flicker: tuple[float, float] = (0.0, 0.0)
    """Depth of a lamp's bands over the rows, and their phase."""


def some_drift(rng: Rng, shadow_at: float, step: float = 1.0) -> Drift:
    """One picture's own; ``step`` is the camera's exposure step in light."""
    gain = rng.uniform(0.87, 1.15) * step
    tint = rng.normal(0, 0.012, 3)
    way, far = rng.uniform(0, 2 * np.pi), rng.uniform(0, 3.0)
    red, green, blue = (gain * (1 + tint)).tolist()
    return Drift((red, green, blue), (far * float(np.cos(way)), far * float(np.sin(way))), float(rng.normal(0, 0.03)),
                 shadow_at, float(rng.uniform(-0.06, 0.06)),
                 (float(rng.choice([0.0, 0.0, 0.02, 0.04])), float(rng.uniform(0, 6.28))))


# ------------------------------------------------------------------------------------------------------- drawn rooms

CAMERA = Camera(distance_m=4.2, height_m=1.0, focal_35mm=50, width=756, height=1008)
ON_WALL = ("pictures", "door", "curtain", "radiator")
BEFORE_WALL = ("shelf", "plant", "table", "sofa", "boxes", "grille", "stool", "lamp stand", "easel", "chair")


def one_thing(name: str, rng: Rng, sway: float) -> Mesh:
    """A piece of furniture by name, standing on the spot, or hanging on the wall y = 0."""
    if name == "pictures":
        return furniture.pictures(rng, int(rng.integers(1, 6)), 2.6)
    if name == "curtain":
        return furniture.curtain(rng, sway)
    plain: dict[str, Callable[[], Mesh]] = {
        "stool": furniture.stool, "lamp stand": furniture.lamp_stand, "easel": furniture.easel,
        "chair": lambda: furniture.chair(colour=furniture.muted(rng)).moved(float(rng.uniform(0, 360))),
    }
    return plain[name]() if name in plain else getattr(furniture, name)(rng)


def some_things(rng: Rng, wall_m: float) -> Callable[[float], Mesh]:
    """What stands in a room, as a function of the curtain's sway; behind the figure or well beside it."""
    hung = [str(n) for n in rng.choice(ON_WALL, int(rng.integers(1, 4)), replace=False)]
    stood = [str(n) for n in rng.choice(BEFORE_WALL, int(rng.integers(3, 6)), replace=False)]
    places = rng.permutation(np.linspace(-1.35, 1.35, max(len(hung), len(stood)) + 1))
    spots = [(float(x), float(rng.uniform(0.55, max(0.6, wall_m - 0.4)))) for x in places]
    seeds = rng.integers(1 << 30, size=len(hung) + len(stood)).tolist()

    def made(sway: float) -> Mesh:
        parts = [one_thing(name, np.random.default_rng(seed), sway).moved(0, (x if name != "pictures" else 0.0, wall_m))
                 for name, seed, (x, _) in zip(hung, seeds, spots, strict=False)]
        parts += [one_thing(name, np.random.default_rng(seed), sway).moved(0, (x, y))
                  for name, seed, (x, y) in zip(stood, seeds[len(hung):], spots, strict=False)]
        return joined(parts)

    return made


def some_room(rng: Rng) -> tuple[Scene, Callable[[float], Mesh]]:
    """A living room, workshop or studio nobody has tidied."""
    backdrop = some_backdrop(rng)
    window = (0.4, 1.3, 0.9, 2.1) if rng.random() < 0.35 else None
    backdrop = replace(backdrop, kind="wall", paper_m=None, folds=0.0, behind_m=float(rng.uniform(0.9, 2.2)),
                       floor=backdrop.floor or furniture.muted(rng), window=window,
                       skirting_m=float(rng.choice([0.0, 0.08, 0.14])), texture=str(rng.choice(
                           ["", "plaster", "bricks", "boards", "boards", "stripes"])))
    scene = Scene(backdrop, some_lamps(rng), float(rng.uniform(0.15, 0.35)), exposure=float(rng.uniform(0.9, 1.25)),
                  vignette=float(rng.choice([0.05, 0.2])), noise=float(rng.choice([0.8, 1.5, 3.0])),
                  seed=int(rng.integers(1 << 30)))
    return scene, some_things(rng, backdrop.behind_m)


class DrawnRoom:
    """A room of the studio's own."""

    def __init__(self, rng: Rng, camera: Camera = CAMERA) -> None:
        wide = (camera.width + 2 * MARGIN, camera.height + 2 * MARGIN)
        focal = camera.focal_35mm * max(camera.width, camera.height) / max(wide)
        self.camera = replace(camera, width=wide[0], height=wide[1], focal_35mm=focal)
        self.scene, self.things = some_room(rng)

    def take(self, figure: Posed | None, angle: float, drift: Drift) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
        """(h, w, 3) BGR picture and (h, w) mask of the figure; None for the empty room."""
        stage = Stage(self.scene, self.camera, self.things(drift.sway_m))
        stage.rng = np.random.default_rng([self.scene.seed, round(angle * 10), figure is None])
        if figure is None:
            return finished(stage, stage.light(), None, drift)
        shown, layer, _ = stage.layers(figure, angle)
        return finished(stage, with_bounce(shown, layer), layer, drift)


def with_bounce(room: Light, layer: Layer) -> Light:
    """The room with a little of the figure's colour thrown on it."""
    glow = np.zeros_like(room)
    glow[layer.box] = layer.light
    small = cv2.resize(glow, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    soft = cv2.resize(cv2.GaussianBlur(small, (0, 0), 8), (room.shape[1], room.shape[0]))
    return np.asarray(room * (1 + 0.25 * soft), np.float32)


def finished(stage: Stage, room: Light, layer: Layer | None, drift: Drift
             ) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Shadow from outside, figure, light, nudge, noise; without the margin."""
    shown = room * _outside(room.shape[:2], drift.shadow_at)[..., None]
    cover = np.zeros(room.shape[:2], np.float32)
    if layer is not None:
        layer.lay_on(shown)
        cover[layer.box] = layer.cover
    depth, phase = drift.flicker
    rows = np.arange(len(shown), dtype=np.float32)
    shown = shown * np.asarray(drift.light, np.float32) * (1 + depth * np.sin(rows / 90 + phase))[:, None, None]
    h, w = shown.shape[:2]
    move = cv2.getRotationMatrix2D((w / 2, h / 2), drift.roll_deg, 1.0)
    move[:, 2] += np.array(drift.nudge)
    seen, truth = (cv2.warpAffine(np.asarray(x, np.float32), move, (w, h), flags=cv2.INTER_CUBIC,
                                  borderMode=cv2.BORDER_REPLICATE) for x in (shown, cover))
    lens = np.asarray(np.maximum(cv2.GaussianBlur(seen, (0, 0), 0.6), 0), np.float32)
    inner = (slice(MARGIN, -MARGIN), slice(MARGIN, -MARGIN))
    return np.ascontiguousarray(stage.develop(lens)[inner]), np.asarray(truth[inner] >= 0.5)


def _outside(size: tuple[int, ...], at: float) -> Light:
    """A soft slanting shadow of something outside the room, 18 % deep."""
    y, x = np.mgrid[: size[0], : size[1]].astype(np.float32)
    across = (x - 0.5 * size[1] - 0.25 * (y - 0.5 * size[0])) / size[1] - 0.5 * at
    return np.asarray(1 - 0.18 / (1 + np.exp((np.abs(across) - 0.15) / 0.015)), np.float32)


# -------------------------------------------------------------------------------------------- photographs as backdrop


class PhotoRoom:
    """A photograph of a place without people; the figure is laid over it with shadows on floor and wall."""

    def __init__(self, rng: Rng, photo: NDArray[np.uint8], camera: Camera = CAMERA) -> None:
        wide = (camera.width + 2 * MARGIN, camera.height + 2 * MARGIN)
        focal = camera.focal_35mm * max(camera.width, camera.height) / max(wide)
        self.camera = replace(camera, width=wide[0], height=wide[1], focal_35mm=focal)
        self.plate = cropped(photo, wide, rng)
        mean = float(self.plate.mean())
        lamps = tuple(replace(lamp, strength=lamp.strength * float(np.clip(mean / 0.18, 0.5, 1.6)))
                      for lamp in some_lamps(rng))
        self.scene = Scene(Backdrop(), lamps, float(rng.uniform(0.15, 0.35)), vignette=0.0,
                           noise=float(rng.choice([0.8, 1.5, 3.0])), seed=int(rng.integers(1 << 30)))
        self.stage = Stage(self.scene, self.camera)
        colour = self.plate.mean((0, 1))
        self.stage.bounce = 0.4 + 0.6 * np.asarray(colour / max(float(colour.max()), 1e-3), float)
        side = float(np.sign(lamps[0].position[0]))
        self.floor_way = (-side * float(rng.uniform(0.2, 0.9)), float(rng.uniform(0.12, 0.4)))
        self.wall_way = (-side * float(rng.uniform(0.03, 0.2)), float(rng.uniform(-0.05, 0.03)))
        self.depths = (float(rng.uniform(0.25, 0.75)), float(rng.choice([0.0, rng.uniform(0.1, 0.6)])))
        self.softness = float(rng.uniform(2.0, 18.0))
        self.tint = np.clip(1 + rng.normal(0, 0.08, 3), 0.7, 1.3).astype(np.float32)
        self.curtain = (float(rng.uniform(0.1, 0.9)), float(rng.uniform(0.05, 0.12))) if rng.random() < 0.6 else None

    def take(self, figure: Posed | None, angle: float, drift: Drift) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
        """As :meth:`DrawnRoom.take`."""
        self.stage.rng = np.random.default_rng([self.scene.seed, round(angle * 10), figure is None])
        room = self._swayed(drift.sway_m)
        if figure is None:
            return finished(self.stage, room, None, drift)
        _, layer, _ = self.stage.layers(figure, angle)
        cover = np.zeros(room.shape[:2], np.float32)
        cover[layer.box] = layer.cover
        dark = self._shadow(cover, layer)
        shaded = room * (1 - dark[..., None] * self.tint)
        return finished(self.stage, with_bounce(np.maximum(shaded, 0).astype(np.float32), layer), layer, drift)

    def _swayed(self, sway_m: float) -> Light:
        if self.curtain is None:
            return self.plate
        h, w = self.plate.shape[:2]
        y, x = np.mgrid[:h, :w].astype(np.float32)
        at, wide = self.curtain
        near = np.exp(-(((x / w - at) / wide) ** 4))
        from_x = (x + near * sway_m * 80 * (y / h)).astype(np.float32)
        moved = cv2.remap(self.plate, from_x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(moved, np.float32)

    def _shadow(self, cover: Light, layer: Layer) -> Light:
        """(h, w) share of light that the figure takes from floor and wall; stronger at the feet."""
        h, w = cover.shape
        low = float(layer.box[0].stop)
        tall = low - layer.box[0].start
        floor = np.array([[1.0, -self.floor_way[0], self.floor_way[0] * low],
                          [0.0, self.floor_way[1], low * (1 - self.floor_way[1])]])
        wall = np.array([[1.0, 0.0, self.wall_way[0] * tall], [0.0, 1.0, self.wall_way[1] * tall]])
        near = cv2.warpAffine(cover, floor, (w, h))
        soft, softer = cv2.GaussianBlur(near, (0, 0), self.softness), cv2.GaussianBlur(near, (0, 0), 3 * self.softness)
        share = np.clip((low - np.arange(h, dtype=np.float32)) / (self.floor_way[1] * tall + 1), 0, 1)[:, None]
        on_floor = (soft * (1 - share) + softer * share) * self.depths[0]
        on_wall = cv2.GaussianBlur(cv2.warpAffine(cover, wall, (w, h)), (0, 0), self.softness * 1.5) * self.depths[1]
        return np.asarray(1 - (1 - on_floor) * (1 - on_wall), np.float32)


def cropped(photo: NDArray[np.uint8], size: tuple[int, int], rng: Rng) -> Light:
    """A part of an 8-bit BGR photograph of the (width, height) asked for, as linear light, red first."""
    w, h = size
    scale = max(w / photo.shape[1], h / photo.shape[0]) * float(rng.uniform(1.0, 1.2))
    big = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)
    left, top = (int(rng.integers(0, max(1, big.shape[k] - size[1 - k] + 1))) for k in (1, 0))
    part = big[top : top + h, left : left + w]
    part = cv2.resize(part, (w, h)) if part.shape[:2] != (h, w) else part
    return np.ascontiguousarray(linear(np.asarray(part[..., ::-1] / 255.0, float)), np.float32)


# --------------------------------------------------------------------------------------------------------- the turns


def shoot_room(folder: Path, seed: list[int], photo: NDArray[np.uint8] | None = None, stops: int = STOPS) -> None:
    """Write one room: the empty picture, the stops, their masks and ``truth.json``."""
    rng = np.random.default_rng(seed)
    build = some_build(rng)
    figure = posed(dress(build, pose_body(build, poses.sample_near(rng, UPRIGHT)), some_outfit(rng)))
    start = float(rng.uniform(0, 360 / stops))
    angles = [round(start + k * 360 / stops) % 360 for k in range(stops)]
    camera = replace(CAMERA, focal_35mm=float(rng.uniform(46, 70)), height_m=float(rng.uniform(0.8, 1.1)))
    camera = framed(camera, figure.mesh.points, angles)
    room = DrawnRoom(rng, camera) if photo is None else PhotoRoom(rng, photo, camera)
    steps = rng.choice([1.0, 1.0, 1.0, 0.84, 1.19], stops + 1)
    shadow = rng.uniform(-1, 1) + np.cumsum(rng.uniform(0, 0.06, stops + 1))
    picture, _ = room.take(None, 0.0, some_drift(rng, float(shadow[0]), float(steps[0])))
    save_photo(folder / "empty.jpg", picture, quality=92)
    rows = []
    for k, angle in enumerate(angles):
        picture, mask = room.take(figure, angle, some_drift(rng, float(shadow[k + 1]), float(steps[k + 1])))
        save_photo(folder / f"{angle:03d}.jpg", picture, quality=92)
        save_mask(folder / "masks" / f"{angle:03d}.png", mask)
        rows.append({"file": f"{angle:03d}.jpg", "mask": f"masks/{angle:03d}.png", "angle": angle,
                     "kind": "drawn room" if photo is None else "photographed room",
                     "share": round(float(mask.mean()), 5)})
    (folder / "truth.json").write_text(json.dumps(rows, indent=1))


UPRIGHT = tuple(name for name in poses.NAMED if not name.startswith(("sitting", "reclining", "lying")))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("count", type=int)
    parser.add_argument("seed", type=int)
    parser.add_argument("--photos", type=Path, help="a folder of photographs without people")
    options = parser.parse_args()
    files = sorted(options.photos.glob("*.jpg")) if options.photos else []
    if options.photos and not files:
        raise SystemExit(f"{options.photos} holds no *.jpg")
    for k in range(options.count):
        name = f"{'held' if k % 2 else 'tune'}_{'photo' if files else 'drawn'}_{k // 2:02d}"
        photo = np.asarray(cv2.imread(str(files[k % len(files)])), np.uint8) if files else None
        shoot_room(options.folder / name, [options.seed, k, bool(files)], photo)


if __name__ == "__main__":
    main()
