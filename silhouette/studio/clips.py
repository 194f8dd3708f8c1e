"""Phone-like clips of a model turning on the spot and holding at each stop, with the true time and angle of each hold.

    python -m silhouette.studio.clips FOLDER [NAME ...]

Beside ``NAME.mp4`` stands ``NAME.truth.json``: a row a stop with ``start`` and ``end`` of the hold in seconds,
``angle`` (0 to 360, see records.py) and ``turned`` (runs past 360; the model turns to its own left). A clip
without pauses has a row a second with ``start`` = ``end``.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.studio.bodies import Build, pose_body
from silhouette.studio.cameras import Camera
from silhouette.studio.clothes import Outfit, dress
from silhouette.studio.rig import Pose
from silhouette.studio.scene import Layer, Posed, Scene, Stage, Standing, posed

PHONE = Camera(distance_m=4.3, height_m=1.0, focal_35mm=50, width=540, height=960)


@dataclass(frozen=True)
class Faults:
    """What goes wrong in a clip; stops are counted from 0."""

    droop_from: int | None = None
    droop_deg: float = 4.0
    """How far both arms sink at every stop from ``droop_from`` on, degrees."""
    skipped: tuple[int, ...] = ()
    """Stops of the plan that the model does not hold."""
    end_deg: float | None = None
    """The turn ends here instead of past the start, degrees."""
    dark: tuple[int, ...] = ()
    """Stops at which the light has dropped."""
    dark_gain: float = 0.7
    camera_from: int | None = None
    """Stop from which on the camera stands otherwise."""
    camera_aim: tuple[float, float] = (0.06, -0.03)
    """How far the picture has shifted then, shares of the long side."""
    passer: tuple[float, float] | None = None
    """Seconds between which somebody walks through behind the model."""
    passer_y: float = 0.9
    """Metres behind the turning axis; negative is before the model."""
    wander_mm: float = 0.0
    """How far the model moves off its spot at every stop."""
    no_pauses: bool = False
    """A slow turn without any stop."""
    nobody: bool = False


@dataclass(frozen=True)
class Clip:
    """One clip: who, where, and the timing."""

    pose: Pose
    build: Build
    outfit: Outfit
    scene: Scene
    stops: int = 24
    extra: int = 1
    """Stops past the full turn: 1 repeats the first."""
    hold_s: tuple[float, float] = (0.7, 1.1)
    move_s: tuple[float, float] = (0.4, 0.6)
    uneven_deg: float = 2.0
    """Standard deviation of each stop's angle."""
    sway_mm: float = 3.0
    fps: float = 30.0
    camera: Camera = PHONE
    faults: Faults = Faults()
    seed: int = 0
    codec: str = "libx264"
    uneven_frames: bool = False
    """Frame times as a phone's: uneven, now and then one is left out."""
    turned_pixels: bool = False
    """Frames laid down a quarter turn, as a phone held upright does; the container then needs a rotation flag."""


@dataclass(frozen=True)
class Hold:
    """One stop of the plan."""

    number: int
    start: float
    end: float
    turned: float


def timing(clip: Clip) -> list[Hold]:
    """When and where the model holds."""
    rng = np.random.default_rng(clip.seed)
    step = 360.0 / clip.stops
    holds, now = [], 0.0
    for k in range(clip.stops + clip.extra):
        turned = k * step + (float(rng.normal(0, clip.uneven_deg)) if k else 0.0)
        if k in clip.faults.skipped or (clip.faults.end_deg is not None and turned > clip.faults.end_deg):
            continue
        end = now + float(rng.uniform(*clip.hold_s))
        holds.append(Hold(k, now, end, turned))
        now = end + float(rng.uniform(*clip.move_s))
    return holds


def turned_at(holds: list[Hold], time: float) -> tuple[float, int, bool]:
    """How far the model has turned, the last stop begun, and whether it moves."""
    last = max((k for k, h in enumerate(holds) if h.start <= time), default=0)
    here = holds[last]
    if time <= here.end or last == len(holds) - 1:
        return here.turned, last, False
    after = holds[last + 1]
    t = (time - here.end) / (after.start - here.end)
    return here.turned + (after.turned - here.turned) * (t * t * (3 - 2 * t)), last, True


def sways(seed: int, mm: float) -> Any:
    """A slow, small swaying of the head, metres, as a function of time in seconds."""
    rng = np.random.default_rng(seed)
    rates, phases = np.array([0.23, 0.41, 0.9]), rng.uniform(0, 2 * np.pi, 3)
    sizes = np.array([0.8, 0.5, 0.2]) * mm / 1000

    def at(time: float) -> float:
        return float(np.sum(sizes * np.sin(2 * np.pi * rates * time + phases)))
    return at


