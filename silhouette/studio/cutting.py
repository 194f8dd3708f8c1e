"""Trains ``cutout/figure_net.onnx``: the network that tells figures from shadows and furniture before a known backdrop.

Four steps, each a command (``python -m silhouette.studio.cutting STEP ...``), each the same every time from its seed:

- ``bodies FILE --count 1800 --seed 7``: bodies seen from somewhere, where anny and pyvista are installed;
- ``stock FOLDER --bodies FILE --pictures 68000 --seed 1``: pictures composed of them (``cutting_pictures.py``) and
  their backdrops as the cutter estimates them; as many processes as there are cores, which change nothing;
- ``learn FOLDER --stock FOLDER --kept-out FOLDER --steps 26000 --seed 5``: the training, so many steps; on a GPU;
  ``--start FOLDER`` goes on from an earlier one;
- ``export FOLDER FILE.onnx``: what ``learn`` wrote, as ONNX, and the record of all four steps beside it, as JSON.

``cutout/FIGURE_NET.md`` is the card of the network: where the shipped weights come from (an earlier form of this
script), what this one makes, and how well both do.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing
import os
import pickle
import platform
import random
from collections.abc import Iterator
from functools import partial
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
BATCH, SMALLEST = 96, 24
"""Pictures that are learned from together: as many as this, at least so many."""
RATE = 2.5e-3
"""Highest learning rate; it rises over WARM steps and falls along half a cosine."""
WARM = 300
KEEP = 0.999
"""The weights that are kept are an average over the last steps: so much of it stays at each step."""
BUILDS = 60
"""Different bodies among those rendered."""
RENDERED = 560
"""Sides of the picture that a body is rendered in, pixels: as large as the largest figure that is composed."""
TOGETHER = 250
"""Pictures in one file of a stock."""
ALONE, CLOSE, GLANCE = 0.6, 0.35, 0.15
"""Shares of pictures whose backdrop is estimated from them alone; of which only the surroundings of the figure are
seen; which are seen as small as at the first glance."""
NOTED, EARLY = 12, 500
"""Times that loss and the weights' digest are noted while the network learns, beside once early on, at this step: so
that a repeated training can be compared before its end."""
Group = tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]
"""Pictures (n, h, w, 3), backdrops (n, h, w, 3), the figure's share of each pixel (n, h, w), all uint8; noise (n,)."""


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


def versions() -> dict[str, str]:
    """What the result hangs on beside the seeds: on others of these the last digits differ, and so all digests."""
    return {"python": platform.python_version(), "machine": platform.machine(), "numpy": np.__version__,
            "opencv": cv2.__version__, "torch": torch.__version__}


def render_bodies(path: Path, count: int, seed: int) -> None:
    """Render ``count`` random bodies in random poses, each from one side, and pickle them as a list of Seen."""
    from silhouette.studio import bodies, poses

    rng = np.random.default_rng(seed)
    builds = [bodies.Build(gender=rng.uniform(), age=rng.uniform(0.5, 1), muscle=rng.uniform(0.2, 0.9),
                           weight=rng.uniform(0.2, 0.9), height=rng.uniform(0.2, 0.8), proportions=rng.uniform(0.3, 1))
              for _ in range(BUILDS)]
    rests = bodies.rest_bodies(builds)[0].numpy()
    places = [(rest - rest.min(0)) / np.ptp(rest, axis=0) for rest in rests]
    seen: list[Seen] = []
    while len(seen) < count:
        at = int(rng.integers(BUILDS))
        body = bodies.pose_body(builds[at], poses.sample(rng))
        colours = np.column_stack([places[at][:, 0], places[at][:, 2], body.limb / 5.0])
        view = _render(body.vertices.astype(np.float64), body.faces.astype(np.int64), colours, rng)
        if view is not None:
            seen.append(view)
    path.write_bytes(pickle.dumps(seen))
    print(f"{count} bodies of seed {seed}, SHA-256 {_digest_of_bodies(seen)}")


def _digest_of_bodies(seen: list[Seen]) -> str:
    return hashlib.sha256(b"".join(part for s in seen for part in (s.normals, s.place, s.mask))).hexdigest()


