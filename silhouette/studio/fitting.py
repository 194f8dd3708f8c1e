"""Fit the network behind limb separation on rendered bodies (``shape/legibility.npz``).

    python -m silhouette.studio.fitting draw FILE --poses 400 --seed 100
    python -m silhouette.studio.fitting draw KEPT --poses 40 --seed 9001 --kept-out
    python -m silhouette.studio.fitting fit FILE [FILE ...] -o legibility.npz
    python -m silhouette.studio.fitting table KEPT

``draw`` poses random bodies, half of them dressed, looks at each from all round and writes how every outline, and that
of a roughened copy, is described along its length, which limbs each place of it draws, and how legible the limbs truly
are. ``fit`` trains NETWORKS small networks on that. The places' limbs are a lesson of their own: a network that has to
say what each stretch of an outline draws learns more from the same poses. ``table`` prints how the numbers that ship do
on poses and bodies that they never saw.

The numbers that ship were fitted on 14,400 views of 1,200 random poses (seeds 100, 101 and 102, 400 poses each), never
near the poses of ``poses.KEPT_OUT``. On 40 poses kept out (seed 9001: 960 views, drawn once the fit was done) limb
separation follows the mean over the five limbs with 0.936 and the two least legible ones with 0.892, on roughened
copies with 0.932 and 0.886. Numbers taken of bands from top to foot, as before, know a limb only where a standing
figure has it: on other kept-out poses they gave 0.903 and 0.871 where these give 0.933 and 0.898.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch.nn import functional

from silhouette.records import Mask, Outline
from silhouette.shape import contour, legibility
from silhouette.shape.measure import normalised
from silhouette.shape.outline import outline_of
from silhouette.studio import bodies, dress, poses, views
from silhouette.studio.cameras import Camera

Floats = NDArray[np.float64]

STANDS = 0.55
"""Legibility beyond which a limb is counted as standing."""
TURN, KEPT_TURN = 12, 24
"""Views a pose, to fit on and to measure on."""
WIDTH, HEAD, SECOND, NETWORKS, EPOCHS, BATCH = 80, 96, 32, 1, 28, 128
"""Units of the layers along the outline and of the two after them, networks that are averaged, passes over the data,
views at once."""
AT_ONCE = 80
"""Places of an outline that are looked at in one step: every outline is seen a little differently each time."""
STEADY = 2.0
"""Weight of the difference between a shape and its roughened copy in the loss: the same picture, the same answer."""
BLUR = 0.02
"""Noise on what is learnt, standard deviations of each feature."""
LESSON = 0.2
"""Weight of what each place draws."""
DRAWS = (0b10, 0b1100, 0b110000, 0b1)
"""Head, arms, legs, core as bits of ``views.rasterise``."""


@dataclass
class Described:
    """Views as the networks learn them, a row each; the second of every pair is the roughened copy's."""

    spots: NDArray[np.float16]
    """(n, 2, SPOTS, features)"""
    side: NDArray[np.float16]
    """(n, 2, SPOTS)"""
    whole: NDArray[np.float32]
    """(n, 2, features)"""
    draws: NDArray[np.uint8]
    """(n, 2, SPOTS) bits of the limbs that lie at each place."""
    truth: NDArray[np.float32]
    """(n, 5) legibility of head, arm_l, arm_r, leg_l, leg_r."""
    pose: NDArray[np.int64]
    """(n,) number of the pose."""

    @staticmethod
    def joined(parts: list[Described]) -> Described:
        """All rows; poses are numbered on from part to part."""
        first = np.cumsum([0, *(p.pose.max() + 1 for p in parts)])
        columns = {f.name: [getattr(p, f.name) for p in parts] for f in fields(Described)}
        columns["pose"] = [p.pose + k for p, k in zip(parts, first, strict=False)]
        return Described(**{name: np.concatenate(values) for name, values in columns.items()})

    @staticmethod
    def load(path: Path) -> Described:
        with np.load(path) as stored:
            return Described(**{f.name: stored[f.name] for f in fields(Described)})

    def save(self, path: Path) -> None:
        np.savez(path, **{f.name: getattr(self, f.name) for f in fields(Described)})


