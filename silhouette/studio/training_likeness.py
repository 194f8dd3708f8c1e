"""Trains the network of ``silhouette/find`` that compares outlines, on rendered bodies alone.

Every pose is struck by two bodies, each dressed and photographed in its own way. What the network learns is to give
outlines of one pose from about the same side vectors that point the same way, whoever strikes it, and all others
vectors that do not. It starts from the reader's trunk, which knows bodies already. Steps, each a command
(``python -m silhouette.studio.training_likeness STEP ...``):

- ``learn FOLDER --stock FILE --weights STATE``: the training, while fresh views are made; several graphics cards learn
  together with ``torchrun --nproc-per-node 4 -m silhouette.studio.training_likeness learn ...``;
- ``views FILE --stock FILE``: kept-out poses, each struck by two bodies, to be tested on;
- ``export STATE FILE --examples VIEWS``: the network as ONNX in eight bits.
"""

from __future__ import annotations

import argparse
import copy
import json
import time
from collections import deque
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F
from numpy.typing import NDArray
from torch import distributed, nn

from silhouette.studio import (
    bodies,
    dress,
    eight_bits,
    poses,
    rig,
    training,
    training_flaws,
    training_net,
    training_views,
)
from silhouette.studio.training import Cards
from silhouette.studio.training_net import ReaderNet
from silhouette.studio.training_views import TURN, Kind, Stock, Views

SIZE = 128
"""Numbers in a vector."""
KIND = Kind(poses.sample_wide, cameras="any", bare=0.3)
"""What is learned from."""
KEPT = {
    "few": Kind(poses.sample, poses.KEPT_OUT, cameras="any", bare=0.3, distance=(2.6, 6.0)),
    "many": Kind(poses.sample, cameras="any", bare=0.3, distance=(2.6, 6.0)),
}
"""Poses to test on: near or mixed from named ones that training never saw, or drawn freely; the same of all named ones,
where there shall be so many that eight cannot carry them."""
ARCHIVE, ASKED = 12, 2
"""Of a kept-out pose: views of the first body, evenly round; of the second, at random angles."""
SHARPNESS = 32.0
"""What cosines are multiplied by before they are compared."""
SAME_SIDE = 9.0
"""Standard deviation of the bell of angles that counts as the same side, degrees."""
DRAWN, FLAWED = (0.6, 0.1), 1 / 3
"""Share of the pictures of first and of second bodies that are made like a quick drawing: most drawings are compared
with exact outlines, as they are when somebody asks; and of all that get the cutter's flaws."""
OFF, CLOSED = (0.005, 0.03), 9
"""A quick drawing: how far its edge is off, root mean square, of the figure's longer side; in how wide a window at most
it closes gaps, pixels of the halved canvas."""
SIBLINGS, CHANGED = 0.5, (8.0, 12.0, 20.0)
"""Share of the pairs of poses of which one is the other a little changed, and by how many degrees."""
ALONE = 0.3
"""Share of the poses in which one of the two bodies, and it alone, holds a pole, a bag or a load."""
TOGETHER, HELD, STEPS_EACH, AHEAD = 64, 64, 16, 12
"""Poses made at once; times that, poses held; steps between two makings; makings that processes draw ahead."""


class LikenessNet(nn.Module):
    """Folded picture (b, 16, 40, 40) to vectors (b, SIZE) of length 1; the trunk is the reader's."""

    def __init__(self) -> None:
        super().__init__()
        reader = ReaderNet()
        self.stem, self.middle, self.deep = reader.stem, reader.middle, reader.deep
        wide = 192
        self.places = nn.Sequential(nn.Conv2d(wide, 48, 1, bias=False), nn.BatchNorm2d(48), nn.ReLU())
        self.told = nn.Linear(48 * 25 + 2 * wide, SIZE)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        deep = self.deep(self.middle(self.stem(x)))
        pooled = torch.cat([self.places(deep).flatten(1), deep.mean((2, 3)), deep.amax((2, 3))], 1)
        return F.normalize(self.told(pooled), dim=1)