class _Show:
    """Draws the frames of one clip one after the other; keeps the last drawing, which a hold uses again and again."""

    def __init__(self, clip: Clip, holds: list[Hold]) -> None:
        self.clip, self.holds = clip, holds
        self.stage = Stage(clip.scene, clip.camera)
        f = clip.faults
        aim = (clip.camera.aim[0] + f.camera_aim[0], clip.camera.aim[1] + f.camera_aim[1])
        moved = Camera(**{**clip.camera.__dict__, "aim": aim})
        self.moved = self.stage if f.camera_from is None else Stage(clip.scene, moved)
        self.figures: dict[float, Posed] = {}
        self.passer = None
        if f.passer is not None:
            walking: Pose = {"leg_l": (24.0, 2.0, 4.0), "leg_r": (-16.0, 2.0, 6.0), "arm_l": (12.0, -40.0, 0.0)}
            build = Build(gender=0.1, age=0.75)
            self.passer = dress(build, pose_body(build, walking), Outfit(skin="brown", shirt=(0.5, 0.5, 0.2),
                                                                         trousers=(0.2, 0.2, 0.3)))
        self.kept: tuple[Any, NDArray[np.float32], NDArray[np.float32], Layer, list[Layer]] | None = None
        self.rng = np.random.default_rng(clip.seed + 3)
        tiles = [self.stage.grain() * np.float32(clip.scene.noise) for _ in range(4)]
        self.grain = [np.ascontiguousarray(t[::flip]) for t in tiles for flip in (1, -1)]
        self.sway = sways(clip.seed + 5, clip.sway_mm)

    def figure(self, stop: int) -> Posed:
        """The model as it holds the pose at this stop."""
        clip, f = self.clip, self.clip.faults
        sunk = 0.0 if f.droop_from is None else max(0, stop - f.droop_from + 1) * f.droop_deg
        if sunk not in self.figures:
            pose = dict(clip.pose)
            for side in "lr":
                if sunk and f"arm_{side}" in pose:
                    raised, plane, twist = pose[f"arm_{side}"]
                    pose[f"arm_{side}"] = (max(raised - sunk, 5.0), plane, twist)
            self.figures = {sunk: posed(dress(clip.build, pose_body(clip.build, pose), clip.outfit))}
        return self.figures[sunk]

    def frame(self, time: float) -> NDArray[np.uint8]:
        clip, f = self.clip, self.clip.faults
        turned, stop, moves = turned_at(self.holds, time)
        number = self.holds[stop].number
        if f.no_pauses:
            turned, moves = time / self.holds[-1].end * 365.0, False
        stage = self.moved if f.camera_from is not None and number >= f.camera_from else self.stage
        others: tuple[Posed, ...] = ()
        if self.passer is not None and f.passer is not None and f.passer[0] <= time <= f.passer[1]:
            share = (time - f.passer[0]) / (f.passer[1] - f.passer[0])
            others = (posed(self.passer.moved(90, (2.6 - 5.2 * share, f.passer_y))),)
        if f.nobody:
            return stage.empty(others)
        wander = f.wander_mm / 1000 * number
        gain = stage.gain * f.dark_gain if number in f.dark else stage.gain
        key = (stage is self.moved, number, round(turned, 2), others)
        if self.kept is None or self.kept[0] != key:
            at = Standing((wander, 0.4 * wander))
            room, layer, before = stage.layers(self.figure(number), turned, others, at)
            self.kept = (key, room, stage.grade(room, gain), layer, before)
        _, room, shown, layer, before = self.kept
        pixels = self.sway(time) * clip.camera.focal_px / clip.camera.distance_m
        layer = layer.leaned(pixels, shown.shape)
        if moves:
            layer = layer.smeared(3, shown.shape)
        # Only the boxes of what moves are worked out anew.
        shown, grain = shown.copy(), self.grain[int(self.rng.integers(len(self.grain)))]
        for each in (layer, *before):
            part = room[each.box].copy()
            Layer(each.light, each.cover, (slice(None), slice(None))).lay_on(part)
            shown[each.box] = stage.grade(part, gain[each.box])
        rolled = np.roll(grain, int(self.rng.integers(grain.shape[0])), axis=0)
        return np.asarray(cv2.add(shown, rolled, dtype=cv2.CV_8U), np.uint8)


def frames(clip: Clip) -> tuple[list[Hold], Iterator[tuple[float, NDArray[np.uint8]]]]:
    """The holds, and the frames as (seconds, (h, w, 3) BGR)."""
    holds = timing(clip)
    show = _Show(clip, holds)
    rng = np.random.default_rng(clip.seed + 9)

    def each() -> Iterator[tuple[float, NDArray[np.uint8]]]:
        for k in range(int(holds[-1].end * clip.fps)):
            time = k / clip.fps
            if clip.uneven_frames:
                if rng.random() < 0.08:
                    continue
                time += float(rng.uniform(0, 0.45 / clip.fps))
            yield time, show.frame(time)
    return holds, each()


def render_clip(path: Path, clip: Clip, crf: int = 24) -> list[dict[str, float]]:
    """Render and encode one clip and write its truth beside it; returns the truth."""
    import av

    holds, shown = frames(clip)
    width, height = clip.camera.width, clip.camera.height
    if clip.turned_pixels:
        width, height = height, width
    path.parent.mkdir(parents=True, exist_ok=True)
    with av.open(str(path), "w", options={"movflags": "+faststart"}) as container:
        stream: Any = container.add_stream(clip.codec, rate=Fraction(clip.fps).limit_denominator(1001))
        stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
        stream.options = {"crf": str(crf), "preset": "veryfast"}
        stream.codec_context.time_base = Fraction(1, 90000)
        if clip.codec == "libx265":
            stream.codec_context.codec_tag = "hvc1"
        for time, picture in shown:
            laid = np.rot90(picture) if clip.turned_pixels else picture
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(laid), format="bgr24")
            frame.pts, frame.time_base = round(time * 90000), Fraction(1, 90000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    truth = truth_of(clip, holds)
    path.with_suffix(".truth.json").write_text(json.dumps(truth, indent=1))
    return truth


def truth_of(clip: Clip, holds: list[Hold]) -> list[dict[str, float]]:
    """A row a stop."""
    if clip.faults.nobody:
        return []
    rows = [(h.start, h.end, h.turned) for h in holds]
    if clip.faults.no_pauses:
        whole = holds[-1].end
        rows = [(float(t), float(t), t / whole * 365.0) for t in range(int(whole) + 1)]
    return [{"start": round(a, 3), "end": round(b, 3), "angle": t % 360, "turned": t} for a, b, t in rows]
