"""Trains the reader of ``silhouette/reading`` on rendered bodies alone, the same way every time.

Four steps, each a command (``python -m silhouette.studio.training STEP ...``):

- ``stock FILE``: builds at rest, where anny is installed; one file to train on, another, of other bodies, to test on;
- ``views FILE --stock FILE``: views of random poses, on any torch machine; several processes can make a file each;
- ``learn FOLDER --views FILES --kept-out FILES``: the training itself, so many steps from a seed; a large GPU takes
  minutes;
- ``export STATE FILE``: the network as ONNX with weights of eight bits, where the ``onnx`` package is installed.

Whole poses are kept out: ``random`` (drawn like the training poses) and ``named`` (near named poses that training never
saw), on bodies that training never saw either.
"""

from __future__ import annotations

import argparse
import copy
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import torch

from silhouette.studio import poses, training_flaws, training_net, training_views
from silhouette.studio.training_marks import marks
from silhouette.studio.training_net import ReaderNet
from silhouette.studio.training_views import Views

RATE = 2e-3
"""Highest learning rate from nothing; it falls along half a cosine."""
NO_BODY = 0.08
"""Share of a batch that is no single body."""
FIRST_POSE = {"train": 0, "random": 10**6, "named": 2 * 10**6}
"""Number of the first pose of each kind of views."""


def make(file: Path, stock_file: Path, kind: str, count: int, seed: int, together: int) -> None:
    """Write the views of ``count`` poses of a kind, a key of FIRST_POSE; an ``.npz`` holds them packed small."""
    began = time.monotonic()
    stock = training_views.load_stock(stock_file, "cuda" if torch.cuda.is_available() else "cpu")
    names = poses.KEPT_OUT if kind == "named" else poses.TAUGHT
    with torch.no_grad():
        views = training_views.make_views(stock, count, seed, names, kind == "named", together, FIRST_POSE[kind])
    file.parent.mkdir(parents=True, exist_ok=True)
    training_views.save_views(file, views)
    print(f"{file.name}: {len(views)} views in {time.monotonic() - began:.1f} s", flush=True)


