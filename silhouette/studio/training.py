"""Trains the reader of ``silhouette/reading`` on rendered bodies alone, the same way every time.

Four steps, each a command (``python -m silhouette.studio.training STEP ...``):

- ``stock FILE``: builds at rest, where anny is installed; one file to train on, another, of other bodies, to test on;
- ``views FILE --stock FILE --kind KIND``: views of random poses, on any torch machine, to test on;
- ``learn FOLDER --stock FILE --kept-out FILES``: the training itself, so many steps from a seed, while fresh views are
  made; large graphics cards take minutes, several learn together with ``torchrun --nproc-per-node 4 -m
  silhouette.studio.training learn ...``;
- ``export STATE FILE --examples VIEWS``: the network as ONNX in eight bits, where the ``onnx`` package is installed.

Whole poses are kept out: ``random`` (drawn like the training poses), ``named`` (near named poses that training never
saw), ``close`` (arms held against the body) and ``tilted`` (low and high cameras), on bodies that training never saw
either.
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import distributed

from silhouette.studio import eight_bits, training_flaws, training_net, training_views
from silhouette.studio.training_fresh import Fixed, Fresh, fresh
from silhouette.studio.training_marks import marks
from silhouette.studio.training_net import ReaderNet
from silhouette.studio.training_views import Views

RATE = 2e-3
"""Highest learning rate from nothing; it falls along half a cosine."""
NO_BODY = 0.08
"""Share of a batch that is no single body."""


def make(file: Path, stock_file: Path, kind: str, count: int, seed: int, together: int) -> None:
    """Write the views of ``count`` poses of a kind, a key of ``training_views.KINDS``; an ``.npz`` holds them packed
    small."""
    began = time.monotonic()
    stock = training_views.load_stock(stock_file, "cuda" if torch.cuda.is_available() else "cpu")
    with torch.no_grad():
        views = training_views.make_views(stock, count, seed, training_views.KINDS[kind], together)
    file.parent.mkdir(parents=True, exist_ok=True)
    training_views.save_views(file, views)
    print(f"{file.name}: {len(views)} views in {time.monotonic() - began:.1f} s", flush=True)


@dataclass(frozen=True)
class Plan:
    """How to train."""

    steps: int
    seed: int = 5
    batch: int = 512
    """Views a step and card."""
    rate: float = RATE
    seconds: float | None = None
    """Instead of ``steps``: as many as fit into so many seconds of training."""
    start: Path | None = None
    """Go on from these weights."""


@dataclass(frozen=True)
class Cards:
    """The graphics cards that train together (``torchrun``), or the one, or the processor."""

    rank: int
    count: int
    device: torch.device

    @staticmethod
    def found() -> Cards:
        rank, count = int(os.environ.get("LOCAL_RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
        device = torch.device("cuda", rank) if torch.cuda.is_available() else torch.device("cpu")
        if device.type == "cuda":
            torch.cuda.set_device(device)
        if count > 1 and not distributed.is_initialized():
            distributed.init_process_group("nccl" if device.type == "cuda" else "gloo",
                                           device_id=device if device.type == "cuda" else None)
        return Cards(rank, count, device)

    def mean(self, tensors: list[torch.Tensor]) -> None:
        """Each becomes its mean over the cards."""
        if self.count > 1:
            flat = torch.cat([t.flatten() for t in tensors])
            distributed.all_reduce(flat)
            flat /= self.count
            torch._foreach_copy_(tensors, [part.view_as(t) for part, t in
                                           zip(flat.split([t.numel() for t in tensors]), tensors, strict=True)])

    def part(self) -> None:
        """The end: each waits for the others."""
        if self.count > 1:
            distributed.barrier()
            distributed.destroy_process_group()

    def said_by_first(self, value: float) -> float:
        """The first card's value."""
        told = torch.tensor([value], dtype=torch.float64, device=self.device)
        if self.count > 1:
            distributed.broadcast(told, 0)
        return float(told)


def learn(folder: Path, source: Fixed | Fresh, kept_out: list[Path], plan: Plan,
          cards: Cards | None = None) -> dict[str, Any]:
    """Train by a plan, then mark the kept-out poses.

    Layers that ``plan.start`` does not hold begin as they would from nothing. Writes ``reader.pt``
    (weights, averaged over the steps) and ``report.json`` to ``folder``. With several cards only the first writes.
    """
    cards = cards or Cards.found()
    folder.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    tests = {file.stem: training_views.load_views([file], cards.device) for file in kept_out}
    torch.manual_seed(plan.seed)
    net = ReaderNet()
    if plan.start is not None:
        net.load_state_dict(torch.load(plan.start, map_location="cpu", weights_only=True), strict=False)
    torch.manual_seed(plan.seed * 1000 + cards.rank)
    net = net.to(cards.device).to(memory_format=torch.channels_last)
    report: dict[str, Any] = {"seed": plan.seed, "cards": cards.count, "batch": plan.batch, "rate": plan.rate,
                              "weights": training_net.count_weights(net), "device": cards.device.type, "curve": []}
    trainer = _Trainer(net, source, plan, cards)
    trainer.run(next(iter(tests.values())), report, folder)
    report |= {"steps": trainer.steps, "poses": source.poses * cards.count}
    if cards.rank == 0:
        report["kept_out"] = {f"{name}{' with flaws' if flaws else ''}":
                              marks(trainer.mean, test, plan.seed if flaws else None)
                              for name, test in tests.items() for flaws in (False, True)}
        report["whole_s"] = round(time.monotonic() - began, 1)
        (folder / "report.json").write_text(json.dumps(report, indent=1))
        print(json.dumps(report["kept_out"], indent=1), flush=True)
    return report


