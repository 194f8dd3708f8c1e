"""Trains the reader of ``silhouette/reading`` on rendered bodies alone, the same way every time.

Five steps, each a command (``python -m silhouette.studio.training STEP ...``):

- ``stock FILE``: builds at rest, where anny is installed;
- ``learn FOLDER --stock FILE``: views, training and the kept-out figures, on any torch machine (a large GPU takes
  minutes);
- ``keep FOLDER --stock FILE``: the kept-out views alone, for ``tests/measure/reader.py``;
- ``tune FOLDER --stock FILE --state FILE``: goes on from there on a processor, slowly;
- ``export STATE FILE``: the network as ONNX with half-precision weights, where the ``onnx`` package is installed.

Whole poses are kept out: ``random`` (drawn like the training poses), ``named`` (near named poses that training never
saw), and both again with the cutter's flaws.
"""

from __future__ import annotations

import argparse
import copy
import json
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import torch

from silhouette.studio import poses, training_flaws, training_net, training_views
from silhouette.studio.training_net import PAIRS, ReaderNet
from silhouette.studio.training_views import MAPS, Views

TUNE_RATE = 8e-4
"""Highest learning rate of ``tune``."""
NO_BODY = 0.08
"""Share of a batch that is no single body."""


def learn(folder: Path, stock_file: Path, count: int, making: float, minutes: float, seed: int, batch: int = 384,
          kept_out: int = 300, together: int = 4) -> dict[str, Any]:
    """Make the views, train for ``minutes`` of wall clock, mark the kept-out poses.

    At most ``count`` poses are made, in at most ``making`` minutes. Writes ``reader.pt`` (weights, averaged over the
    steps), ``report.json`` and the kept-out views ``random.npz`` and ``named.npz`` to ``folder``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    began = time.monotonic()
    stock = training_views.load_stock(stock_file, device)
    with torch.no_grad():
        tests = keep(folder, stock, kept_out, seed, together)
        print("kept-out poses made after", round(time.monotonic() - began, 1), "s", flush=True)
        views = training_views.make_views(stock, count, seed, together=together,
                                          until=time.monotonic() + 60 * making)
    report: dict[str, Any] = {"seed": seed, "poses": len(views) // training_views.TURN, "views": len(views),
                              "device": device, "making_s": round(time.monotonic() - began, 1), "curve": []}
    print(json.dumps(report), flush=True)
    torch.manual_seed(seed)
    net = ReaderNet().to(device).to(memory_format=torch.channels_last)
    report["weights"] = training_net.count_weights(net)
    best = _train(net, views, tests, minutes, seed, batch, report, folder)
    report["kept_out"] = {name: marks(best, t, seed if flaws else None)
                          for kind, t in tests.items() for flaws in (False, True)
                          for name in (f"{kind}{' with flaws' if flaws else ''}",)}
    report["whole_s"] = round(time.monotonic() - began, 1)
    (folder / "report.json").write_text(json.dumps(report, indent=1))
    print(json.dumps(report["kept_out"], indent=1), flush=True)
    return report


def keep(folder: Path, stock: training_views.Stock, count: int, seed: int, together: int = 1) -> dict[str, Views]:
    """Views of ``count`` poses of either kind that training never sees; also written to ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    with torch.no_grad():
        kept = {"random": training_views.make_views(stock, count, seed + 1, together=together, first_pose=10**6),
                "named": training_views.make_views(stock, count, seed + 2, poses.KEPT_OUT, True, together, 2 * 10**6)}
    for name, kind in kept.items():
        training_views.save_views(folder / f"{name}.npz", kind, 6000)
    return kept


