"""Training views by the hundred thousand: black shapes on the reader's canvas with everything known about them.

The bodies travel as a *stock*: a few hundred builds at rest, written here where anny is installed and read on the
machine that trains, which needs torch alone. A new build is a blend of two of the stock.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from silhouette.studio import bodies, dress, poses, rig, views

CANVAS = 640
"""Side of the square a view is stored on, pixels."""
FIGURE = 590
"""Longer side of the figure's box on the canvas, pixels; the figure stands in the middle. The reader frames alike."""
MAPS = 20
"""Side of the maps that show where limbs lie and where they are drawn."""
TURN = 24
"""Views a pose."""
POINTS = ("head", "hand_l", "hand_r", "elbow_l", "elbow_r", "foot_l", "foot_r", "knee_l", "knee_r", "crown", "neck",
          "shoulder_l", "shoulder_r", "wrist_l", "wrist_r", "hip_l", "hip_r", "ankle_l", "ankle_r",
          "hand_end_l", "hand_end_r", "foot_end_l", "foot_end_r")
"""What the reader places, by its name in ``bodies.joints_of``; of a pair the figure's left comes first."""
PAIRS = tuple((i, i + 1) for i, point in enumerate(POINTS) if point.endswith("_l"))
"""Places in POINTS of the two of a kind. An outline cannot tell which is which, so pairs are learned without an
order."""


@dataclass
class Stock:
    """Builds at rest and the rig they share."""

    rig: rig.Rig
    rest: torch.Tensor
    """(s, n, 3) metres."""
    heads: torch.Tensor
    """(s, bones, 3) metres."""
    builds: torch.Tensor
    """(s, 6) the phenotype values of ``bodies.Build``."""


@dataclass
class Views:
    """Many views, one row each; on whatever device."""

    masks: torch.Tensor
    """(n, CANVAS, CANVAS / 8) uint8, eight pixels a byte, the leftmost in the highest bit."""
    legibility: torch.Tensor
    """(n, 5) head, arm_l, arm_r, leg_l, leg_r."""
    joints: torch.Tensor
    """(n, points, 2) POINTS as x, y on the canvas, 0 to 1."""
    maps: torch.Tensor
    """(n, 6, MAPS, MAPS) uint8: share of each cell that head, arms, legs cover, then how much of their outline is drawn
    in it."""
    height: torch.Tensor
    """(n,) figure height on the canvas, 0 to 1."""
    angle: torch.Tensor
    """(n,) degrees."""
    pose: torch.Tensor
    """(n,) number of the pose."""
    about: torch.Tensor
    """(n, 6 + 2 + outfit) build, camera distance and height in metres, outfit."""

    def __len__(self) -> int:
        return len(self.masks)

    def rows(self, index: torch.Tensor) -> Views:
        return Views(**{f.name: getattr(self, f.name)[index] for f in fields(self)})

    @staticmethod
    def joined(parts: list[Views]) -> Views:
        return Views(**{f.name: torch.cat([getattr(p, f.name) for p in parts]) for f in fields(Views)})


def save_stock(path: Path, count: int, seed: int) -> None:
    """Write ``count`` random builds at rest; needs anny."""
    rng = np.random.default_rng(seed)
    low, high = (0.0, 0.36, 0.1, 0.1, 0.15, 0.1), (1.0, 1.0, 0.95, 0.95, 0.85, 0.95)
    values = rng.uniform(low, high, (count, 6))
    rest, heads = [], []
    for row in values:
        r, h = bodies.rest_bodies([bodies.Build(*map(float, row))])
        rest.append(r.half().numpy())
        heads.append(h.numpy())
    shared = bodies.model_rig()
    held = shared.weights.nonzero().T
    np.savez_compressed(path, rest=np.concatenate(rest), heads=np.concatenate(heads), builds=values,
                        names=np.array(shared.names), parents=np.array(shared.parents),
                        faces=shared.faces.int().numpy(),
                        weight_at=held.int().numpy(), weight=shared.weights[tuple(held)].numpy())


def save_views(path: Path, made: Views) -> None:
    """Write views: an ``.npz`` small, without their limb maps, else as torch keeps them."""
    if path.suffix == ".npz":
        kinds = [f.name for f in fields(Views) if f.name != "maps"]
        np.savez_compressed(path, **{kind: getattr(made, kind).cpu().numpy() for kind in kinds})
    else:
        torch.save({f.name: getattr(made, f.name).cpu() for f in fields(Views)}, path)


def load_views(paths: list[Path], device: torch.device | str) -> Views:
    """Read and join what :func:`save_views` wrote, one file after the other; limb maps that were left out are 0."""
    return Views.joined([_load(path, device) for path in paths])


