"""Are parts that stand clear in no view found, and no others?

    python tests/measure/blind_spots.py make STOCK FOLDER COUNT SEED taught|kept
    python tests/measure/blind_spots.py measure FOLDER [--only level] [--exact]

``make`` writes turns of three rings with the truth of every part of the body: half of the poses near the named ones
that the reader was taught, or that were kept from it, half with the arms held close. STOCK holds builds
(``python -m silhouette.studio.training stock``). The truth: a part's own outline is that of its skin alone, whatever
lies before it taken away; a piece of it counts as drawn where background lies next to it. How clear a part is in a view
is the drawn length over its longest own outline in any view, and that over what a part draws that stands quite clear
(CLEAR: the rest borders on the next part). It is a blind spot if the clearest view of all draws less than half of that,
which is less than one of its two sides (BLIND); it is all but hidden under HIDDEN.

``measure`` finds the body in space from the outlines, all rings together, as the program does (``--only level``: from
that ring alone; ``--exact``: takes the true joints and cameras), and holds the blind spots against the truth. Of each
close-up that is proposed it prints how much of the part's skin, of what shows from the best of 72 places, is seen from
there with nothing before it.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from silhouette.reading import reader
from silhouette.records_space import JOINTS, SINGLE, Skeleton, SpaceJoint, StopCamera
from silhouette.settings import RINGS, Ring
from silhouette.shape.outline import outline_of
from silhouette.space import blind_spots, joints, orbit_fit
from silhouette.space import rings as space_rings
from silhouette.space.stature import stature_by_bones
from silhouette.studio import bodies, poses, training_views, views
from silhouette.studio.cameras import Camera, framed
from silhouette.studio.rig import Pose, Posed, Rig, pose_batch, pose_vectors

Floats = NDArray[np.float64]
PARTS = ("head", *(f"{part} {side}" for part in ("hand", "forearm", "upper arm", "foot", "shin", "thigh")
                   for side in ("left", "right")))
BONES = {"hand": ("wrist", "metacarpal", "finger"), "forearm": ("lowerarm",), "upper arm": ("upperarm",),
         "foot": ("foot", "toe"), "shin": ("lowerleg",), "thigh": ("upperleg",)}
HEIGHTS: dict[Ring, tuple[float, float]] = {"low": (0.2, 0.6), "level": (0.8, 1.3), "high": (1.7, 2.6)}
"""Of the cameras, metres."""
STOPS = 16
SIZE = (567, 756)
BLIND, HIDDEN = 0.5, 0.3
CLEAR = {"head": 0.71, "hand": 0.88, "forearm": 0.70, "upper arm": 0.53, "foot": 0.80, "shin": 0.65, "thigh": 0.52}
"""What parts draw that stand quite clear: 0.9 quantile of the clearest views of 90 turns near taught poses."""


# ------------------------------------------------------------------------------------------------------------- make

def part_of_vertex(shared: Rig) -> torch.Tensor:
    """(n,) 0 for the trunk, else 1 + place in PARTS, by the bones that move the vertex most."""
    share = torch.zeros(shared.weights.shape[0], 1 + len(PARTS))
    return share.index_add_(1, torch.tensor([_part_of_bone(n) for n in shared.names]), shared.weights).argmax(1)


def _part_of_bone(name: str) -> int:
    if name in ("neck03", "head", "eye.L", "eye.R"):
        return 1
    for part, starts in BONES.items():
        if name.startswith(starts):
            return 1 + PARTS.index(f"{part} {'right' if name.endswith('.R') else 'left'}")
    return 0


def lengths(seen: torch.Tensor, faces: torch.Tensor, part: torch.Tensor) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Drawn and own outline of every part (13,), pixels, and the mask, of one view (n, 2)."""
    drawn, own, mask = [], [], None
    for first in range(1, 1 + len(PARTS), 7):
        label = torch.where((part >= first) & (part < first + 7), part - first + 1, torch.zeros_like(part))
        bits = _bits(seen, faces, label)
        middle = bits[:, 1:-1, 1:-1]
        inner = middle & bits[:, :-2, 1:-1] & bits[:, 2:, 1:-1] & bits[:, 1:-1, :-2] & bits[:, 1:-1, 2:]
        edge, shown = (middle & ~inner).numpy(), views.drawn_pixels(bits).numpy()
        for k in range(1, min(7, 1 + len(PARTS) - first) + 1):
            drawn.append(np.count_nonzero(shown & (1 << k)))
            own.append(np.count_nonzero(edge & (1 << k)))
        mask = bits[0].numpy() > 0
    assert mask is not None
    return np.array(drawn, float), np.array(own, float), mask


def _bits(seen: torch.Tensor, faces: torch.Tensor, label: torch.Tensor) -> torch.Tensor:
    return views.rasterise(seen[None], faces, label, SIZE[1], SIZE[0])