# ---------------------------------------------------------------------------------------------------------- drawing

def roughened(mask: Mask, rng: np.random.Generator) -> Mask:
    """The same figure as another picture would give it: another size, its edge moved by up to a few thousandths."""
    scale = float(rng.uniform(0.6, 1.4))
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    drawn = cv2.resize(mask.astype(np.float32), None, fx=scale, fy=scale, interpolation=how)
    height = float(np.ptp(np.flatnonzero(mask.any(axis=1)))) * scale
    grain = np.asarray(rng.standard_normal(drawn.shape, dtype=np.float32))
    noise = np.asarray(cv2.GaussianBlur(grain, (0, 0), float(rng.uniform(0.5, 4))))
    soft = cv2.GaussianBlur(drawn, (0, 0), max(0.7, 0.002 * height))
    return np.asarray(soft + noise / noise.std() * rng.uniform(0, 0.25) > 0.5 + rng.uniform(-0.06, 0.06))


def turnaround(rng: np.random.Generator, kept_out: bool) -> tuple[list[NDArray[np.uint8]], NDArray[np.float32]]:
    """Limb bits (h, w) of each view of a random pose, as ``views.rasterise`` gives them, and legibility (views, 5)."""
    build = bodies.Build(rng.uniform(0, 1), rng.uniform(0.4, 1), rng.uniform(0.1, 0.95), rng.uniform(0.1, 0.95),
                         rng.uniform(0.15, 0.85), rng.uniform(0.1, 0.95))
    pose = poses.sample(rng, poses.KEPT_OUT if kept_out else poses.TAUGHT)
    worn = dress.sample(rng) if rng.random() < 0.5 else dress.NAKED
    body = dress.dress(bodies.pose_body(build, pose), worn)
    camera, turn = _camera(body, rng), KEPT_TURN if kept_out else TURN
    angles = (np.arange(turn) + rng.uniform(-0.3, 0.3, turn)) * 360 / turn % 360
    seen = np.stack([camera.project(body.vertices, float(a))[:, :2] for a in angles])
    seen *= views.FINE_PX / max(float(np.ptp(s[:, 1])) for s in seen)
    faces, limb = torch.from_numpy(body.faces).long(), torch.from_numpy(body.limb).long()
    bits, drawn, own = [], [], []
    for points in torch.from_numpy(seen):
        low = points.amin(0)
        size = (points.amax(0) - low).ceil().long() + 4
        one = views.rasterise((points - low + 2)[None], faces, limb, int(size[1]), int(size[0]))
        lengths = views.outline_lengths(one)
        bits.append(one[0].numpy())
        drawn.append(lengths[0])
        own.append(lengths[1])
    return bits, views.legibility_of(torch.cat(drawn), torch.cat(own)).numpy()


def _camera(body: bodies.Body, rng: np.random.Generator) -> Camera:
    """2.3 to 8 m away, 0.3 to 2.4 m high, aimed at the figure and held upright with a small error."""
    top, reach = float(body.vertices[:, 2].max()), float(np.linalg.norm(body.vertices[:, :2], axis=1).max())
    distance, height = max(rng.uniform(2.3, 8), reach + 0.8), rng.uniform(0.3, 2.4)
    tilt = float(np.degrees(np.arctan2(top / 2 - height, distance)) + rng.normal(0, 2))
    return Camera(distance, height, tilt, roll_deg=float(rng.normal(0, 1.2)))


def described(mask: Mask) -> tuple[Outline, legibility.Spots, legibility.Features] | None:
    """The figure in a mask as the networks see it, None where there is none."""
    found = outline_of(mask)
    if found is None:
        return None
    polygon = normalised(found.polygon)
    spots = legibility.spots_of(polygon)
    return found, spots, legibility.features(polygon, contour.raster(polygon), spots)


