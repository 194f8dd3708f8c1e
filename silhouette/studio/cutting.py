"""Trains ``cutout/figure_net.onnx``: the network that tells figures from shadows and furniture before a known backdrop.

    python -m silhouette.studio.cutting bodies BODIES.pkl --count 1560
    python -m silhouette.studio.cutting train BODIES.pkl OUT --pictures 18000 --minutes 6 [--start net.pt]

The first renders bodies (a CPU's work of minutes), the second composes pictures (``cutting_pictures.py``), estimates
their backdrops as the cutter will, and trains; a GPU is wanted, and the ``onnx`` package to write the network out. The
shipped weights come from an earlier form of this script, which drew the same pictures in another order: two runs of six
minutes on one GPU, the second started from the first, with 16,000 and 18,000 pictures.
"""

from __future__ import annotations

import argparse
import multiprocessing
import pickle
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from silhouette.cutout import figure_net, plate
from silhouette.studio.cutting_pictures import Seen, compose

CHANNELS = (16, 32, 48, 64, 64)
BATCH = 96
HELD_OUT = 90
"""Bodies kept for validation."""
Sample = tuple[NDArray[np.uint8], NDArray[np.uint8], NDArray[np.uint8], float]


def _layer(before: int, after: int, kernel: int = 3, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(before, after, kernel, stride, kernel // 2, bias=False), nn.BatchNorm2d(after),
                         nn.ReLU(inplace=True))


class Net(nn.Module):
    """A U-Net (Ronneberger, Fischer & Brox 2015) that halves its picture five times and answers at full size."""

    def __init__(self) -> None:
        super().__init__()
        c = CHANNELS
        first = nn.Conv2d(figure_net.PLANES, c[0], 4, 2, 1, bias=False)
        self.stem = nn.Sequential(first, nn.BatchNorm2d(c[0]), nn.ReLU(inplace=True), _layer(c[0], c[0]))
        steps = list(pairwise(c))
        self.down = nn.ModuleList([nn.Sequential(_layer(a, b, 3, 2), _layer(b, b)) for a, b in steps])
        self.up = nn.ModuleList([nn.Sequential(_layer(a + b, a, 1), _layer(a, a)) for a, b in steps])
        self.out = nn.Conv2d(c[0], 4, 3, 1, 1)

    def forward(self, planes: torch.Tensor) -> torch.Tensor:
        """(n, PLANES, h, w) to log odds (n, 1, h, w)."""
        levels = [self.stem(planes)]
        for down in self.down:
            levels.append(down(levels[-1]))
        at = levels[-1]
        for up, skip in zip(reversed(self.up), reversed(levels[:-1]), strict=True):
            at = functional.interpolate(at, scale_factor=2.0, mode="nearest")
            at = up(torch.cat([at, skip], 1))
        return functional.pixel_shuffle(self.out(at), 2)


def render_bodies(path: Path, count: int, seed: int = 7) -> None:
    """Render ``count`` views of random bodies in random poses and pickle them as a list of Seen."""
    from silhouette.studio import bodies, poses

    rng = np.random.default_rng(seed)
    builds = [bodies.Build(gender=rng.uniform(), age=rng.uniform(0.5, 1), muscle=rng.uniform(0.2, 0.9),
                           weight=rng.uniform(0.2, 0.9), height=rng.uniform(0.2, 0.8), proportions=rng.uniform(0.3, 1))
              for _ in range(24)]
    seen: list[Seen] = []
    for _ in range(count):
        if len(seen) >= count:
            break
        build = builds[int(rng.integers(len(builds)))]
        body = bodies.pose_body(build, poses.sample(rng))
        rest = bodies.rest_bodies([build])[0][0].numpy()
        place = (rest - rest.min(0)) / np.ptp(rest, axis=0)
        colours = np.column_stack([place[:, 0], place[:, 2], body.limb / 5.0])
        for _ in range(3):
            view = _render(body.vertices.astype(np.float64), body.faces.astype(np.int64), colours, rng)
            if view is not None:
                seen.append(view)
    path.write_bytes(pickle.dumps(seen))


def _render(points: NDArray[np.float64], faces: NDArray[np.int64], place: NDArray[np.float64],
            rng: np.random.Generator) -> Seen | None:
    """One body from a random side, or None where it does not fit the picture."""
    from silhouette.studio import raster

    turn, far, height, size = rng.uniform(0, 2 * np.pi), rng.uniform(2.2, 7), rng.uniform(0.3, 1.9), 640
    span = 1.15 * max(np.ptp(points[:, 2]), float(np.hypot(*np.ptp(points[:, :2], axis=0))))
    middle = float(points[:, 2].min() + points[:, 2].max()) / 2
    place_of_eye = far * np.sin(turn), -far * np.cos(turn), height
    eye = raster.Eye(place_of_eye, (0.0, 0.0, middle), 520 * far / span, size, size)
    normals = raster.vertex_normals(points, faces) @ eye.axes().T
    painted = [np.clip(values * 255, 0, 255).astype(np.uint8) for values in (normals * 0.5 + 0.5, place)]
    (facing, buffer), (where, _) = (raster.draw(points, faces, eye, "cutting", colours) for colours in painted)
    assert facing is not None and where is not None
    mask = buffer < 1
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    if mask.sum() < 2000 or x < 1 or y < 1 or x + w >= size or y + h >= size:
        return None
    box = slice(y - 1, y + h + 1), slice(x - 1, x + w + 1)
    jpeg = [cv2.imencode(".jpg", a[box][..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes()
            for a in (facing, where)]
    png = cv2.imencode(".png", mask[box].astype(np.uint8) * 255, [cv2.IMWRITE_PNG_BILEVEL, 1])[1].tobytes()
    return Seen(jpeg[0], jpeg[1], png)


def _samples(job: tuple[Path, int, int, bool]) -> list[Sample]:
    """Compose pictures and estimate their backdrops, as one picture alone or as a turn would."""
    path, seed, count, held_out = job
    cv2.setNumThreads(1)
    bodies: list[Seen] = pickle.loads(path.read_bytes())
    bodies = bodies[:HELD_OUT] if held_out else bodies[HELD_OUT:]
    rng = np.random.default_rng(seed)
    out: list[Sample] = []
    for _ in range(count):
        picture, alpha, empty = compose(rng, bodies)
        if rng.random() < 0.6:
            backdrop = plate.from_one(plate.shrink(picture, plate.THUMB).astype(np.float32))[0]
        else:
            backdrop = _as_from_a_turn(rng, plate.shrink(empty, plate.THUMB), plate.shrink(alpha, plate.THUMB))
        size = figure_net.seen_size(*picture.shape[:2])[::-1]
        small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
        behind = np.clip(np.round(cv2.resize(backdrop, size)), 0, 255).astype(np.uint8)
        share = np.round(cv2.resize(alpha, size, interpolation=cv2.INTER_AREA) * 255).astype(np.uint8)
        out.append((small, behind, share, plate.noise(picture)))
    return out


def _as_from_a_turn(rng: np.random.Generator, empty: plate.Floats, alpha: plate.Floats) -> plate.Floats:
    """The true backdrop with the faults of a shared plate: filled in along the axis, the light a little off."""
    h, w = empty.shape[:2]
    rows = np.flatnonzero(alpha.max(axis=1) > 0.3)
    if rng.random() < 0.5 and len(rows):
        middle, half = int(alpha.max(axis=0).argmax()), rng.uniform(0.02, 0.2) * w
        known = np.ones((h, w), np.float32)
        known[rows[0] : rows[-1] + 1, max(0, int(middle - half)) : int(middle + half)] = 0
        empty = known[..., None] * empty + (1 - known[..., None]) * plate.fill(empty, known)
    drift = cv2.resize(rng.normal(0, 1, (4, 4)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    return np.asarray(empty * np.exp(rng.uniform(0, 0.03) * drift)[..., None], np.float32)


def planes(picture: torch.Tensor, backdrop: torch.Tensor, sigma: torch.Tensor) -> torch.Tensor:
    """:func:`silhouette.cutout.figure_net.planes` for a batch; a test holds the two together."""
    step = (picture - backdrop) / (2 + 3 * sigma[:, None, None, None])
    height = torch.linspace(-1, 1, picture.shape[2], device=picture.device)[None, None, :, None]
    return torch.cat([picture / 127.5 - 1, 2 * torch.log((picture + 6) / (backdrop + 6)).clamp(-1.5, 1.5),
                      step / (1 + step.abs()), height.expand(len(picture), 1, -1, picture.shape[3])], 1)


def _varied(picture: torch.Tensor, backdrop: torch.Tensor, alpha: torch.Tensor,
            sigma: torch.Tensor) -> tuple[torch.Tensor, ...]:
    """Mirrored, colours exchanged and tinted, backdrop a little wrong, noise a little more."""
    n, device = len(picture), picture.device

    def draw(*shape: int) -> torch.Tensor:
        return torch.rand(*shape, device=device)

    flip = draw(n) < 0.5
    for a in (picture, backdrop, alpha):
        a[flip] = a[flip].flip(3)
    order = torch.stack([torch.randperm(3) for _ in range(n)]).to(device)
    order[draw(n) < 0.5] = torch.arange(3, device=device)
    rows = torch.arange(n, device=device)[:, None]
    gain = (1 + 0.12 * torch.randn(n, 3, 1, 1, device=device) * draw(n, 1, 1, 1)).clamp(0.6, 1.3)
    picture, backdrop = (picture[rows, order] * gain).clamp(0, 255), (backdrop[rows, order] * gain).clamp(0, 255)
    wrong = torch.randn(n, 3, 4, 3, device=device) * 3 * draw(n, 1, 1, 1)
    backdrop = backdrop + functional.interpolate(wrong, size=backdrop.shape[2:], mode="bicubic")
    picture = picture + torch.randn_like(picture) * draw(n, 1, 1, 1) * 0.8
    return picture, backdrop.clamp(0, 255), alpha, sigma * (0.8 + 0.4 * draw(n))


def loss_of(odds: torch.Tensor, alpha: torch.Tensor) -> torch.Tensor:
    """Cross entropy, three times as heavy at edges, and half a Dice loss."""
    chance = odds.sigmoid()
    edge = functional.max_pool2d(alpha, 5, 1, 2) + functional.max_pool2d(-alpha, 5, 1, 2)
    entropy = (functional.binary_cross_entropy_with_logits(odds, alpha, reduction="none") * (1 + 2 * edge)).mean()
    both = (chance * alpha).sum((1, 2, 3))
    dice = 1 - (2 * both + 20) / (chance.sum((1, 2, 3)) + alpha.sum((1, 2, 3)) + 20)
    return entropy + 0.5 * dice.mean()


def _stacked(samples: list[Sample], device: str) -> list[tuple[torch.Tensor, ...]]:
    """Samples of one shape side by side."""
    shapes: dict[tuple[int, ...], list[Sample]] = {}
    for s in samples:
        shapes.setdefault(s[2].shape, []).append(s)
    return [(*(torch.from_numpy(np.stack([s[i] for s in group])).to(device) for i in range(3)),
             torch.tensor([s[3] for s in group], device=device)) for group in shapes.values()]


def _batch(group: tuple[torch.Tensor, ...], rows: torch.Tensor) -> tuple[torch.Tensor, ...]:
    picture, backdrop, alpha, sigma = (a[rows].float() for a in group)
    return picture.permute(0, 3, 1, 2), backdrop.permute(0, 3, 1, 2), alpha[:, None] / 255, sigma


def overlap(net: Net, groups: list[tuple[torch.Tensor, ...]]) -> float:
    """Mean intersection over union on held-out bodies."""
    net.eval()
    values: list[float] = []
    with torch.no_grad():
        for group in groups:
            for rows in torch.arange(len(group[3]), device=group[3].device).split(64):
                picture, backdrop, alpha, sigma = _batch(group, rows)
                found, true = net(planes(picture, backdrop, sigma)) > 0, alpha > 0.5
                union = (found | true).sum((1, 2, 3)).clamp(min=1)
                values += ((found & true).sum((1, 2, 3)) / union)[true.sum((1, 2, 3)) > 20].tolist()
    net.train()
    return float(np.mean(values))


def train(bodies: Path, out: Path, pictures: int, minutes: float, start: Path | None, rate: float = 2.5e-3) -> None:
    """Compose, train for so many minutes (cosine rate, averaged weights), write ``net.pt`` and ``figure_net.onnx``."""
    workers = multiprocessing.cpu_count()
    jobs = [(bodies, 100 + i, pictures // workers, False) for i in range(workers)] + [(bodies, 1000, 1000, True)]
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        *parts, held_out = pool.map(_samples, jobs, chunksize=1)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    groups, check = _stacked([s for p in parts for s in p], device), _stacked(held_out, device)
    net = Net()
    if start is not None:
        net.load_state_dict(torch.load(start, map_location="cpu"))
    net = net.to(device)
    mean: dict[str, Any] = {k: v.clone() for k, v in net.state_dict().items()}
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-3)
    sizes, rng = np.array([len(g[3]) for g in groups], float), np.random.default_rng(0)
    begin, step = time.monotonic(), 0
    while (done := (time.monotonic() - begin) / (60 * minutes)) < 1:
        for part in optimiser.param_groups:
            part["lr"] = rate * min(1, step / 300 + 0.01) * (0.5 * (1 + np.cos(np.pi * done)) + 0.003)
        group = groups[int(rng.choice(len(groups), p=sizes / sizes.sum()))]
        rows = torch.randint(0, len(group[3]), (BATCH,), device=device)
        picture, backdrop, alpha, sigma = _varied(*_batch(group, rows))
        loss = loss_of(net(planes(picture, backdrop, sigma)), alpha)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        step += 1
        with torch.no_grad():
            for name, value in net.state_dict().items():
                keep = min(0.999, (1 + step) / (10 + step)) if value.dtype.is_floating_point else 0.0
                mean[name] = value.clone() if keep == 0 else mean[name] * keep + value * (1 - keep)
        if step % 1000 == 0:
            print(step, f"overlap on held-out bodies {overlap(net, check):.4f}", flush=True)
    net.load_state_dict(mean)
    print(f"{step} steps, overlap on held-out bodies {overlap(net, check):.4f}")
    _write(net.cpu().eval(), out)


def _write(net: Net, out: Path) -> None:
    out.mkdir(parents=True, exist_ok=True)
    torch.save(net.state_dict(), out / "net.pt")
    free = {2: "h", 3: "w"}
    example = (torch.zeros(1, figure_net.PLANES, 224, 160),)
    torch.onnx.export(net, example, str(out / "figure_net.onnx"), opset_version=13,
                      input_names=["planes"], output_names=["logit"], dynamo=False,
                      dynamic_axes={"planes": free, "logit": free})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("bodies", "train"))
    parser.add_argument("bodies", type=Path)
    parser.add_argument("out", type=Path, nargs="?", default=Path("out-cutter"))
    parser.add_argument("--count", type=int, default=1560)
    parser.add_argument("--pictures", type=int, default=18000)
    parser.add_argument("--minutes", type=float, default=6.0)
    parser.add_argument("--start", type=Path)
    options = parser.parse_args()
    if options.what == "bodies":
        render_bodies(options.bodies, options.count)
    else:
        train(options.bodies, options.out, options.pictures, options.minutes, options.start)


if __name__ == "__main__":
    main()