class _Trainer:
    def __init__(self, net: ReaderNet, source: Fixed | Fresh, plan: Plan, cards: Cards) -> None:
        self.net, self.source, self.plan, self.cards, self.steps = net, source, plan, cards, plan.steps
        groups = [{"params": [p for p in net.parameters() if p.ndim > 1], "weight_decay": 0.02},
                  {"params": [p for p in net.parameters() if p.ndim <= 1], "weight_decay": 0.0}]
        self.optimiser = torch.optim.AdamW(groups, lr=plan.rate, betas=(0.9, 0.99),
                                           fused=cards.device.type == "cuda")
        self.mean = copy.deepcopy(net)
        self.one_batch = _repeated(net, source.views, plan.batch)

    def run(self, test: Views, report: dict[str, Any], folder: Path) -> None:
        some = test.rows(torch.arange(0, len(test), 3, device=self.cards.device))
        self.began = time.monotonic()
        terms, since = torch.zeros(len(training_net.TERMS), device=self.cards.device), 0
        step = 0
        while step < self.steps:
            step += 1
            terms += self._advance(step)
            if step in (500, 2000, 5000, 9000):
                self._fit_time(step)
            if step == 50 or step % 1500 == 0 or step == self.steps:
                row = self._noted(step, (terms / (step - since)).tolist(), some, folder)
                report["curve"].append(row)
                terms.zero_()
                since = step

    def _advance(self, step: int) -> torch.Tensor:
        self.source.renew(step)
        for group in self.optimiser.param_groups:
            group["lr"] = self.plan.rate * min(1, step / 300) * (0.5 * (1 + np.cos(np.pi * step / self.steps)) + 1e-3)
        terms = self.one_batch()
        self.cards.mean([p.grad for p in self.net.parameters() if p.grad is not None])
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.optimiser.step()
        _follow(self.mean, self.net, min(0.999, step / (step + 20)))
        return terms

    def _fit_time(self, step: int) -> None:
        """So many steps as fit into the plan's seconds, by the first card's clock."""
        if self.plan.seconds is None:
            return
        if self.cards.device.type == "cuda":
            torch.cuda.synchronize()
        spent = time.monotonic() - self.began
        self.steps = max(step, int(self.cards.said_by_first(step * self.plan.seconds / spent)))

    def _noted(self, step: int, terms: list[float], some: Views, folder: Path) -> dict[str, float]:
        row: dict[str, float] = {"step": step, "of": self.steps, "s": round(time.monotonic() - self.began, 1)}
        row |= {k: round(v, 4) for k, v in zip(training_net.TERMS, terms, strict=True)}
        if self.cards.rank == 0:
            row |= marks(self.mean, some)
            print(json.dumps(row), flush=True)
            torch.save(self.mean.state_dict(), folder / "reader.pt")
        return row


def _repeated(net: ReaderNet, views: Views, batch: int) -> Callable[[], torch.Tensor]:
    """What draws a batch, marks it and leaves the gradients in the net; gives the terms of the loss.

    On a GPU the work is recorded once and replayed: it is a thousand small steps, and to ask for each of them anew
    takes longer than to do them.
    """
    device = views.masks.device
    on_gpu = device.type == "cuda"
    gen = torch.cuda.default_generators[torch.cuda.current_device()] if on_gpu else torch.default_generator

    def once() -> torch.Tensor:
        index = torch.randint(len(views), (batch,), generator=gen, device=device)
        terms = torch.stack([*_marked(net, views.rows(index), gen).values()])
        terms.sum().backward()
        return terms.detach()

    def anew() -> torch.Tensor:
        net.zero_grad(set_to_none=True)
        return once()

    if not on_gpu:
        return anew
    aside = torch.cuda.Stream()
    aside.wait_stream(torch.cuda.current_stream())
    with torch.cuda.stream(aside):
        for _ in range(3):
            anew()
    torch.cuda.current_stream().wait_stream(aside)
    net.zero_grad(set_to_none=True)
    recorded = torch.cuda.CUDAGraph()
    with torch.cuda.graph(recorded):
        terms = once()

    def replayed() -> torch.Tensor:
        recorded.replay()
        return terms

    return replayed