def _load(path: Path, device: torch.device | str) -> Views:
    if path.suffix != ".npz":
        return Views(**{k: v.to(device) for k, v in torch.load(path, map_location="cpu", weights_only=True).items()})
    with np.load(path) as f:
        held = {kind: torch.from_numpy(f[kind]).to(device) for kind in f.files}
    empty = torch.zeros(len(held["masks"]), 6, MAPS, MAPS, dtype=torch.uint8, device=device)
    return Views(**held, maps=empty)


def load_stock(path: Path, device: torch.device | str) -> Stock:
    """Read what :func:`save_stock` wrote."""
    with np.load(path) as f:
        names, parents = [str(n) for n in f["names"]], [int(p) for p in f["parents"]]
        weights = torch.zeros(f["rest"].shape[1], len(names))
        weights[tuple(torch.from_numpy(f["weight_at"]).long())] = torch.from_numpy(f["weight"])
        made = rig.make_rig(names, parents, weights, torch.from_numpy(f["faces"]).long())
        return Stock(made.to(device), torch.from_numpy(f["rest"]).float().to(device),
                     torch.from_numpy(f["heads"]).float().to(device), torch.from_numpy(f["builds"]).float().to(device))


@dataclass(frozen=True)
class Kind:
    """How the poses and cameras of some views are drawn."""

    pose: Callable[[np.random.Generator, tuple[str, ...]], rig.Pose]
    names: tuple[str, ...] = poses.TAUGHT
    cameras: str = "usual"
    """A key of CAMERAS."""
    tries: int = 1
    """Poses drawn for each one that is used: the one whose arms sink least into the body."""
    bare: float = 0.0
    """Share of the bodies that wear and hold nothing, beside those that happen to."""
    first_pose: int = 0
    """Number of the first pose."""
    distance: tuple[float, float] = (2.0, 8.0)
    """Nearest and farthest camera, metres."""
    stands: tuple[tuple[float, float], tuple[float, float]] | None = None
    """Least and most distance and height of the cameras, metres, in place of ``cameras`` and ``distance``; aimed at the
    figure."""


KINDS = {
    "train": Kind(poses.sample_wide, cameras="wide", tries=3, bare=0.3),
    "random": Kind(poses.sample, first_pose=10**6),
    "named": Kind(poses.sample_near, poses.KEPT_OUT, first_pose=2 * 10**6),
    "close": Kind(poses.sample_close, cameras="usual", tries=3, first_pose=3 * 10**6),
    "neat": Kind(poses.sample_neat, poses.KEPT_OUT, tries=3, bare=1.0, first_pose=5 * 10**6),
    "tilted": Kind(poses.sample, cameras="low and high", first_pose=4 * 10**6),
}
"""Views to train on, and to test on: poses drawn like those of training but for the arms held close and the unusual
cameras; poses near named ones that training never saw; arms held close; tidy poses of bare bodies; cameras that stand
low or high."""
CAMERAS = {"usual": 0.0, "wide": 0.45, "low and high": 1.0, "any": 1.0}
"""Share of the cameras that stand anywhere from 0.2 to 2.6 m high; with "low and high" under 0.5 or over 1.7 m."""


def make_views(stock: Stock, count: int, seed: int, kind: Kind, together: int = 4) -> Views:
    """Views of ``count`` random poses, TURN each; ``together`` poses are worked on at once."""
    rng = np.random.default_rng(seed)
    parts: list[Views] = []
    for start in range(0, count, together):
        b = min(together, count - start)
        parts.append(turnarounds(stock, rng, *drawn(rng, kind, b), kind, kind.first_pose + start))
    return Views.joined(parts)


def drawn(rng: np.random.Generator, kind: Kind, count: int) -> tuple[torch.Tensor, torch.Tensor]:
    """Vectors of poses (count * tries, rig.WIDTH), tries of one after the other, and outfits (count, fields)."""
    vectors = rig.pose_vectors([kind.pose(rng, kind.names) for _ in range(count * kind.tries)])
    outfits = [dress.sample(rng) for _ in range(count)]
    if kind.bare:
        outfits = [dress.NAKED if rng.random() < kind.bare else outfit for outfit in outfits]
    return vectors, dress.vector(outfits)


