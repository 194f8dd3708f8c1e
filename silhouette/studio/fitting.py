"""Fit the regression behind limb separation on rendered bodies (``shape/legibility.npz``).

    python -m silhouette.studio.fitting render FOLDER --poses 300 --held-out 40 --seed 1
    python -m silhouette.studio.fitting fit FOLDER [FOLDER ...] -o legibility.npz

``render`` draws random poses, half of them dressed, from all round, and writes each black shape with the true
legibility of its limbs to ``views.csv``. ``fit`` measures every shape, and a roughened copy of some, and trains a few
small networks on them; poses of the set ``heldout`` are kept apart and the table at the end is of those alone.

The numbers that ship were fitted on 10,284 views of 816 poses: 250 random ones, half of them dressed, and the studio's
41 named ones, 2.5 to 6 m away, and 525 random bare ones, 3.2 to 6 m away, whose limbs' outlines were counted as drawn
within 1.6 pixels of the figure's. Another 115 poses were kept apart. A fit to newly rendered poses will differ in the
second decimal.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

import cv2
import numpy as np
import torch
from numpy.typing import NDArray

from silhouette.records import Mask
from silhouette.shape import contour, legibility, outline, part_cuts
from silhouette.studio import bodies, dress, poses, views
from silhouette.studio.cameras import Camera

Floats = NDArray[np.float64]

LIMBS = ("head", "arm_l", "arm_r", "leg_l", "leg_r")
STANDS = 0.55
"""Legibility beyond which a limb is counted as standing."""
WIDTH, SECOND, NETWORKS, EPOCHS = 96, 32, 4, 60
"""Units of the two hidden layers, networks that are averaged, passes over the data."""
STEADY = 2.0
"""Weight of the difference between a shape and its roughened copy in the loss: the same picture, the same answer."""


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


def features_of(mask: Mask) -> Floats | None:
    """Features of the figure in a mask, None where there is none."""
    found = outline.outline_of(mask)
    if found is None:
        return None
    picture = contour.raster(found.polygon)
    parts = part_cuts.cut_parts(found.polygon, picture)
    return legibility.features(found.polygon, picture, parts)


def targets(truth: Floats) -> Floats:
    """(n, 8) what the networks learn, from (n, 5) limb legibility: head, weaker and stronger arm, weaker and stronger
    leg, mean, mean of the two least, share of limbs that stand (soft at its edge)."""
    ordered = np.sort(truth, axis=1)
    stands = 1 / (1 + np.exp(-(truth - STANDS) / 0.05))
    arms, legs = np.sort(truth[:, 1:3], axis=1), np.sort(truth[:, 3:], axis=1)
    return np.column_stack([truth[:, 0], arms, legs, truth.mean(axis=1),
                            ordered[:, :2].mean(axis=1), stands.mean(axis=1)])


def render(folder: Path, n_poses: int, held_out: int, seed: int) -> None:
    """Black shapes of random poses with the true legibility of their limbs."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "views.csv").open("w", newline="") as stream:
        table = csv.writer(stream)
        table.writerow(["set", "pose", "angle", "mask", *LIMBS])
        for k in range(n_poses + held_out):
            kind, count = ("train", 12) if k < n_poses else ("heldout", 24)
            build = bodies.Build(rng.uniform(0, 1), rng.uniform(0.45, 1), rng.uniform(0.15, 0.9),
                                 rng.uniform(0.15, 0.9), rng.uniform(0.2, 0.8), rng.uniform(0.2, 0.9))
            body = bodies.pose_body(build, poses.sample(rng))
            body = dress.dress(body, dress.sample(rng) if rng.random() < 0.5 else dress.NAKED)
            angles = (np.arange(count) + rng.uniform(-0.3, 0.3, count)) * 360 / count % 360
            (folder / f"{kind}_{k:04d}").mkdir(exist_ok=True)
            for view in views.look(body, _camera(body, rng), np.sort(angles)):
                name = f"{kind}_{k:04d}/{round(view.angle * 10):04d}.png"
                cv2.imwrite(str(folder / name), view.mask.astype(np.uint8) * 255, [cv2.IMWRITE_PNG_BILEVEL, 1])
                truth = [round(view.legibility[limb], 4) for limb in LIMBS]
                table.writerow([kind, f"{kind}_{k:04d}", round(view.angle, 1), name, *truth])


def _camera(body: bodies.Body, rng: np.random.Generator) -> Camera:
    """2.5 to 6 m away, 0.6 to 1.5 m high, the whole body in 600 x 800 pixels."""
    distance, height = rng.uniform(2.5, 6), rng.uniform(0.6, 1.5)
    top, reach = float(body.vertices[:, 2].max()), float(np.linalg.norm(body.vertices[:, :2], axis=1).max())
    focal_px = 560 * (distance - reach) / max(top, 0.3, 2 * reach)
    tilt = float(np.degrees(np.arctan2(top / 2 - height, distance)))
    return Camera(distance, height, tilt, focal_px / 800 * 36, 600, 800)