def loss(one: torch.Tensor, other: torch.Tensor, pose: tuple[torch.Tensor, torch.Tensor],
         angle: tuple[torch.Tensor, torch.Tensor], more: torch.Tensor | None = None) -> torch.Tensor:
    """Surprise, nats, at which of the ``other`` vectors show each ``one``'s pose from about its side, and the other way
    round.

    Parameters
    ----------
    one, other : (n, SIZE) and (m, SIZE)
        Of the first and of the second bodies.
    pose, angle
        Number of the pose and degrees, (n,) and (m,).
    more : (k, SIZE), optional
        Of bodies in other poses.
    """
    same = pose[0][:, None] == pose[1]
    apart = (angle[0][:, None] - angle[1] + 180) % 360 - 180
    alike = torch.exp(-0.5 * (apart / SAME_SIDE) ** 2) * same
    score = SHARPNESS * one.float() @ other.float().T
    total = torch.zeros((), device=one.device)
    for told, truth, seen in ((score, alike, one), (score.T, alike.T, other)):
        if more is not None:
            told = torch.cat([told, SHARPNESS * seen.float() @ more.float().T], 1)
            truth = F.pad(truth, (0, len(more)))
        held = truth.sum(1)
        weight = (2 * held).clamp(max=1)
        off = -(truth / held.clamp(min=1e-6)[:, None] * F.log_softmax(told, 1)).sum(1)
        total = total + (weight * off).sum() / weight.sum().clamp(min=1)
    return total / 2


# ------------------------------------------------------------------------------------------------------------ views


def pairs(stock: Stock, rng: np.random.Generator, drawn: tuple[torch.Tensor, torch.Tensor], kind: Kind,
          first_pose: int) -> Views:
    """Views of poses (count, rig.WIDTH), each struck by two bodies one after the other, outfits (2 * count, fields)."""
    vectors, outfits = drawn
    views = training_views.turnarounds(stock, rng, vectors.repeat_interleave(2, 0), outfits, kind, 0)
    views.pose = first_pose + views.pose // 2
    return views


def draw(rng: np.random.Generator, kind: Kind, count: int, siblings: float = 0.0, held: bool = True,
         alone: float = 0.0) -> tuple[torch.Tensor, torch.Tensor]:
    """Poses (count, rig.WIDTH) and outfits (2 * count, fields).

    Of the pairs of poses one after the other a share ``siblings`` is of one pose and the same a little changed. Without
    ``held`` nobody holds a pole, a bag or a load; of the poses a share ``alone`` has one body that does and one that
    does not.
    """
    drawn: list[rig.Pose] = []
    for k in range(count):
        near = k % 2 == 1 and rng.random() < siblings
        drawn.append(poses.changed(drawn[-1], rng, float(rng.choice(CHANGED))) if near else kind.pose(rng, kind.names))
    outfits = [dress.NAKED if rng.random() < kind.bare else dress.sample(rng) for _ in range(2 * count)]
    if not held:
        outfits = [dress.empty_handed(outfit) for outfit in outfits]
    for pose in np.flatnonzero(rng.random(count) < alone) if alone else ():
        one = 2 * int(pose) + int(rng.integers(2))
        outfits[one], outfits[one ^ 1] = dress.holding(outfits[one], rng), dress.empty_handed(outfits[one ^ 1])
    return rig.pose_vectors(drawn), dress.vector(outfits)