def turnarounds(stock: Stock, rng: np.random.Generator, vectors: torch.Tensor, outfit: torch.Tensor, kind: Kind,
                first_pose: int) -> Views:
    """Views of the poses that :func:`drawn` drew, on random builds, by random cameras."""
    device, b = stock.rest.device, len(outfit)
    pick = torch.from_numpy(rng.integers(len(stock.rest), size=(2, b))).to(device)
    share = torch.from_numpy(rng.uniform(0, 1, b)).float().to(device)[:, None]
    build = torch.lerp(stock.builds[pick[0]], stock.builds[pick[1]], share)
    rest = torch.lerp(stock.rest[pick[0]], stock.rest[pick[1]], share[:, None])
    heads = torch.lerp(stock.heads[pick[0]], stock.heads[pick[1]], share[:, None])
    posed = rig.pose_batch(stock.rig, rest.repeat_interleave(kind.tries, 0), heads.repeat_interleave(kind.tries, 0),
                           vectors.to(device))
    if kind.tries > 1:
        best = _least_sunk(stock.rig, posed, kind.tries, rng.random(b) < 0.8)
        posed = rig.Posed(*(part[best] for part in posed))
    joints = bodies.joints_of(posed, stock.rig.names)
    outfit = outfit.to(device)
    extra, extra_faces, extra_limb = dress.dress_batch(joints, posed.vertices, outfit)
    skin = torch.cat([posed.vertices, extra], 1)
    faces = torch.cat([stock.rig.faces, extra_faces + posed.vertices.shape[1]])
    limb = torch.cat([stock.rig.limb.long(), extra_limb.long().to(device)])
    spots = torch.stack([joints[p] for p in POINTS], 1)
    seen, angle, camera = _photographed(torch.cat([skin, spots], 1), rng, kind)   # (b, TURN, n, 2)
    seen, spots = seen[:, :, : skin.shape[1]], seen[:, :, skin.shape[1] :]
    low, high = seen.amin(2), seen.amax(2)
    scale = FIGURE / (high - low).amax(-1).clamp(min=1e-6)
    shift = CANVAS / 2 - (low + high) / 2 * scale[..., None]
    framed = (seen * scale[..., None, None] + shift[:, :, None]).flatten(0, 1)
    bits = views.rasterise(framed, faces, limb, CANVAS, CANVAS)
    lengths, own = (lengths.view(b, TURN, 5) / scale[..., None] for lengths in views.outline_lengths(bits))
    legible = lengths / own.amax(1, keepdim=True).clamp(min=1e-6)                         # lengths at one scale a turn
    spots = (spots * scale[..., None, None] + shift[:, :, None]) / CANVAS
    about = torch.cat([build, camera, outfit], 1).repeat_interleave(TURN, 0)
    number = torch.arange(first_pose, first_pose + b, device=device).repeat_interleave(TURN)
    tall = ((high - low)[..., 1] * scale / CANVAS).flatten()
    return Views(pack(bits > 0), legible.flatten(0, 1), spots.flatten(0, 1), _limb_maps(bits), tall, angle.flatten(),
                 number, about)


ARM_RADIUS = 0.035
"""How near the middle of an arm may come to the skin of trunk, head and legs before it counts as sunk, metres."""


def _least_sunk(shared: rig.Rig, posed: rig.Posed, tries: int, choose: NDArray[np.bool_]) -> torch.Tensor:
    """(b,) which of the bodies (b * tries) to use: of each pose's tries the one whose arms sink least into the body;
    where ``choose`` is not set the first, since a real arm presses into the flesh too."""
    joints = bodies.joints_of(posed, shared.names)
    probes = []
    for side in "lr":
        chain = [joints[f"{joint}_{side}"] for joint in ("shoulder", "elbow", "wrist", "hand_end")]
        for (one, other), shares in zip(itertools.pairwise(chain), ((0.7,), (0, 0.33, 0.67), (0, 0.5, 1)), strict=True):
            probes += [torch.lerp(one, other, share) for share in shares]
    corners = posed.vertices[:, shared.faces]
    normal = torch.linalg.cross(corners[:, :, 1] - corners[:, :, 0], corners[:, :, 2] - corners[:, :, 0])
    body = ((shared.limb != 2) & (shared.limb != 3))[shared.faces[:, 0]].nonzero()[:, 0][::4]
    middle, normal = corners[:, body].mean(2), normal[:, body]
    points = torch.stack(probes, 1)
    nearest = torch.cdist(points, middle).argmin(2)[..., None].expand(-1, -1, 3)
    out = torch.nn.functional.normalize(normal.gather(1, nearest), dim=-1)
    sunk = (ARM_RADIUS - ((points - middle.gather(1, nearest)) * out).sum(-1)).clamp(min=0).sum(1)
    best = sunk.view(-1, tries).argmin(1)
    best = torch.where(torch.from_numpy(choose).to(best.device), best, torch.zeros_like(best))
    return torch.arange(len(best), device=best.device) * tries + best