def drawn_at(bits: NDArray[np.uint8], found: Outline, spots: legibility.Spots, scale: float) -> NDArray[np.uint8]:
    """(n,) bits of the limbs that lie within about 1.5 pixels of places just inside the outline.

    ``scale`` is the size of the bits over that of the picture in which the outline was found.
    """
    inside = (spots.at * found.height_px + found.origin_px) * scale - 1.5 * spots.outward
    most = np.array(bits.shape[::-1]) - 1
    seen = np.zeros(len(inside), np.uint8)
    for near in ((0, 0), (1.5, 0), (-1.5, 0), (0, 1.5), (0, -1.5)):
        x, y = np.clip(np.floor(inside + near).astype(int), 0, most).T
        seen |= bits[y, x]
    return seen


def draw(n_poses: int, seed: int, kept_out: bool) -> Described:
    """Random poses from all round, described."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[Any, ...]] = []
    for pose in range(n_poses):
        for bits, truth in zip(*turnaround(rng, kept_out), strict=True):
            both = []
            for mask in (bits > 0, roughened(bits > 0, rng)):
                seen = described(mask)
                if seen is None:
                    break
                found, spots, values = seen
                n, size = len(spots.at), legibility.SPOTS
                some = np.arange(n) if n == size else np.sort(rng.choice(n, size, replace=n < size))
                both.append((values.spots[some], values.side[some], values.whole,
                             drawn_at(bits, found, spots, len(bits) / len(mask))[some]))
            else:
                rows.append((*(np.stack(pair) for pair in zip(*both, strict=True)), truth, pose))
    kinds = (np.float16, np.float16, np.float32, np.uint8, np.float32, np.int64)
    return Described(*(np.stack(column).astype(kind) for column, kind in zip(zip(*rows, strict=True), kinds,
                                                                              strict=True)))


# ---------------------------------------------------------------------------------------------------------- fitting

def targets(truth: Floats) -> Floats:
    """(n, 8) what the networks learn, from (n, 5) limb legibility: head, weaker and stronger arm, weaker and stronger
    leg, mean, mean of the two least, share of limbs that stand (soft at its edge)."""
    ordered = np.sort(truth, axis=1)
    stands = 1 / (1 + np.exp(-(truth - STANDS) / 0.05))
    arms, legs = np.sort(truth[:, 1:3], axis=1), np.sort(truth[:, 3:], axis=1)
    return np.column_stack([truth[:, 0], arms, legs, truth.mean(axis=1),
                            ordered[:, :2].mean(axis=1), stands.mean(axis=1)])


class Net(torch.nn.Module):
    """The network of :func:`silhouette.shape.legibility.guess`, and what it says of single places."""

    def __init__(self, spots: int, whole: int) -> None:
        super().__init__()
        linear = torch.nn.Linear
        self.one, self.about = linear(spots, WIDTH), linear(whole, WIDTH, bias=False)
        self.two, self.three = linear(WIDTH, WIDTH), linear(WIDTH, WIDTH)
        self.summed, self.beside = linear(WIDTH, WIDTH, bias=False), linear(WIDTH, WIDTH, bias=False)
        self.head = torch.nn.Sequential(
            linear(2 * WIDTH + whole, HEAD), torch.nn.SiLU(), torch.nn.Dropout(0.1),
            linear(HEAD, SECOND), torch.nn.SiLU(), linear(SECOND, 8))
        self.lesson = linear(WIDTH, len(DRAWS))

    def forward(self, spots: torch.Tensor, side: torch.Tensor, whole: torch.Tensor, length: torch.Tensor
                ) -> tuple[torch.Tensor, torch.Tensor]:
        """(b, 8) from spots (b, n, features), side (b, n), whole (b, features), length (b, 1); (b, n, 4) what each
        place draws."""
        bent, x = functional.silu, side[..., None]
        first = bent(self.two(bent(self.one(spots) + self.about(whole)[:, None])))
        beside = x * self.beside((x * first).mean(1) * length)[:, None]
        again = bent(self.three(first) + beside + self.summed(first.mean(1) * length)[:, None])
        summed = [again.mean(1) * length, (x * again).mean(1).abs() * length, whole]
        return self.head(torch.cat(summed, 1)), self.lesson(again)

    def layers(self) -> list[NDArray[np.float32]]:
        """The weights in the order of ``legibility.LAYERS``."""
        head = [p for k in (0, 3, 5) for p in (self.head[k].weight, self.head[k].bias)]
        held = [self.one.weight, self.about.weight, self.one.bias, self.two.weight, self.two.bias,
                self.three.weight, self.summed.weight, self.beside.weight, self.three.bias, *head]
        return [p.detach().numpy().astype(np.float32) for p in held]


def fit(spots: torch.Tensor, side: torch.Tensor, whole: torch.Tensor, length: torch.Tensor, draws: torch.Tensor,
        y: torch.Tensor, seed: int) -> Net:
    """Train one network on standardised views: spots (n, 2, SPOTS, f), side (n, 2, SPOTS), whole (n, 2, g), length
    (n, 2, 1), bits (n, 2, SPOTS), targets (n, 8)."""
    torch.manual_seed(seed)
    net = Net(spots.shape[-1], whole.shape[-1])
    learn = torch.optim.AdamW(net.parameters(), weight_decay=0.02)
    weight = torch.tensor([1.0, 1, 1, 1, 1, 3, 3, 2])
    batches = len(y) // BATCH + 1
    pace = torch.optim.lr_scheduler.OneCycleLR(learn, 4e-3, total_steps=EPOCHS * batches)
    which = torch.tensor(DRAWS, dtype=torch.uint8)
    for _ in range(EPOCHS):
        for rows in torch.randperm(len(y)).tensor_split(batches):
            size = spots.shape[2]
            some = ((torch.arange(AT_ONCE) * size / AT_ONCE + int(torch.randint(size, (1,)))) % size).long()
            at = (rows[:, None, None], torch.arange(2)[:, None], some)
            seen, beside, about, lesson = spots[at].float(), side[at].float(), whole[rows], draws[at]
            seen = seen + BLUR * torch.randn(len(rows), 1, AT_ONCE, seen.shape[-1])
            about = about + BLUR * torch.randn(len(rows), 1, about.shape[-1])
            keep = torch.get_rng_state()
            ours, says = net(seen[:, 0], beside[:, 0], about[:, 0], length[rows, 0])
            torch.set_rng_state(keep)  # the same units drop out for the copy
            theirs, copy_says = net(seen[:, 1], beside[:, 1], about[:, 1], length[rows, 1])
            loss = ((ours - y[rows]) ** 2 + (theirs - y[rows]) ** 2 + STEADY * (ours - theirs) ** 2) * weight
            true = ((lesson[..., None] & which) > 0).float()
            taught = sum(functional.binary_cross_entropy_with_logits(s, t)
                         for s, t in ((says, true[:, 0]), (copy_says, true[:, 1])))
            learn.zero_grad()
            (loss.mean() + LESSON * taught).backward()
            learn.step()
            pace.step()
    return net.eval()


def store(path: Path, rows: Described) -> None:
    """Standardise, train NETWORKS networks, and write them as plain numbers."""
    some = rows.spots[:: max(1, len(rows.pose) // 5000), 0].astype(np.float32).reshape(-1, rows.spots.shape[-1])
    numbers = {"spots_mean": some.mean(axis=0), "spots_spread": some.std(axis=0) + 1e-3,
               "whole_mean": rows.whole[:, 0].mean(axis=0), "whole_spread": rows.whole[:, 0].std(axis=0) + 1e-3}
    limit = legibility.LIMIT
    whole = np.clip((rows.whole - numbers["whole_mean"]) / numbers["whole_spread"], -limit, limit)
    spots = np.empty_like(rows.spots)
    for k, values in enumerate(rows.spots):
        spots[k] = np.clip((values - numbers["spots_mean"]) / numbers["spots_spread"], -limit, limit)
    given = (torch.from_numpy(spots), torch.from_numpy(np.clip(rows.side, -limit, limit)),
             torch.from_numpy(whole).float(),
             torch.from_numpy(rows.whole[..., :1] / legibility.LENGTH).float(), torch.from_numpy(rows.draws),
             torch.from_numpy(targets(rows.truth.astype(float))).float())
    nets = []
    for seed in range(NETWORKS):
        nets.append(fit(*given, seed).layers())
        layers = {name: np.stack([net[k] for net in nets]) for k, name in enumerate(legibility.LAYERS)}
        whole_file = numbers | layers
        np.savez_compressed(path, **{name: values.astype(np.float32) for name, values in whole_file.items()})
        print(f"network {seed + 1} of {NETWORKS} is fitted", flush=True)


# -------------------------------------------------------------------------------------------------------- measuring

def spearman(a: Floats, b: Floats) -> float:
    """Spearman's rank correlation."""
    from scipy.stats import spearmanr

    return float(spearmanr(a, b)[0])