def _drawn(seed: int, part: int, at: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    torch.set_num_threads(1)
    vectors, outfits = draw(np.random.default_rng([seed, part, at, 0]), KIND, TOGETHER, SIBLINGS, alone=ALONE)
    return vectors.numpy(), outfits.numpy()


class Fresh:
    """Poses to learn from; the oldest make room for new ones."""

    def __init__(self, stock: Path, device: torch.device, seed: int, part: int, pool: Executor, held: int) -> None:
        self.stock = training_views.load_stock(stock, device)
        self.seed, self.part, self.pool, self.held = seed, part, pool, held
        self.asked = self.made = 0
        self.waiting: deque[Future[Any]] = deque()
        first, angle = self._next()
        self.masks = torch.empty(held * TOGETHER, 2, TURN, *first.shape[3:], dtype=torch.uint8, device=device)
        self.angle = torch.empty(held * TOGETHER, 2, TURN, device=device)
        self._put((first, angle))
        while self.made < held:
            self._put(self._next())

    def _next(self) -> tuple[torch.Tensor, torch.Tensor]:
        while len(self.waiting) < AHEAD:
            self.waiting.append(self.pool.submit(_drawn, self.seed, self.part, self.asked))
            self.asked += 1
        vectors, outfits = (torch.from_numpy(v) for v in self.waiting.popleft().result())
        rng = np.random.default_rng([self.seed, self.part, self.made, 1])
        with torch.no_grad():
            views = pairs(self.stock, rng, (vectors, outfits), KIND, 0)
        self.made += 1
        return views.masks.view(TOGETHER, 2, TURN, *views.masks.shape[1:]), views.angle.view(TOGETHER, 2, TURN)

    def _put(self, new: tuple[torch.Tensor, torch.Tensor]) -> None:
        at = (self.made - 1) % self.held * TOGETHER
        self.masks[at : at + TOGETHER], self.angle[at : at + TOGETHER] = new

    def renew(self, step: int) -> None:
        """New poses in the place of the oldest, if it is time."""
        if step % STEPS_EACH == 0:
            self._put(self._next())

    def batch(self, count: int, gen: torch.Generator) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Masks (2, 2 * count, h, w / 8) of the first and the second bodies, pose (2 * count,), angles (2, 2 * count):
        of each pose and body one view at a random angle, the second body's about the same, and one at any."""
        device = self.masks.device
        pair = torch.randperm(len(self.masks) // 2, generator=gen, device=device)[: count // 2]
        pose = torch.cat([2 * pair, 2 * pair + 1])
        asked = 360 * torch.rand(count, generator=gen, device=device)
        away = torch.stack([torch.zeros_like(asked), 10 * torch.randn(count, generator=gen, device=device)])
        apart = (self.angle[pose].transpose(0, 1) - (asked + away)[..., None] + 180) % 360 - 180   # (2, count, TURN)
        about = apart.abs().argmin(-1)
        anywhere = torch.randint(TURN, (2, count), generator=gen, device=device)
        which = torch.cat([about, anywhere], 1)
        pose = pose.repeat(2)
        bodies = torch.arange(2, device=device)[:, None]
        return self.masks[pose, bodies, which], pose, self.angle[pose, bodies, which]


# --------------------------------------------------------------------------------------------------------- learning


def drawn_by_hand(mask: torch.Tensor, gen: torch.Generator) -> torch.Tensor:
    """(b, 1, h, w) in 0..1 as if drawn quickly and filled: bends round, small gaps closed, every edge a little off."""
    b, device, size = len(mask), mask.device, mask.shape[-1]

    def share() -> torch.Tensor:
        return torch.rand(b, 1, 1, 1, generator=gen, device=device)

    wide = training_flaws._odd(size * 0.02)
    soft = mask = _closed(mask)
    for across in ((wide, 1), (1, wide), (wide, 1), (1, wide)):
        soft = F.avg_pool2d(soft, across, 1, (across[0] // 2, across[1] // 2), count_include_pad=False)
    level = 0.08 * torch.randn(b, 1, 1, 1, generator=gen, device=device, dtype=mask.dtype)
    soft = ((mask + share().to(mask.dtype) * (soft - mask) - 0.5 + level) * 6).clamp(-0.5, 0.5) + 0.5
    bend = torch.zeros(b, 2, size // 4, size // 4, device=device)
    for cells in (6, 12, 18, 26):
        noise = torch.randn(b, 2, cells, cells, generator=gen, device=device)
        bend += share() * F.interpolate(noise, size=bend.shape[2:], mode="bicubic", align_corners=False)
    usual = bend.square().sum(1, keepdim=True).mean((2, 3), keepdim=True).sqrt()
    # the canvas is 2 wide
    bend *= 2 * training_views.FIGURE / training_views.CANVAS * (OFF[0] + (OFF[1] - OFF[0]) * share()) / usual
    bend = F.interpolate(bend, size=(size, size), mode="bilinear", align_corners=False)
    axis = (torch.arange(size, device=device) + 0.5) * 2 / size - 1
    place = torch.stack([axis.expand(size, size), axis[:, None].expand(size, size)]) + bend
    return F.grid_sample(soft, place.permute(0, 2, 3, 1).to(mask.dtype), align_corners=False)


def _closed(mask: torch.Tensor) -> torch.Tensor:
    """(b, 1, h, w) with narrow gaps closed, in windows of 1, 3, 5 and so on pixels, row by row in turn."""
    widths = range(1, CLOSED + 1, 2)
    made = [-training_flaws._grown(-training_flaws._grown(mask[k :: len(widths)], wide), wide) if wide > 1
            else mask[k :: len(widths)] for k, wide in enumerate(widths)]
    out = torch.empty_like(mask)
    for k, some in enumerate(made):
        out[k :: len(widths)] = some
    return out


def spoiled(masks: torch.Tensor, flip: torch.Tensor, gen: torch.Generator) -> torch.Tensor:
    """Packed masks (b, h, w / 8), the first half of first bodies, as the network sees them: mirrored where asked,
    leant, scaled, some with a cutter's flaws, some as if drawn by hand."""
    mask = training_views.halved(masks)[:, None]
    b, device = len(mask), mask.device
    mask = mask.half() if device.type == "cuda" else mask
    lean = torch.deg2rad(torch.randn(b, generator=gen, device=device) * 2.0)
    larger = 1 / (0.92 + 0.12 * torch.rand(b, 2, generator=gen, device=device).mean(1, keepdim=True)
                  + 0.02 * torch.randn(b, 2, generator=gen, device=device))
    theta = torch.zeros(b, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 0, 1] = torch.cos(lean) * larger[:, 0], torch.sin(lean) * larger[:, 0]
    theta[:, 1, 0], theta[:, 1, 1] = -torch.sin(lean) * larger[:, 1], torch.cos(lean) * larger[:, 1]
    theta[:, :, 2] = 0.02 * torch.randn(b, 2, generator=gen, device=device)
    theta[:, 0] *= torch.where(flip, -1.0, 1.0)[:, None]
    mask = training_flaws._looked_up(mask, theta)
    halves = [torch.rand(b // 2, generator=gen, device=device).argsort() + k * (b // 2) for k in (0, 1)]
    by_hand = torch.cat([half[: int(share * len(half))] for half, share in zip(halves, DRAWN, strict=True)])
    rest = torch.cat([half[int(share * len(half)) :][: int(FLAWED * len(half))]
                      for half, share in zip(halves, DRAWN, strict=True)])
    mask = mask.index_copy(0, by_hand, drawn_by_hand(mask[by_hand], gen))
    mask = mask.index_copy(0, rest, training_flaws.flawed(mask[rest], gen))
    return training_net.folded(mask).to(memory_format=torch.channels_last)


@dataclass(frozen=True)
class Plan:
    """How to train."""

    seconds: float
    steps: int
    seed: int = 5
    poses: int = 384
    """A step and card; four pictures each."""
    rate: float = 1.5e-3
    held: int = HELD


def learn(folder: Path, source: Fresh, start: Path | None, plan: Plan, cards: Cards) -> None:
    """Train by a plan; writes ``likeness.pt`` (weights, averaged over the steps) and ``curve.json`` to ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(plan.seed)
    net = LikenessNet()
    if start is not None:
        known = torch.load(start, map_location="cpu", weights_only=True)
        net.load_state_dict({k: v for k, v in known.items() if k in net.state_dict()}, strict=False)
    net = net.to(cards.device).to(memory_format=torch.channels_last)
    mean = copy.deepcopy(net)
    gen = torch.Generator(cards.device)
    gen.manual_seed(plan.seed * 1000 + cards.rank)
    optimiser = torch.optim.AdamW(
        [{"params": [p for p in net.parameters() if p.ndim > 1], "weight_decay": 0.02},
         {"params": [p for p in net.parameters() if p.ndim <= 1], "weight_decay": 0.0}],
        lr=plan.rate, betas=(0.9, 0.99), fused=cards.device.type == "cuda")
    began, curve, total = time.monotonic(), [], torch.zeros(2, device=cards.device)
    step, steps, since = 0, plan.steps, 0
    while step < steps:
        step += 1
        source.renew(step)
        for group in optimiser.param_groups:
            group["lr"] = plan.rate * min(1, step / 200) * (0.5 * (1 + np.cos(np.pi * step / steps)) + 1e-3)
        total += _advance(net, source, plan, cards, gen)
        cards.mean([p.grad for p in net.parameters() if p.grad is not None])
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        training._follow(mean, net, min(0.998, step / (step + 20)))
        if step in (40, 200, 800, 2000, 4000):
            spent = time.monotonic() - began
            steps = max(step, int(cards.said_by_first(min(plan.steps, step * plan.seconds / spent))))
        if step in (20, 100) or step % 500 == 0 or step == steps:
            told = (total / (step - since)).tolist()
            curve.append({"step": step, "of": steps, "s": round(time.monotonic() - began, 1), "loss": round(told[0], 4),
                          "first": round(told[1], 4), "poses": source.made * TOGETHER * cards.count})
            total.zero_()
            since = step
            if cards.rank == 0:
                print(json.dumps(curve[-1]), flush=True)
                torch.save(mean.state_dict(), folder / "likeness.pt")
                (folder / "curve.json").write_text(json.dumps(curve))


def _advance(net: LikenessNet, source: Fresh, plan: Plan, cards: Cards, gen: torch.Generator) -> torch.Tensor:
    """Leaves the gradients of one batch; (loss, share of the first bodies' views whose nearest is of their pose)."""
    with torch.no_grad():
        masks, pose, angle = source.batch(plan.poses, gen)
        turned = torch.rand(len(source.masks), generator=gen, device=cards.device)[pose] < 0.5
        angle = torch.where(turned, -angle, angle)
        x = spoiled(masks.flatten(0, 1), turned.repeat(2), gen)
    net.train()
    net.zero_grad(set_to_none=True)
    with torch.autocast(cards.device.type, torch.bfloat16, enabled=cards.device.type == "cuda"):
        told = net(x)
    one, other = told.float().chunk(2)
    off = loss(one, other, (pose, pose), (angle[0], angle[1]), _elsewhere(told.detach(), cards))
    off.backward()
    with torch.no_grad():
        half = len(one) // 2
        first = (pose[(one[:half] @ other.T).argmax(1)] == pose[:half]).float().mean()
    return torch.stack([off.detach(), first])


def _elsewhere(told: torch.Tensor, cards: Cards) -> torch.Tensor | None:
    """The other cards' vectors: more poses to be told apart from."""
    if cards.count == 1:
        return None
    gathered = [torch.empty_like(told) for _ in range(cards.count)]
    distributed.all_gather(gathered, told.contiguous())
    return torch.cat([part for k, part in enumerate(gathered) if k != cards.rank])


# ---------------------------------------------------------------------------------------------------------- commands


def make(file: Path, stock_file: Path, kind: Kind, count: int, seed: int, held: bool) -> None:
    """Write views of kept-out poses, first those of an archive, then what is asked for.

    The ``.npz`` holds, a row a view, ``picture`` (bytes of a PNG of one bit, white on the figure), ``pose``, ``asked``
    (whether it is of the second body), ``angle`` in degrees and ``about`` as in ``Views``; and ``joints`` (poses,
    points, 3), POINTS in metres of one and the same body.
    """
    import cv2

    png = [cv2.IMWRITE_PNG_BILEVEL, 1, cv2.IMWRITE_PNG_COMPRESSION, 9]
    device = "cuda" if torch.cuda.is_available() else "cpu"
    stock, rng = training_views.load_stock(stock_file, device), np.random.default_rng(seed)
    rows: dict[str, list[Any]] = {k: [] for k in ("picture", "pose", "asked", "angle", "about", "joints")}
    for start in range(0, count, 8):
        some = min(8, count - start)
        vectors, outfits = draw(rng, kind, some, held=held)
        with torch.no_grad():
            views = pairs(stock, rng, (vectors, outfits), kind, start)
            rows["joints"].append(_joints(stock, vectors))
        for body in range(2 * some):
            chosen = rng.choice(TURN, ASKED, replace=False) if body % 2 else np.arange(0, TURN, TURN // ARCHIVE)
            these = views.rows(torch.from_numpy(body * TURN + chosen).to(device))
            for mask in training_views.unpack(these.masks).cpu().numpy():
                rows["picture"].append(cv2.imencode(".png", mask * np.uint8(255), png)[1])
            rows["asked"] += [body % 2 == 1] * len(chosen)
            for name in ("pose", "angle", "about"):
                rows[name] += list(getattr(these, name).cpu().numpy())
    file.parent.mkdir(parents=True, exist_ok=True)
    ends = np.cumsum([len(p) for p in rows["picture"]])
    np.savez(file, picture=np.concatenate(rows["picture"]), ends=ends, pose=np.array(rows["pose"]),
             asked=np.array(rows["asked"]), angle=np.array(rows["angle"], np.float32),
             about=np.array(rows["about"], np.float32), joints=np.concatenate(rows["joints"]))


def _joints(stock: Stock, vectors: torch.Tensor) -> NDArray[np.float32]:
    """(poses, points, 3) where POINTS of the stock's first body are."""
    count = len(vectors)
    posed = rig.pose_batch(stock.rig, stock.rest[:1].expand(count, -1, -1), stock.heads[:1].expand(count, -1, -1),
                           vectors.to(stock.rest.device))
    joints = bodies.joints_of(posed, stock.rig.names)
    return np.asarray(torch.stack([joints[p] for p in training_views.POINTS], 1).cpu().numpy(), np.float32)


def export(state: Path, out: Path, examples: Path) -> None:
    """Write the network as ONNX in eight bits, scaled by a file of views of ``training``; needs ``onnx``."""
    net = LikenessNet()
    net.load_state_dict(torch.load(state, map_location="cpu", weights_only=True))
    net.eval()
    side = training_net.SIDE // training_net.FOLD
    torch.onnx.export(net, (torch.zeros(1, training_net.FOLD**2, side, side),), str(out), dynamo=False,
                      input_names=["picture"], output_names=["vectors"], opset_version=13,
                      dynamic_axes={name: {0: "looks"} for name in ("picture", "vectors")})
    eight_bits.in_eight_bits(out, training.both_looks(training_views.load_views([examples], torch.device("cpu"))))


def _learn_by(args: argparse.Namespace) -> None:
    cards = Cards.found()
    with ProcessPoolExecutor(args.workers, get_context("spawn")) as pool:
        try:
            source = Fresh(args.stock, cards.device, args.views_seed, cards.rank, pool, args.held)
            plan = Plan(args.seconds, args.steps, args.seed, args.poses, args.rate, args.held)
            learn(args.folder, source, args.weights, plan, cards)
        finally:
            pool.shutdown(cancel_futures=True)
    cards.part()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    steps = parser.add_subparsers(dest="step", required=True)
    one = steps.add_parser("learn", help="train")
    one.add_argument("folder", type=Path)
    one.add_argument("--stock", type=Path, required=True)
    one.add_argument("--weights", type=Path, help="weights to start from: the reader's, or this network's own")
    one.add_argument("--views-seed", type=int, default=300)
    one.add_argument("--seed", type=int, default=5)
    one.add_argument("--steps", type=int, default=30000)
    one.add_argument("--seconds", type=float, default=480, help="at most")
    one.add_argument("--poses", type=int, default=384, help="a step and card")
    one.add_argument("--held", type=int, default=HELD)
    one.add_argument("--rate", type=float, default=1.5e-3)
    one.add_argument("--workers", type=int, default=8)
    two = steps.add_parser("views", help="kept-out poses")
    two.add_argument("file", type=Path)
    two.add_argument("--stock", type=Path, required=True)
    two.add_argument("--kind", choices=list(KEPT), default="mixed")
    two.add_argument("--poses", type=int, default=200)
    two.add_argument("--seed", type=int, default=41)
    two.add_argument("--held", action="store_true", help="some hold a pole, a bag or a load")
    three = steps.add_parser("export", help="write the network as ONNX")
    three.add_argument("state", type=Path)
    three.add_argument("file", type=Path)
    three.add_argument("--examples", type=Path, required=True, help="views of ``training`` that scales are taken from")
    args = parser.parse_args()
    if args.step == "learn":
        _learn_by(args)
    elif args.step == "views":
        make(args.file, args.stock, KEPT[args.kind], args.poses, args.seed, args.held)
    else:
        export(args.state, args.file, args.examples)


if __name__ == "__main__":
    main()