def _photographed(points: torch.Tensor, rng: np.random.Generator,
                  kind: Kind) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Points (b, n, 3) from all round: picture (b, TURN, n, 2), angles (b, TURN), distance and height of the cameras.

    One camera a pose, so far away, between knee and head, aimed at the figure with a small error, nearly upright;
    a share of them, see CAMERAS, lower or higher, aimed at the figure or level. The picture's unit is the focal length.
    """
    b, device = points.shape[0], points.device
    top = points[..., 2].amax(1).cpu().numpy()
    reach = points[..., :2].norm(dim=-1).amax(1).cpu().numpy()
    distance = np.maximum(rng.uniform(*kind.distance, b), reach + 0.9)
    height = rng.uniform(0.28, 1.0, b) * np.maximum(top, 0.9)
    aimed = np.ones(b)
    if kind.stands is not None:
        (near, far), (low, high) = kind.stands
        distance, height = np.maximum(rng.uniform(near, far, b), reach + 0.9), rng.uniform(low, high, b)
    elif kind.cameras != "usual":
        low_or_high = np.where(rng.random(b) < 0.4, rng.uniform(0.2, 0.5, b), rng.uniform(1.7, 2.6, b))
        any_height = low_or_high if kind.cameras == "low and high" else rng.uniform(0.2, 2.6, b)
        chosen = rng.random(b) < CAMERAS[kind.cameras]
        height = np.where(chosen, any_height, height)
        aimed = np.where(chosen & (rng.random(b) < 0.4), rng.uniform(0, 0.4, b), 1.0)
    pitch = np.arctan2(top / 2 - height, distance) * aimed + np.deg2rad(rng.normal(0, 2.5, b))
    roll = np.deg2rad(rng.normal(0, 1.2, b))
    angle = rng.uniform(0, 360, (b, 1)) + np.arange(TURN) * (360 / TURN) + rng.uniform(-5, 5, (b, TURN))
    d, h, p, r = (torch.from_numpy(v).float().to(device)[:, None] for v in (distance, height, pitch, roll))
    a = torch.deg2rad(torch.from_numpy(angle).float().to(device))[..., None]              # (b, TURN, 1)
    x, y, z = points[:, None, :, 0], points[:, None, :, 1], (points[..., 2] - h)[:, None]
    across = x * torch.cos(a) - y * torch.sin(a)
    ahead = x * torch.sin(a) + y * torch.cos(a) + d[:, None]
    depth = ahead * torch.cos(p)[:, None] + z * torch.sin(p)[:, None]
    below = ahead * torch.sin(p)[:, None] - z * torch.cos(p)[:, None]
    u, v = across / depth.clamp(min=0.2), below / depth.clamp(min=0.2)
    leaned = torch.stack([u * torch.cos(r)[:, None] - v * torch.sin(r)[:, None],
                          u * torch.sin(r)[:, None] + v * torch.cos(r)[:, None]], -1)
    return leaned, torch.from_numpy(angle % 360).float().to(device), torch.cat([d, h], 1)


def _limb_maps(bits: torch.Tensor) -> torch.Tensor:
    """(n, 6, MAPS, MAPS) uint8 from (n, CANVAS, CANVAS) bits."""
    cell = CANVAS // MAPS
    drawn_too = torch.nn.functional.pad(views.drawn_pixels(bits), (1, 1, 1, 1))
    out = []
    for source, most in ((bits, cell * cell), (drawn_too, 2 * cell)):
        for group in ((1,), (2, 3), (4, 5)):
            here = (source & sum(1 << k for k in group)) != 0
            count = here.view(-1, MAPS, cell, MAPS, cell).sum((2, 4))
            out.append(((count / most).clamp(max=1) * 255).round().to(torch.uint8))
    return torch.stack(out, 1)


def pack(mask: torch.Tensor) -> torch.Tensor:
    """(n, h, w) bool to (n, h, w / 8) bytes."""
    if mask.device.type == "cpu":
        return torch.from_numpy(np.packbits(mask.numpy(), axis=-1))
    weight = 2 ** torch.arange(7, -1, -1, device=mask.device, dtype=torch.int32)
    return (mask.unflatten(-1, (-1, 8)).int() * weight).sum(-1).to(torch.uint8)


def unpack(packed: torch.Tensor) -> torch.Tensor:
    """(n, h, w / 8) bytes to (n, h, w) bool."""
    if packed.device.type == "cpu":
        return torch.from_numpy(np.unpackbits(packed.numpy(), axis=-1)).bool()
    shift = torch.arange(7, -1, -1, device=packed.device, dtype=torch.uint8)
    return ((packed[..., None] >> shift) & 1).bool().flatten(-2)


def halved(packed: torch.Tensor) -> torch.Tensor:
    """(n, h, w / 8) bytes to (n, h / 2, w / 2) float: the share of each square of four pixels that is covered."""
    mask = unpack(packed).to(torch.uint8)
    return (mask[:, ::2, ::2] + mask[:, 1::2, ::2] + mask[:, ::2, 1::2] + mask[:, 1::2, 1::2]).float() / 4