def table(rows: Described) -> str:
    """How the shipped numbers do on views that they were not fitted on; exact shapes, then roughened ones."""
    truth = rows.truth.astype(float)
    mean, two = truth.mean(axis=1), np.sort(truth, axis=1)[:, :2].mean(axis=1)
    lines = [f"{len(mean)} views of {len(np.unique(rows.pose))} poses; Spearman"]
    for copy, what in enumerate(("exact", "roughened")):
        guesses = [legibility.guess(legibility.Features(*(v.astype(float) for v in values))) for values in
                   zip(rows.spots[:, copy], rows.side[:, copy], rows.whole[:, copy], strict=True)]
        found = np.array([legibility.separation(g) for g in guesses])
        inside = [spearman(found[rows.pose == p], mean[rows.pose == p]) for p in np.unique(rows.pose)]
        bare = rows.whole[:, copy, 0].astype(float)
        lines += [f"{what:10s} {name:40s} {value:.3f}" for name, value in (
            ("outline / root of area, mean of five", spearman(bare, mean)),
            ("outline / root of area, two least", spearman(bare, two)),
            ("limb separation, mean of five", spearman(found, mean)),
            ("limb separation, two least", spearman(found, two)),
            ("limb separation, mean within a pose", float(np.median(inside))),
            ("weakest limbs, two least", spearman(np.array([g.weakest for g in guesses]), two)),
            ("limbs standing", spearman(np.array([g.standing for g in guesses]), (truth > STANDS).sum(axis=1))))]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    steps = parser.add_subparsers(dest="step", required=True)
    one = steps.add_parser("draw", help="draw and describe random poses")
    one.add_argument("file", type=Path)
    one.add_argument("--poses", type=int, default=400)
    one.add_argument("--seed", type=int, default=100)
    one.add_argument("--kept-out", action="store_true", help="poses that are never fitted on")
    two = steps.add_parser("fit", help="train the networks and write them")
    two.add_argument("files", nargs="+", type=Path)
    two.add_argument("-o", type=Path, default=Path(legibility.__file__).with_suffix(".npz"))
    three = steps.add_parser("table", help="measure what ships on poses kept out")
    three.add_argument("file", type=Path)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    if given.step == "draw":
        draw(given.poses, given.seed, given.kept_out).save(given.file)
    elif given.step == "fit":
        store(given.o, Described.joined([Described.load(path) for path in given.files]))
    else:
        print(table(Described.load(given.file)))


if __name__ == "__main__":
    main()