def _marked(net: ReaderNet, rows: Views, gen: torch.Generator) -> dict[str, torch.Tensor]:
    """Losses of one batch: unpack, move, spoil, ask, mark."""
    device = rows.masks.device
    with torch.no_grad():
        mask = training_views.halved(rows.masks)[:, None]
        odd = int(len(mask) * NO_BODY)
        mask, maps, joints = training_flaws.moved(mask, rows.maps.float() / 255, rows.joints.float(), gen)
        if odd:
            mask[:odd] = training_flaws.no_bodies(mask[:odd], gen)
        mask = training_flaws.flawed(mask.half() if device.type == "cuda" else mask, gen)
        body = torch.ones(len(mask), device=device)
        body[:odd] = 0
        x = training_net.folded(mask).to(memory_format=torch.channels_last)
    net.train()
    with torch.autocast(device.type, torch.bfloat16, cache_enabled=False):
        out = net(x)
    return training_net.loss(out, rows.legibility.float(), joints, maps.clamp(0, 1), body)


@torch.no_grad()
def _follow(mean: ReaderNet, net: ReaderNet, keep: float) -> None:
    """Let the average follow the weights."""
    ours, theirs = list(mean.state_dict().values()), list(net.state_dict().values())
    moving = [i for i, v in enumerate(ours) if v.dtype.is_floating_point]
    torch._foreach_lerp_([ours[i] for i in moving], [theirs[i] for i in moving], 1 - keep)
    for m, n in zip(ours, theirs, strict=True):
        if not m.dtype.is_floating_point:
            m.copy_(n)


def export(state: Path, out: Path, examples: Path) -> None:
    """Write the network as ONNX in eight bits, scaled by a file of views that it might learn from; needs ``onnx``."""
    net = ReaderNet()
    net.load_state_dict(torch.load(state, map_location="cpu", weights_only=True))
    net.eval()
    side = training_net.SIDE // training_net.FOLD
    torch.onnx.export(net, (torch.zeros(1, training_net.FOLD**2, side, side),), str(out), dynamo=False,
                      input_names=["picture"], output_names=["answers", "where", "fine"], opset_version=13,
                      dynamic_axes={name: {0: "looks"} for name in ("picture", "answers", "where", "fine")})
    eight_bits.in_eight_bits(out, both_looks(training_views.load_views([examples], torch.device("cpu"))))


def both_looks(views: Views) -> NDArray[np.float32]:
    """(n, 2, FOLD^2, SIDE / FOLD, SIDE / FOLD) the shapes and their mirror images as the network sees them."""
    mask = training_views.halved(views.masks)[:, None]
    both = [training_net.folded(one) for one in (mask, mask.flip(3))]
    return np.asarray(torch.stack(both, 1).numpy(), np.float32)


def _learn_by(args: argparse.Namespace) -> None:
    plan = Plan(args.steps, args.seed, args.batch, args.rate, args.seconds, args.weights)
    cards = Cards.found()
    if args.views:
        learn(args.folder, Fixed(args.views, cards.device), args.kept_out, plan, cards)
    else:
        with fresh(args.stock, cards.device, args.views_seed, cards.rank) as source:
            learn(args.folder, source, args.kept_out, plan, cards)
    cards.part()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    steps = parser.add_subparsers(dest="step", required=True)
    one = steps.add_parser("stock", help="write builds at rest")
    one.add_argument("file", type=Path)
    one.add_argument("--count", type=int, default=240)
    one.add_argument("--seed", type=int, default=11)
    two = steps.add_parser("views", help="make views of random poses")
    two.add_argument("file", type=Path)
    two.add_argument("--stock", type=Path, required=True)
    two.add_argument("--kind", choices=list(training_views.KINDS), default="train")
    two.add_argument("--poses", type=int, default=4000)
    two.add_argument("--seed", type=int, default=5)
    two.add_argument("--together", type=int, default=4, help="poses worked on at once")
    three = steps.add_parser("learn", help="train, mark")
    three.add_argument("folder", type=Path)
    three.add_argument("--stock", type=Path, help="make fresh views of these builds all along")
    three.add_argument("--views", type=Path, nargs="+", help="or learn from these files alone")
    three.add_argument("--views-seed", type=int, default=100)
    three.add_argument("--kept-out", type=Path, nargs="+", required=True)
    three.add_argument("--steps", type=int, default=30000)
    three.add_argument("--seed", type=int, default=5)
    three.add_argument("--batch", type=int, default=512)
    three.add_argument("--rate", type=float, default=RATE, help="highest learning rate; less when going on")
    three.add_argument("--seconds", type=float, help="as many steps as fit into so much time, instead of --steps")
    three.add_argument("--weights", type=Path, help="go on from these")
    four = steps.add_parser("export", help="write the network as ONNX")
    four.add_argument("state", type=Path)
    four.add_argument("file", type=Path)
    four.add_argument("--examples", type=Path, required=True, help="views that scales are taken from, of kind train")
    args = parser.parse_args()
    if args.step == "stock":
        training_views.save_stock(args.file, args.count, args.seed)
    elif args.step == "views":
        make(args.file, args.stock, args.kind, args.poses, args.seed, args.together)
    elif args.step == "learn":
        _learn_by(args)
    else:
        export(args.state, args.file, args.examples)


if __name__ == "__main__":
    main()
