"""Marks of the reader's network on views whose truth is known."""

from __future__ import annotations

import torch

from silhouette.studio import training_flaws, training_net, training_views
from silhouette.studio.training_net import ReaderNet
from silhouette.studio.training_views import MAPS, PAIRS, POINTS, Views

_ARM, _LEG = ("hand", "elbow", "shoulder", "wrist"), ("foot", "knee", "hip", "ankle")
LIMB = tuple((1 if point.startswith(_ARM) else 3 if point.startswith(_LEG) else 0) + point.endswith("_r")
             for point in POINTS)
"""Place of every point's limb in ``Views.legibility``; crown and neck count as head."""


def answers(net: ReaderNet, views: Views, flaws_seed: int | None = None) -> tuple[torch.Tensor, torch.Tensor]:
    """Legibility (n, 5) and points (n, points, 2) that the network reads, on the CPU; with flaws if a seed is given."""
    device = views.masks.device
    net.eval()
    gen = torch.Generator(device=device).manual_seed(flaws_seed or 0)
    told, points = [], []
    with torch.no_grad():
        for part in torch.arange(len(views), device=device).split(256):
            mask = training_views.halved(views.masks[part])[:, None]
            if flaws_seed is not None:
                mask = training_flaws.flawed(mask, gen)
            answer, where, fine = net(training_net.folded(mask))
            told.append(torch.sigmoid(answer[:, :5]).cpu())
            points.append(peaks(where, fine).cpu())
    return torch.cat(told), torch.cat(points)


def peaks(where: torch.Tensor, fine: torch.Tensor) -> torch.Tensor:
    """(b, points, 2) canvas fractions: the mean of each map's bells within two cells of its highest cell."""
    p = where.flatten(2).softmax(-1)
    top = p.argmax(-1)
    cells = torch.arange(MAPS, device=where.device)
    near_x = (cells - (top % MAPS)[..., None]).abs() <= 2
    near_y = (cells - (top // MAPS)[..., None]).abs() <= 2
    p = p * (near_y[..., :, None] & near_x[..., None, :]).flatten(2)
    p = p / p.sum(2, keepdim=True)
    x, y, _ = training_net.bells(fine)
    return torch.stack([(p * x).sum(2), (p * y).sum(2)], -1)


def point_errors(points: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """(n, points) distance of each true point from its own answer, canvas fractions; pairs in the better order."""
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
    limb = views.legibility.float().cpu()[:, list(LIMB)]
    off = point_errors(points, views.joints.float().cpu()) / views.height.float().cpu()[:, None]
    clear = limb > 0.5

    def least(v: torch.Tensor, n: int) -> torch.Tensor:
        return v.sort(1).values[:, :n].mean(1)

    return {"mean": spearman(told.mean(1), truth.mean(1)), "two least": spearman(least(told, 2), least(truth, 2)),
            "least": spearman(least(told, 1), least(truth, 1)), "point error": float(off[clear].median()),
            "point error 90": float(off[clear].quantile(0.9))} | {
            f"{kind} error": round(float(off[:, at].median()), 4) for kind, at in _kinds().items()}


def _kinds() -> dict[str, list[int]]:
    """Kind of point -> its places in POINTS."""
    kinds: dict[str, list[int]] = {}
    for at, point in enumerate(POINTS):
        kinds.setdefault(point.removesuffix("_l").removesuffix("_r"), []).append(at)
    return kinds


def spearman(a: torch.Tensor, b: torch.Tensor) -> float:
    """Rank correlation; ties are split by order, which is rare here."""
    ranks = torch.stack([a.double().argsort().argsort(), b.double().argsort().argsort()]).double()
    return round(float(torch.corrcoef(ranks)[0, 1]), 4)