def _train(net: ReaderNet, views: Views, tests: dict[str, Views], minutes: float, seed: int, batch: int,
           report: dict[str, Any], folder: Path) -> ReaderNet:
    device = views.masks.device
    gen = torch.Generator(device=device).manual_seed(seed)
    groups = [{"params": [p for p in net.parameters() if p.ndim > 1], "weight_decay": 0.02},
              {"params": [p for p in net.parameters() if p.ndim <= 1], "weight_decay": 0.0}]
    optimiser = torch.optim.AdamW(groups, lr=2e-3, betas=(0.9, 0.99))
    mean = copy.deepcopy(net)
    began = shown = time.monotonic()
    step, sums = 0, torch.zeros(4, device=device)
    while (spent := (time.monotonic() - began) / (60 * minutes)) < 1:
        for group in optimiser.param_groups:
            group["lr"] = 2e-3 * min(1, (step + 1) / 300) * (0.5 * (1 + np.cos(np.pi * spent)) + 1e-3)
        index = torch.randint(len(views), (batch,), generator=gen, device=device)
        terms = _marked(net, views.rows(index), gen)
        optimiser.zero_grad(set_to_none=True)
        torch.stack(list(terms.values())).sum().backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        step += 1
        _follow(mean, net, min(0.999, step / (step + 20)))
        sums += torch.stack([t.detach() for t in terms.values()])
        if time.monotonic() - shown > 30 or step == 20:
            if step > 20:
                some = torch.arange(0, len(tests["named"]), 3, device=device)
                row = marks(mean, tests["named"].rows(some))
                row |= {"step": step, "s": round(time.monotonic() - began)}
                row |= {k: round(float(v), 4) for k, v in zip(terms, sums / step, strict=True)}
                report["curve"].append(row)
                print(json.dumps(row), flush=True)
                torch.save(mean.state_dict(), folder / "reader.pt")
            else:
                print("20 steps after", round(time.monotonic() - began, 2), "s", flush=True)
            shown = time.monotonic()
    report["steps"] = step
    torch.save(mean.state_dict(), folder / "reader.pt")
    return mean