def some_pose(rng: np.random.Generator, names: tuple[str, ...]) -> Pose:
    return poses.sample_near(rng, names) if rng.random() < 0.5 else poses.sample_close(rng, names)


def some_camera(rng: np.random.Generator, ring: Ring, points: Floats) -> Camera:
    distance = max(float(rng.uniform(2.6, 6.0)), float(np.hypot(points[:, 0], points[:, 1]).max()) + 1.2)
    height = float(rng.uniform(*HEIGHTS[ring]))
    tilt = float(np.degrees(np.arctan2(points[:, 2].max() / 2 - height, distance)) + rng.normal(0, 1.0))
    return framed(Camera(distance, height, tilt, 120.0, *SIZE), points, np.arange(0, 360, 30.0), margin=0.05)


def posed_one(stock: training_views.Stock, rng: np.random.Generator, names: tuple[str, ...]) -> Posed:
    """A random build of the stock in a random pose; of three such poses the one whose arms sink least into the body."""
    pick = int(rng.integers(len(stock.rest)))
    vectors = pose_vectors([some_pose(rng, names) for _ in range(3)])
    made = pose_batch(stock.rig, stock.rest[[pick] * 3], stock.heads[[pick] * 3], vectors)
    best = training_views._least_sunk(stock.rig, made, 3, np.array([True]))
    return Posed(*(one[best] for one in made))


def make(stock_file: Path, folder: Path, count: int, seed: int, chosen: str) -> None:
    stock = training_views.load_stock(stock_file, "cpu")
    part, faces = part_of_vertex(stock.rig), stock.rig.faces
    names = poses.TAUGHT if chosen == "taught" else poses.KEPT_OUT
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        place = folder / f"{chosen}_{seed}_{number:03d}.npz"
        if place.exists():
            continue
        rng = np.random.default_rng([seed, number, int(chosen == "kept")])
        one = posed_one(stock, rng, names)
        points = one.vertices[0].double().numpy()
        spots = {name: at[0].numpy() for name, at in bodies.joints_of(one, stock.rig.names).items()}
        held: dict[str, NDArray] = {f"joint {name}": place for name, place in spots.items()}
        held["part"] = part.numpy().astype(np.int8)
        held["faces"], held["points"] = faces.numpy().astype(np.int32), points.astype(np.float32)
        for ring in RINGS:
            camera = some_camera(rng, ring, points)
            angles = rng.uniform(0, 3) + np.arange(STOPS) * 360 / STOPS
            rows = [lengths(torch.from_numpy(camera.project(one.vertices[0].numpy(), float(a))[:, :2].copy()), faces,
                            part) for a in angles]
            scale = camera.focal_px / camera.distance_m
            held |= {f"{ring} drawn": np.array([r[0] for r in rows]) / scale,
                     f"{ring} own": np.array([r[1] for r in rows]) / scale,
                     f"{ring} masks": np.packbits(np.array([r[2] for r in rows]), axis=-1), f"{ring} angles": angles,
                     f"{ring} camera": np.array([camera.distance_m, camera.height_m, camera.tilt_deg, camera.focal_px])}
        np.savez_compressed(place, **held)


# ---------------------------------------------------------------------------------------------------------- measure

@dataclass(frozen=True)
class Judged:
    """A part of one turn."""

    kind: str
    true: float
    said: float | None
    """How clear, of parts that were called a blind spot."""
    shows: float | None = None
    """How much of the part the close-up shows, over what the best one would."""


def seen_by(held: dict[str, NDArray], rings: Sequence[Ring]) -> tuple[list[NDArray[np.bool_]], list[Ring]]:
    masks, ring_of = [], []
    for ring in rings:
        some = np.unpackbits(held[f"{ring} masks"], axis=-1, count=SIZE[0]).astype(bool)
        masks += list(some)
        ring_of += [ring] * len(some)
    return masks, ring_of


def true_skeleton(held: dict[str, NDArray], rings: Sequence[Ring]) -> Skeleton:
    """The true joints, and the true cameras of these rings."""
    made = []
    for joint in JOINTS:
        for side in (None,) if joint in SINGLE else ("left", "right"):
            name = joint.replace(" ", "_") + ("" if side is None else f"_{side[0]}")
            at = held[f"joint {name}"].tolist()
            made.append(SpaceJoint(joint, side, tuple(at), 0.01, True))              # type: ignore[arg-type]
    cameras = []
    for ring in rings:
        distance, height, tilt, focal = held[f"{ring} camera"].tolist()
        cameras += [StopCamera(float(a), distance, height, tilt, focal, 0.0, SIZE) for a in held[f"{ring} angles"]]
    return Skeleton(tuple(made), tuple(cameras))