def measured(folder: Path, rng: np.random.Generator, copies: float) -> list[tuple[Floats, Floats | None, Floats, bool]]:
    """Features, those of a roughened copy (for a share of the views), truth, and whether the pose is held out."""
    rows = []
    with (folder / "views.csv").open(newline="") as stream:
        for row in csv.DictReader(stream):
            mask = np.asarray(cv2.imread(str(folder / row["mask"]), cv2.IMREAD_GRAYSCALE)) > 0
            values = features_of(mask)
            if values is not None:
                copy = features_of(roughened(mask, rng)) if rng.random() < copies else None
                rows.append((values, copy, np.array([float(row[k]) for k in LIMBS]), row["set"] == "heldout"))
    return rows


def fit(x: Floats, copy: Floats, y: Floats, seed: int) -> list[Floats]:
    """Train one network on standardised features (n, f), those of roughened copies (the same where there is none) and
    targets (n, 8); weights and biases, layer by layer."""
    torch.manual_seed(seed)
    net = torch.nn.Sequential(torch.nn.Linear(x.shape[1], WIDTH), torch.nn.SiLU(), torch.nn.Dropout(0.3),
                              torch.nn.Linear(WIDTH, SECOND), torch.nn.SiLU(), torch.nn.Linear(SECOND, y.shape[1]))
    learn = torch.optim.AdamW(net.parameters(), weight_decay=0.03)
    x_, copy_, y_ = (torch.tensor(v, dtype=torch.float32) for v in (x, copy, y))
    weight = torch.tensor([1.0, 1, 1, 1, 1, 3, 3, 2])
    batches = len(x) // 256 + 1
    pace = torch.optim.lr_scheduler.OneCycleLR(learn, 4e-3, total_steps=EPOCHS * batches)
    for _ in range(EPOCHS):
        for some in torch.randperm(len(x)).tensor_split(batches):
            blur = 0.05 * torch.randn(len(some), x.shape[1])
            keep = torch.get_rng_state()
            ours = net(x_[some] + blur)
            torch.set_rng_state(keep)  # the same units drop out for the copy
            theirs = net(copy_[some] + blur)
            loss = ((ours - y_[some]) ** 2 + (theirs - y_[some]) ** 2 + STEADY * (ours - theirs) ** 2) * weight
            learn.zero_grad()
            loss.mean().backward()
            learn.step()
            pace.step()
    return [p.detach().numpy().astype(np.float64) for p in net.parameters()]


def store(path: Path, x: Floats, copy: Floats, y: Floats) -> None:
    """Standardise, train NETWORKS networks, and write them as plain numbers."""
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-3
    limit = legibility.LIMIT
    ours, theirs = (np.clip((v - mean) / spread, -limit, limit) for v in (x, copy))
    nets = [fit(ours, theirs, y, seed) for seed in range(NETWORKS)]
    layers = {name: np.stack([net[k] for net in nets]) for k, name in enumerate(("w1", "b1", "w2", "b2", "w3", "b3"))}
    numbers = layers | {"mean": mean, "spread": spread}
    np.savez_compressed(path, **{name: values.astype(np.float32) for name, values in numbers.items()})


def spearman(a: Floats, b: Floats) -> float:
    """Spearman's rank correlation."""
    from scipy.stats import spearmanr

    return float(spearmanr(a, b)[0])


def table(x: Floats, truth: Floats) -> str:
    """How the shipped numbers do on features and truth that they were not fitted on."""
    guesses = [legibility.guess(v) for v in x]
    two = np.sort(truth, axis=1)[:, :2].mean(axis=1)
    separation = np.array([legibility.separation(g) for g in guesses])
    lines = [("limb separation with the mean of five", spearman(separation, truth.mean(axis=1))),
             ("limb separation with the two least", spearman(separation, two)),
             ("weakest limbs with the two least", spearman(np.array([g.weakest for g in guesses]), two)),
             ("limbs standing", spearman(np.array([g.standing for g in guesses]), (truth > STANDS).sum(axis=1)))]
    return "\n".join(f"{name:40s} {value:.3f}" for name, value in lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["render", "fit"])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--poses", type=int, default=300)
    parser.add_argument("--held-out", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("-o", type=Path, default=Path(legibility.__file__).with_suffix(".npz"))
    given = parser.parse_args()
    if given.what == "render":
        render(given.folders[0], given.poses, given.held_out, given.seed)
        return
    rng = np.random.default_rng(given.seed)
    rows = [row for folder in given.folders for row in measured(folder, rng, 0.5)]
    x, truth, held = np.array([r[0] for r in rows]), np.array([r[2] for r in rows]), np.array([r[3] for r in rows])
    copy = np.array([r[0] if r[1] is None else r[1] for r in rows])
    store(given.o, x[~held], copy[~held], targets(truth[~held]))
    print(f"{(~held).sum()} views fitted, {held.sum()} held out")
    if held.any():
        print(table(x[held], truth[held]))


if __name__ == "__main__":
    main()