def tune(folder: Path, stock_file: Path, state: Path, minutes: float, seed: int, batch: int = 32) -> None:
    """Go on from ``state`` on a processor alone, making views and training in turn; writes ``reader.pt`` to ``folder``.

    Every fifth step one more pose (its views at half the canvas) joins those that batches are drawn from.
    """
    folder.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(seed)
    stock = training_views.load_stock(stock_file, "cpu")
    net = ReaderNet()
    net.load_state_dict(torch.load(state, map_location="cpu", weights_only=True))
    net = net.to(memory_format=torch.channels_last)
    mean, gen = copy.deepcopy(net), torch.Generator().manual_seed(seed)
    optimiser = torch.optim.AdamW(net.parameters(), lr=TUNE_RATE, betas=(0.9, 0.99), weight_decay=0.01)
    made: list[Views] = []
    began = shown = time.monotonic()
    step, sums = 0, torch.zeros(4)
    while (spent := (time.monotonic() - began) / (60 * minutes)) < 1:
        while len(made) < 40 + step // 5:
            with torch.no_grad():
                more = training_views.make_views(stock, 1, seed * 10**6 + len(made), together=1, limb_maps=False)
            made.append(replace(more, masks=_half(more.masks)))
        rate = min(1, (step + 1) / 40) * (0.5 * (1 + np.cos(np.pi * spent)) + 1e-3)
        optimiser.param_groups[0]["lr"] = TUNE_RATE * rate
        picks = torch.randint(len(made) * training_views.TURN, (batch, 1), generator=gen)
        drawn = [made[int(i) // training_views.TURN].rows(i % training_views.TURN) for i in picks]
        terms = _marked(net, Views.joined(drawn), gen)
        optimiser.zero_grad(set_to_none=True)
        (terms["legibility"] + terms["points"] + terms["no body"]).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        step += 1
        _follow(mean, net, min(0.995, step / (step + 20)))
        sums = 0.98 * sums + 0.02 * torch.stack([t.detach() for t in terms.values()])
        if time.monotonic() - shown > 60:
            shown = time.monotonic()
            print(json.dumps({"step": step, "poses": len(made), "s": round(shown - began)}
                             | {k: round(float(v), 4) for k, v in zip(terms, sums, strict=True)}), flush=True)
            torch.save(mean.state_dict(), folder / "reader.pt")
    torch.save(mean.state_dict(), folder / "reader.pt")


def _half(packed: torch.Tensor) -> torch.Tensor:
    """(n, h, w / 8) packed to (n, h / 2, w / 2) uint8, the share covered in quarters."""
    mask = training_views.unpack(packed).to(torch.uint8)
    return mask[:, ::2, ::2] + mask[:, 1::2, ::2] + mask[:, ::2, 1::2] + mask[:, 1::2, 1::2]


def _marked(net: ReaderNet, rows: Views, gen: torch.Generator) -> dict[str, torch.Tensor]:
    """Losses of one batch: unpack, move, spoil, ask, mark. Masks are packed, or counted in quarters as _half does."""
    device = rows.masks.device
    on_gpu = device.type == "cuda"
    with torch.no_grad():
        is_packed = rows.masks.shape[-1] != rows.masks.shape[-2]
        mask = (training_views.unpack(rows.masks) if is_packed else rows.masks / 4)[:, None].float()
        odd = int(len(mask) * NO_BODY)
        mask, maps, joints = training_flaws.moved(mask, rows.maps.float() / 255, rows.joints.float(), gen)
        if odd:
            mask[:odd] = training_flaws.no_bodies(mask[:odd], gen)
        mask = training_flaws.flawed(mask.half() if on_gpu else mask, gen)
        body = torch.ones(len(mask), device=device)
        body[:odd] = 0
        x = training_net.folded(mask).to(memory_format=torch.channels_last)
    net.train()
    with torch.autocast(device.type, torch.bfloat16):
        out = net(x)
    return training_net.loss(out, rows.legibility.float(), joints, maps.clamp(0, 1), body)


def _follow(mean: ReaderNet, net: ReaderNet, keep: float) -> None:
    with torch.no_grad():
        for m, n in zip(mean.state_dict().values(), net.state_dict().values(), strict=True):
            if m.dtype.is_floating_point:
                m.lerp_(n, 1 - keep)
            else:
                m.copy_(n)


def answers(net: ReaderNet, views: Views, flaws_seed: int | None = None) -> tuple[torch.Tensor, torch.Tensor]:
    """Legibility (n, 5) and points (n, 9, 2) that the network reads, on the CPU; with flaws if a seed is given."""
    device = views.masks.device
    net.eval()
    gen = torch.Generator(device=device).manual_seed(flaws_seed or 0)
    told, points = [], []
    with torch.no_grad():
        for part in torch.arange(len(views), device=device).split(256):
            mask = training_views.unpack(views.masks[part])[:, None].float()
            if flaws_seed is not None:
                mask = training_flaws.flawed(mask, gen)
            answer, where = net(training_net.folded(mask))
            told.append(torch.sigmoid(answer[:, :5]).cpu())
            points.append(peaks(where).cpu())
    return torch.cat(told), torch.cat(points)


def peaks(where: torch.Tensor) -> torch.Tensor:
    """(b, 9, 2) canvas fractions: the mean of each map within two cells of its highest cell."""
    p = where.flatten(2).softmax(-1)
    top = p.argmax(-1)
    cells = torch.arange(MAPS, device=where.device)
    near_x = (cells - (top % MAPS)[..., None]).abs() <= 2
    near_y = (cells - (top // MAPS)[..., None]).abs() <= 2
    p = p.view_as(where) * (near_y[..., :, None] & near_x[..., None, :])
    p = p / p.sum((2, 3), keepdim=True)
    centre = (cells + 0.5) / MAPS
    return torch.stack([(p.sum(2) * centre).sum(-1), (p.sum(3) * centre).sum(-1)], -1)


def point_errors(points: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """(n, 9) distance of each true point from its own answer, canvas fractions; pairs in the better order."""
    straight = (points - truth).norm(dim=-1)
    out = straight.clone()
    for i, j in PAIRS:
        crossed = torch.stack([(points[:, j] - truth[:, i]).norm(dim=-1), (points[:, i] - truth[:, j]).norm(dim=-1)], 1)
        swap = crossed.sum(1) < straight[:, [i, j]].sum(1)
        out[:, [i, j]] = torch.where(swap[:, None], crossed, straight[:, [i, j]])
    return out


def marks(net: ReaderNet, views: Views, flaws_seed: int | None = None) -> dict[str, float]:
    """Spearman with the truth of the mean of five, the two least and the least legible limb; median point error in
    figure heights where the limb's legibility is over 0.5."""
    told, points = answers(net, views, flaws_seed)
    truth = training_net.asked(views.legibility.float()).cpu()
    limb = views.legibility.float().cpu()[:, [0, 1, 2, 1, 2, 3, 4, 3, 4]]
    off = point_errors(points, views.joints.float().cpu()) / views.height.float().cpu()[:, None]

    def least(v: torch.Tensor, n: int) -> torch.Tensor:
        return v.sort(1).values[:, :n].mean(1)

    return {"mean": spearman(told.mean(1), truth.mean(1)), "two least": spearman(least(told, 2), least(truth, 2)),
            "least": spearman(least(told, 1), least(truth, 1)), "point error": float(off[limb > 0.5].median()),
            "point error 90": float(off[limb > 0.5].quantile(0.9))}


def spearman(a: torch.Tensor, b: torch.Tensor) -> float:
    """Rank correlation; ties are split by order, which is rare here."""
    ranks = torch.stack([a.double().argsort().argsort(), b.double().argsort().argsort()]).double()
    return round(float(torch.corrcoef(ranks)[0, 1]), 4)


def export(state: Path, out: Path) -> None:
    """Write the network as ONNX, weights kept in half precision and widened when it is loaded; needs ``onnx``."""
    import onnx
    from onnx import TensorProto, helper, numpy_helper

    net = ReaderNet()
    net.load_state_dict(torch.load(state, map_location="cpu", weights_only=True))
    net.eval()
    side = training_net.SIDE // training_net.FOLD
    torch.onnx.export(net, (torch.zeros(1, training_net.FOLD**2, side, side),), str(out), dynamo=False,
                      input_names=["picture"], output_names=["answers", "where"], opset_version=13,
                      dynamic_axes={name: {0: "looks"} for name in ("picture", "answers", "where")})
    model = onnx.load(str(out))
    for tensor in model.graph.initializer:
        values = numpy_helper.to_array(tensor)
        if values.dtype == np.float32 and values.size > 64:
            whole, half = tensor.name, f"{tensor.name}.half"
            tensor.CopyFrom(numpy_helper.from_array(values.astype(np.float16), half))
            model.graph.node.insert(0, helper.make_node("Cast", [half], [whole], to=TensorProto.FLOAT))
    onnx.save(model, str(out))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    steps = parser.add_subparsers(dest="step", required=True)
    one = steps.add_parser("stock", help="write builds at rest")
    one.add_argument("file", type=Path)
    one.add_argument("--count", type=int, default=240)
    one.add_argument("--seed", type=int, default=11)
    two = steps.add_parser("learn", help="make views, train, mark")
    two.add_argument("folder", type=Path)
    two.add_argument("--stock", type=Path, required=True)
    two.add_argument("--poses", type=int, default=24000)
    two.add_argument("--making", type=float, default=3.0, help="at most so many minutes for making views")
    two.add_argument("--minutes", type=float, default=7.0)
    two.add_argument("--seed", type=int, default=5)
    two.add_argument("--batch", type=int, default=384)
    two.add_argument("--kept-out", type=int, default=300)
    two.add_argument("--together", type=int, default=4)
    kept = steps.add_parser("keep", help="make the kept-out views alone")
    kept.add_argument("folder", type=Path)
    kept.add_argument("--stock", type=Path, required=True)
    kept.add_argument("--poses", type=int, default=60)
    kept.add_argument("--seed", type=int, default=5)
    tuned = steps.add_parser("tune", help="go on from given weights, on a processor")
    tuned.add_argument("folder", type=Path)
    tuned.add_argument("--stock", type=Path, required=True)
    tuned.add_argument("--state", type=Path, required=True)
    tuned.add_argument("--minutes", type=float, default=25.0)
    tuned.add_argument("--seed", type=int, default=6)
    three = steps.add_parser("export", help="write the network as ONNX")
    three.add_argument("state", type=Path)
    three.add_argument("file", type=Path)
    args = parser.parse_args()
    if args.step == "stock":
        training_views.save_stock(args.file, args.count, args.seed)
    elif args.step == "learn":
        learn(args.folder, args.stock, args.poses, args.making, args.minutes, args.seed, args.batch, args.kept_out,
              args.together)
    elif args.step == "keep":
        keep(args.folder, training_views.load_stock(args.stock, "cpu"), args.poses, args.seed)
    elif args.step == "tune":
        tune(args.folder, args.stock, args.state, args.minutes, args.seed)
    else:
        export(args.state, args.file)


if __name__ == "__main__":
    main()