def found_skeleton(held: dict[str, NDArray], rings: Sequence[Ring]) -> Skeleton:
    """Joints and cameras from the outlines alone, statures; the lens is known."""
    views = []
    for ring in rings:
        masks = seen_by(held, [ring])[0]
        focal = float(held[f"{ring} camera"][3]) / max(SIZE) * 36
        lines = [outline_of(mask) for mask in masks]
        bells = [None if line is None else reader.point_bells(line) for line in lines]
        cameras = orbit_fit.first_cameras(masks, held[f"{ring} angles"].tolist(), focal)
        views.append(space_rings.RingViews(bells, cameras, [None] * len(masks), joints.LENS_KNOWN))
    return space_rings.solve(views).skeleton


def judged(held: dict[str, NDArray], rings: Sequence[Ring], exact: bool) -> list[Judged]:
    masks, ring_of = seen_by(held, rings)
    skeleton = true_skeleton(held, rings) if exact else found_skeleton(held, rings)
    said = {(s.part, s.side): s for s in blind_spots.blind_spots(skeleton, masks, skeleton.cameras, ring_of)}
    own = np.concatenate([held[f"{ring} own"] for ring in RINGS]).max(axis=0)
    best = np.concatenate([held[f"{ring} drawn"] for ring in rings]).max(axis=0) / own
    made = []
    for number, name in enumerate(PARTS):
        kind, _, side = name.rpartition(" ") if name != "head" else ("head", "", "")
        spot = said.get((kind, side or None))                                        # type: ignore[call-overload]
        shows = None if spot is None else _shows(held, 1 + number, spot.angle, spot.height)
        made.append(Judged(kind, float(best[number] / CLEAR[kind]), None if spot is None else spot.clear, shows))
    return made


def _shows(held: dict[str, NDArray], label: int, angle: float, height: float) -> float:
    """How much of a part a close-up shows, of what the best of 72 shows; nearer faces are drawn over farther ones.

    height : statures
    """
    points, faces, part = held["points"].astype(np.float64), held["faces"], held["part"]
    stature = float(stature_by_bones(true_skeleton(held, ["level"])) or 1.7)
    middle = points[part == label].mean(axis=0)
    tries = [(angle, height * stature)] + [(a, middle[2] + up) for a in range(0, 360, 15) for up in (-0.5, 0.0, 0.5)]
    areas = [_area(points - [*middle[:2], 0], faces, part, label, a, middle[2], max(h, 0.05)) for a, h in tries]
    return areas[0] / max(*areas, 1)


def _area(points: Floats, faces: NDArray, part: NDArray, label: int, angle: float, at: float, height: float) -> int:
    away = 0.85
    camera = Camera(away, height, float(np.degrees(np.arctan2(at - height, away))), 24.0, 160, 160)
    seen = camera.project(points.astype(np.float32), angle)
    depth = seen[faces, 2].mean(axis=1)
    picture = np.zeros((160, 160), np.uint8)
    corners = np.round(seen[:, :2] * 16).astype(np.int32)
    order = np.argsort(-depth)
    for face in faces[order[depth[order] > 0.1]]:
        cv2.fillConvexPoly(picture, corners[face], int(part[face[0]] == label) + 1, shift=4)
    return int((picture == 2).sum())


def measure(folder: Path, rings: Sequence[Ring], exact: bool) -> None:
    rows: list[Judged] = []
    for place in sorted(folder.glob("*.npz")):
        with np.load(place) as f:
            rows += judged(dict(f), rings, exact)
    print(f"{len(rows) // len(PARTS)} turns, rings {', '.join(rings)}")
    print(f"{'':10} parts  blind  said  right   hidden  said   close-up shows, median and least")
    for kind in (*CLEAR, "all"):
        some = [r for r in rows if kind in (r.kind, "all")]
        said = [r for r in some if r.said is not None]
        blind, right = (sum(r.true < BLIND for r in group) for group in (some, said))
        hidden, named = (sum(r.true < HIDDEN for r in group) for group in (some, said))
        shows = [r.shows for r in said if r.shows is not None] or [np.nan]
        print(f"{kind:10}{len(some):6}{blind:7}{len(said):6}{right:7}{hidden:9}{named:6}"
              f"   {np.median(shows):.2f} {min(shows):.2f}")
    for r in sorted((r for r in rows if r.said is not None), key=lambda r: r.said or 0.0):
        print(f"  {r.kind} said {r.said:.2f} true {r.true:.2f} shows {r.shows:.2f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(dest="what", required=True)
    making = commands.add_parser("make")
    making.add_argument("stock", type=Path)
    making.add_argument("folder", type=Path)
    making.add_argument("count", type=int)
    making.add_argument("seed", type=int)
    making.add_argument("chosen", choices=("taught", "kept"))
    measuring = commands.add_parser("measure")
    measuring.add_argument("folder", type=Path)
    measuring.add_argument("--only", choices=RINGS)
    measuring.add_argument("--exact", action="store_true")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    if args.what == "measure":
        measure(args.folder, RINGS if args.only is None else (args.only,), args.exact)
    else:
        make(args.stock, args.folder, args.count, args.seed, args.chosen)


if __name__ == "__main__":
    main()