def learn(folder: Path, made: list[Path], kept_out: list[Path], steps: int, seed: int, batch: int, rate: float = RATE,
          start: Path | None = None) -> dict[str, Any]:
    """Train for so many steps, from ``start`` or from nothing, then mark the kept-out poses.

    Layers that ``start`` does not hold begin as they would from nothing. Writes ``reader.pt``
    (weights, averaged over the steps) and ``report.json`` to ``folder``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    began = time.monotonic()
    views = training_views.load_views(made, device)
    tests = {file.stem: training_views.load_views([file], device) for file in kept_out}
    torch.manual_seed(seed)
    net = ReaderNet()
    if start is not None:
        net.load_state_dict(torch.load(start, map_location="cpu", weights_only=True), strict=False)
    net = net.to(device).to(memory_format=torch.channels_last)
    report: dict[str, Any] = {"seed": seed, "poses": len(views) // training_views.TURN, "views": len(views),
                              "steps": steps, "batch": batch, "weights": training_net.count_weights(net),
                              "device": device, "loading_s": round(time.monotonic() - began, 1), "curve": []}
    print(json.dumps(report), flush=True)
    mean = _train(net, views, next(iter(tests.values())), steps, batch, rate, report, folder)
    report["kept_out"] = {f"{name}{' with flaws' if flaws else ''}": marks(mean, test, seed if flaws else None)
                          for name, test in tests.items() for flaws in (False, True)}
    report["whole_s"] = round(time.monotonic() - began, 1)
    (folder / "report.json").write_text(json.dumps(report, indent=1))
    print(json.dumps(report["kept_out"], indent=1), flush=True)
    return report


def _train(net: ReaderNet, views: Views, test: Views, steps: int, batch: int, rate: float, report: dict[str, Any],
           folder: Path) -> ReaderNet:
    device = views.masks.device
    groups = [{"params": [p for p in net.parameters() if p.ndim > 1], "weight_decay": 0.02},
              {"params": [p for p in net.parameters() if p.ndim <= 1], "weight_decay": 0.0}]
    optimiser = torch.optim.AdamW(groups, lr=rate, betas=(0.9, 0.99), fused=device.type == "cuda")
    mean = copy.deepcopy(net)
    one_batch = _repeated(net, views, batch)
    some = test.rows(torch.arange(0, len(test), 3, device=device))
    began = time.monotonic()
    sums, shown, names = torch.zeros(len(training_net.TERMS), device=device), 0, training_net.TERMS
    for step in range(1, steps + 1):
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1, step / 300) * (0.5 * (1 + np.cos(np.pi * step / steps)) + 1e-3)
        terms = one_batch()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        _follow(mean, net, min(0.999, step / (step + 20)))
        sums += terms
        if step == 50 or step % max(1, steps // 12) == 0:
            row: dict[str, float] = {"step": step, "s": round(time.monotonic() - began, 1)}
            row |= {k: round(v, 4) for k, v in zip(names, (sums / (step - shown)).tolist(), strict=True)}
            row |= marks(mean, some)
            report["curve"].append(row)
            print(json.dumps(row), flush=True)
            torch.save(mean.state_dict(), folder / "reader.pt")
            sums.zero_()
            shown = step
    torch.save(mean.state_dict(), folder / "reader.pt")
    return mean


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


def export(state: Path, out: Path) -> None:
    """Write the network as ONNX; needs ``onnx``.

    Weights of the large layers are kept as whole numbers of eight bits with one scale for each channel that comes out,
    and are widened by two nodes (Cast, Mul) that OpenCV works out once, when the file is loaded.
    """
    import onnx
    from onnx import TensorProto, helper, numpy_helper

    net = ReaderNet()
    net.load_state_dict(torch.load(state, map_location="cpu", weights_only=True))
    net.eval()
    side = training_net.SIDE // training_net.FOLD
    torch.onnx.export(net, (torch.zeros(1, training_net.FOLD**2, side, side),), str(out), dynamo=False,
                      input_names=["picture"], output_names=["answers", "where", "fine"], opset_version=13,
                      dynamic_axes={name: {0: "looks"} for name in ("picture", "answers", "where", "fine")})
    model = onnx.load(str(out))
    for tensor in list(model.graph.initializer):
        values = numpy_helper.to_array(tensor)
        if values.dtype != np.float32 or values.size < 4096:
            continue
        name = tensor.name
        scale = np.abs(values).reshape(len(values), -1).max(1).clip(1e-9) / 127
        scale = scale.reshape(-1, *[1] * (values.ndim - 1)).astype(np.float32)
        tensor.CopyFrom(numpy_helper.from_array(np.round(values / scale).astype(np.int8), f"{name}.whole"))
        model.graph.initializer.append(numpy_helper.from_array(scale, f"{name}.scale"))
        model.graph.node.insert(0, helper.make_node("Mul", [f"{name}.wide", f"{name}.scale"], [name]))
        model.graph.node.insert(0, helper.make_node("Cast", [f"{name}.whole"], [f"{name}.wide"], to=TensorProto.FLOAT))
    onnx.save(model, str(out))


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
    two.add_argument("--kind", choices=list(FIRST_POSE), default="train")
    two.add_argument("--poses", type=int, default=4000)
    two.add_argument("--seed", type=int, default=5)
    two.add_argument("--together", type=int, default=4, help="poses worked on at once")
    three = steps.add_parser("learn", help="train, mark")
    three.add_argument("folder", type=Path)
    three.add_argument("--views", type=Path, nargs="+", required=True)
    three.add_argument("--kept-out", type=Path, nargs="+", required=True)
    three.add_argument("--steps", type=int, default=30000)
    three.add_argument("--seed", type=int, default=5)
    three.add_argument("--batch", type=int, default=512)
    three.add_argument("--rate", type=float, default=RATE, help="highest learning rate; less when going on")
    three.add_argument("--start", type=Path, help="go on from these weights")
    four = steps.add_parser("export", help="write the network as ONNX")
    four.add_argument("state", type=Path)
    four.add_argument("file", type=Path)
    args = parser.parse_args()
    if args.step == "stock":
        training_views.save_stock(args.file, args.count, args.seed)
    elif args.step == "views":
        make(args.file, args.stock, args.kind, args.poses, args.seed, args.together)
    elif args.step == "learn":
        learn(args.folder, args.views, args.kept_out, args.steps, args.seed, args.batch, args.rate,
              args.start)
    else:
        export(args.state, args.file)


if __name__ == "__main__":
    main()