def _render(points: NDArray[np.float64], faces: NDArray[np.int64], place: NDArray[np.float64],
            rng: np.random.Generator) -> Seen | None:
    """One body from a random side, or None where it does not fit the picture."""
    from silhouette.studio import raster

    turn, far, height = rng.uniform(0, 2 * np.pi), rng.uniform(2.2, 7), rng.uniform(0.3, 1.9)
    span = 1.15 * max(np.ptp(points[:, 2]), float(np.hypot(*np.ptp(points[:, :2], axis=0))))
    middle = float(points[:, 2].min() + points[:, 2].max()) / 2
    place_of_eye = far * np.sin(turn), -far * np.cos(turn), height
    eye = raster.Eye(place_of_eye, (0.0, 0.0, middle), RENDERED / 1.23 * far / span, RENDERED, RENDERED)
    normals = raster.vertex_normals(points, faces) @ eye.axes().T
    painted = [np.clip(values * 255, 0, 255).astype(np.uint8) for values in (normals * 0.5 + 0.5, place)]
    (facing, buffer), (where, _) = (raster.draw(points, faces, eye, "cutting", colours) for colours in painted)
    assert facing is not None and where is not None
    mask = buffer < 1
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    if mask.sum() < 2000 or x < 1 or y < 1 or x + w >= RENDERED or y + h >= RENDERED:
        return None
    box = slice(y - 1, y + h + 1), slice(x - 1, x + w + 1)
    jpeg = [cv2.imencode(".jpg", a[box][..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes()
            for a in (facing, where)]
    png = cv2.imencode(".png", mask[box].astype(np.uint8) * 255, [cv2.IMWRITE_PNG_BILEVEL, 1])[1].tobytes()
    return Seen(jpeg[0], jpeg[1], png)


def make_stock(folder: Path, bodies: Path, pictures: int, seed: int, workers: int | None = None,
               together: int = TOGETHER) -> dict[str, Any]:
    """Compose pictures and estimate their backdrops; returns the record, which is written to ``stock.json`` too.

    Each picture is drawn from the seed and its own number, so neither the number of processes nor that of the pictures
    changes any of them. Files ``0000.npz ...`` hold ``together`` of them, those of one size side by side.
    """
    folder.mkdir(parents=True, exist_ok=True)
    numbers = [range(at, min(at + together, pictures)) for at in range(0, pictures, together)]
    job = partial(_one_file, folder, bodies, seed)
    with multiprocessing.get_context("spawn").Pool(workers or multiprocessing.cpu_count()) as pool:
        digests = pool.starmap(job, enumerate(numbers), chunksize=1)
    record = {"pictures": pictures, "seed": seed, "sha256": hashlib.sha256("".join(digests).encode()).hexdigest(),
              "sha256_of_first_file": digests[0], "bodies_sha256": _digest_of_bodies(_load_bodies(bodies)),
              "bodies": len(_load_bodies(bodies)), "versions": versions()}
    (folder / "stock.json").write_text(json.dumps(record, indent=1))
    print(json.dumps(record), flush=True)
    return record


def _load_bodies(path: Path) -> list[Seen]:
    bodies: list[Seen] = pickle.loads(path.read_bytes())
    return bodies


def _one_file(folder: Path, bodies: Path, seed: int, at: int, numbers: range) -> str:
    """Write file number ``at`` with the pictures of these numbers; gives the SHA-256 of what it holds."""
    cv2.setNumThreads(1)
    seen = _load_bodies(bodies)
    groups: dict[str, list[tuple[Any, ...]]] = {}
    for number in numbers:
        sample = one_sample(np.random.default_rng([seed, number]), seen)
        groups.setdefault("{}x{}".format(*sample[2].shape), []).append(sample)
    arrays = {f"{kind} {size}": np.stack([s[i] for s in group]) for size, group in sorted(groups.items())
              for i, kind in enumerate(("picture", "backdrop", "share", "noise"))}
    np.savez(folder / f"{at:04d}.npz", **arrays)  # type: ignore[arg-type]
    digest = hashlib.sha256()
    for name, array in arrays.items():
        digest.update(name.encode() + array.tobytes())
    return digest.hexdigest()


def one_sample(rng: np.random.Generator, bodies: list[Seen]) -> tuple[Any, ...]:
    """One picture as the cutter's network sees it: picture, backdrop, the figure's share (all uint8), noise."""
    picture, alpha, empty = compose(rng, bodies)
    if rng.random() < ALONE:
        backdrop = plate.from_one(plate.shrink(picture, plate.THUMB).astype(np.float32))[0]
    else:
        backdrop = _as_from_a_turn(rng, plate.shrink(empty, plate.THUMB), plate.shrink(alpha, plate.THUMB))
    sigma = np.float32(plate.noise(picture))
    behind = cv2.resize(backdrop, picture.shape[1::-1])
    if rng.random() < CLOSE and alpha.max() > 0.5:
        x, y, w, h = cv2.boundingRect((alpha > 0.5).astype(np.uint8))
        off = rng.uniform(-0.1, 0.1, 4) * max(w, h)
        box = y + off[0], y + h + off[1], x + off[2], x + w + off[3]
        window = figure_net.widened(box, alpha.shape)  # type: ignore[arg-type]
        picture, behind, alpha = picture[window], behind[window], alpha[window]
    longer = figure_net.FIRST_LONG if rng.random() < GLANCE else figure_net.LONG
    size = figure_net.seen_size(picture.shape[0], picture.shape[1], longer)[::-1]
    seen = (cv2.resize(a, size, interpolation=cv2.INTER_AREA) for a in (picture, behind, alpha * 255))
    return *(np.clip(np.round(a), 0, 255).astype(np.uint8) for a in seen), sigma


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


def load_stock(folder: Path, device: str) -> list[Group]:
    """All pictures of a stock, those of one size side by side in their order."""
    parts: dict[str, list[list[NDArray[Any]]]] = {}
    for file in sorted(folder.glob("*.npz")):
        with np.load(file) as held:
            for size in sorted({name.split()[1] for name in held}):
                kinds = [held[f"{kind} {size}"] for kind in ("picture", "backdrop", "share", "noise")]
                parts.setdefault(size, []).append(kinds)
    groups = []
    for _, files in sorted(parts.items()):
        a, b, c, d = (torch.from_numpy(np.concatenate([kinds[i] for kinds in files])).to(device) for i in range(4))
        groups.append((a, b, c, d))
    return groups


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

    flip = draw(n, 1, 1, 1) < 0.5
    picture, backdrop, alpha = (torch.where(flip, a.flip(3), a) for a in (picture, backdrop, alpha))
    order = torch.where(draw(n, 1) < 0.5, torch.arange(3, device=device), draw(n, 3).argsort(1))[:, :, None, None]
    gain = (1 + 0.12 * torch.randn(n, 3, 1, 1, device=device) * draw(n, 1, 1, 1)).clamp(0.6, 1.3)
    picture, backdrop = ((a.gather(1, order.expand_as(a)) * gain).clamp(0, 255) for a in (picture, backdrop))
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


def _batch(group: Group, rows: torch.Tensor) -> tuple[torch.Tensor, ...]:
    picture, backdrop, alpha, sigma = (a[rows].float() for a in group)
    return picture.permute(0, 3, 1, 2), backdrop.permute(0, 3, 1, 2), alpha[:, None] / 255, sigma


def batches(sizes: list[int], seed: int) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """Without end: a group's number and BATCH or, of what is left over, at least SMALLEST of its rows.

    Each row comes once (or, left over, not at all) before any comes again, in another order each time round.
    """
    if max(sizes) < SMALLEST:
        raise ValueError(f"no {SMALLEST} pictures of one size to learn from")
    rng = np.random.default_rng(seed)
    while True:
        parts = [(group, part[i : i + BATCH]) for group, count in enumerate(sizes)
                 for part in [rng.permutation(count)] for i in range(0, count - SMALLEST + 1, BATCH)]
        for i in rng.permutation(len(parts)):
            yield parts[i]


def overlaps(net: Net, groups: list[Group]) -> dict[str, float]:
    """Intersection over union on pictures with a figure: the mean, the worst hundredth, the share under 0.9."""
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
    return {"mean": round(float(np.mean(values)), 4), "hundredth": round(float(np.quantile(values, 0.01)), 4),
            "under_0.9": round(float(np.mean(np.array(values) < 0.9)), 4)}


def digest_of(state: dict[str, torch.Tensor]) -> str:
    """SHA-256 of weights: their names and little-endian values in the order of the names."""
    digest = hashlib.sha256()
    for name, value in sorted(state.items()):
        digest.update(name.encode() + value.detach().cpu().contiguous().numpy().tobytes())
    return digest.hexdigest()


def _same_every_time(seed: int) -> None:
    """Seed whatever draws, and let torch use only sums that come out the same each time."""
    os.environ["CUBLAS_WORKSPACE_CONFIG"] = ":4096:8"
    random.seed(seed)
    np.random.seed(seed)
    torch.manual_seed(seed)
    torch.use_deterministic_algorithms(True)
    torch.utils.deterministic.fill_uninitialized_memory = False  # type: ignore[attr-defined]
    torch.backends.cudnn.benchmark = False


def learn(folder: Path, stock: Path, kept_out: Path, steps: int, seed: int, rate: float = RATE,
          start: Path | None = None) -> dict[str, Any]:
    """Train for so many steps, from nothing or from the folder of an earlier training.

    Writes ``net.pt`` (averaged weights) and ``report.json`` to ``folder``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    _same_every_time(seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    groups, check = load_stock(stock, device), load_stock(kept_out, device)
    net = Net()
    if start is not None:
        net.load_state_dict(torch.load(start / "net.pt", map_location="cpu", weights_only=True))
    net = net.to(device).to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    state = net.state_dict()
    mean = {k: v.clone() for k, v in state.items()}
    now, kept = ([v for v in held.values() if v.dtype.is_floating_point] for held in (state, mean))
    optimiser = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-3, fused=device == "cuda")
    order = batches([len(g[3]) for g in groups], seed)
    report: dict[str, Any] = {
        "seed": seed, "steps": steps, "batch": BATCH, "rate": rate, "precision": "float32, products in TF32 on a GPU",
        "device": "cuda {}.{}".format(*torch.cuda.get_device_capability()) if device == "cuda" else "cpu",
        "versions": versions(),
        "stock": json.loads((stock / "stock.json").read_text()),
        "kept_out": json.loads((kept_out / "stock.json").read_text()), "curve": [],
        "start": None if start is None else json.loads((start / "report.json").read_text())}
    losses = torch.zeros((), device=device)
    shown = 0
    for step in range(1, steps + 1):
        for part in optimiser.param_groups:
            part["lr"] = rate * min(1, step / WARM) * (0.5 * (1 + np.cos(np.pi * step / steps)) + 1e-3)
        at, rows = next(order)
        picture, backdrop, alpha, sigma = _varied(*_batch(groups[at], torch.from_numpy(rows).to(device)))
        loss = loss_of(net(planes(picture, backdrop, sigma).contiguous(memory_format=torch.channels_last)), alpha)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        optimiser.step()
        losses += loss.detach()
        torch._foreach_lerp_(kept, now, 1 - min(KEEP, (1 + step) / (10 + step)))
        if step in (EARLY, steps) or step % max(1, steps // NOTED) == 0:
            row = {"step": step, "loss": round(float(losses) / (step - shown), 5), "sha256": digest_of(state)}
            report["curve"].append(row)
            losses.zero_()
            shown = step
            print(json.dumps(row), flush=True)
    net.load_state_dict(mean)
    report |= {"overlap_on_kept_out": overlaps(net, check), "weights_sha256": digest_of(net.state_dict())}
    torch.save({k: v.cpu().contiguous() for k, v in net.state_dict().items()}, folder / "net.pt")
    (folder / "report.json").write_text(json.dumps(report, indent=1))
    print(json.dumps({k: report[k] for k in ("overlap_on_kept_out", "weights_sha256")}), flush=True)
    return report


def export(folder: Path, file: Path) -> None:
    """Write ``net.pt`` of a folder as ONNX, and the record of how it came to be beside it, as JSON."""
    net = Net()
    net.load_state_dict(torch.load(folder / "net.pt", map_location="cpu", weights_only=True))
    free = {2: "h", 3: "w"}
    example = (torch.zeros(1, figure_net.PLANES, 224, 160),)
    torch.onnx.export(net.eval(), example, str(file), opset_version=13, input_names=["planes"],
                      output_names=["logit"], dynamo=False, dynamic_axes={"planes": free, "logit": free})
    record = {"file": file.name, "sha256": hashlib.sha256(file.read_bytes()).hexdigest(),
              **json.loads((folder / "report.json").read_text())}
    file.with_suffix(".json").write_text(json.dumps(record, indent=1) + "\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(dest="step", required=True)
    bodies, stock, learning, exporting = (commands.add_parser(n) for n in ("bodies", "stock", "learn", "export"))
    bodies.add_argument("file", type=Path)
    bodies.add_argument("--count", type=int, default=1800)
    bodies.add_argument("--seed", type=int, default=7)
    stock.add_argument("folder", type=Path)
    stock.add_argument("--bodies", type=Path, required=True)
    stock.add_argument("--pictures", type=int, default=68000)
    stock.add_argument("--seed", type=int, default=1)
    stock.add_argument("--workers", type=int)
    learning.add_argument("folder", type=Path)
    learning.add_argument("--stock", type=Path, required=True)
    learning.add_argument("--kept-out", type=Path, required=True)
    learning.add_argument("--steps", type=int, default=26000)
    learning.add_argument("--seed", type=int, default=5)
    learning.add_argument("--rate", type=float, default=RATE)
    learning.add_argument("--start", type=Path)
    exporting.add_argument("folder", type=Path)
    exporting.add_argument("file", type=Path)
    options = parser.parse_args()
    if options.step == "bodies":
        render_bodies(options.file, options.count, options.seed)
    elif options.step == "stock":
        make_stock(options.folder, options.bodies, options.pictures, options.seed, options.workers)
    elif options.step == "learn":
        learn(options.folder, options.stock, options.kept_out, options.steps, options.seed, options.rate, options.start)
    else:
        export(options.folder, options.file)


if __name__ == "__main__":
    main()
