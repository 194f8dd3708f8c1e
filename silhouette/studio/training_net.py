"""The reader's network, what it is asked, and how its answers are marked."""

from __future__ import annotations

import itertools
import math
from functools import cache

import torch
import torch.nn.functional as F
from torch import nn

from silhouette.studio.training_views import MAPS, PAIRS, POINTS

SIDE = 160
"""Side of the picture the network sees, pixels: grey, area-averaged from the canvas."""
FOLD = 4
"""The picture enters folded: FOLD x FOLD pixels become channels, so that thin gaps survive cheaply."""
START_WIDTH, LEAST_WIDTH, MOST_WIDTH = 0.45, 0.06, 2.0
"""Width (standard deviation) of the bell that a cell of a map stands for, in cells: before training, least and most."""
TERMS = ("legibility", "points", "limbs", "no body")
"""What :func:`loss` adds up."""


class Block(nn.Module):
    """Two 3 x 3 convolutions round a narrow middle, with a way past them."""

    def __init__(self, wide: int, narrow: int) -> None:
        super().__init__()
        self.inner = nn.Sequential(nn.Conv2d(wide, narrow, 3, padding=1, bias=False), nn.BatchNorm2d(narrow), nn.ReLU(),
                                   nn.Conv2d(narrow, wide, 3, padding=1, bias=False), nn.BatchNorm2d(wide))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return F.relu(x + self.inner(x))


def _step(c_in: int, c_out: int, size: int = 3, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(c_in, c_out, size, stride, size // 2, bias=False), nn.BatchNorm2d(c_out), nn.ReLU())


class ReaderNet(nn.Module):
    """Folded picture (b, 16, 40, 40) to answers (b, 6), where (b, points, MAPS, MAPS) and fine (b, 3 points, MAPS,
    MAPS).

    answers: logits of the legibility of head, weaker arm, stronger arm, weaker leg, stronger leg; logit of "no body".
    where: logits of the cells that POINTS lie in. fine: for each of these points and each cell how far right and down
    of the cell's middle the point would lie, and the width of the bell round that place; see :func:`bells`. In training
    also six limb maps.
    """

    def __init__(self) -> None:
        super().__init__()
        a, b, c, d, e = 32, 64, 128, 192, 96
        self.stem = nn.Sequential(_step(FOLD * FOLD, a), _step(a, b, stride=2), Block(b, b))
        self.middle = nn.Sequential(_step(b, c, stride=2), *[Block(c, 64) for _ in range(3)])
        self.deep = nn.Sequential(_step(c, d, stride=2), *[Block(d, 144) for _ in range(4)])
        self.from_deep = nn.Sequential(nn.Conv2d(d, 64, 1), nn.Upsample(scale_factor=2, mode="nearest"))
        self.from_middle = nn.Conv2d(c, 64, 1)
        self.up = nn.Sequential(nn.ReLU(), _step(64, b), nn.Upsample(scale_factor=2, mode="nearest"))
        self.join = nn.Sequential(nn.ReLU(), _step(b, e))
        self.where = nn.Conv2d(e, len(POINTS), 1)
        self.fine = nn.Conv2d(e, 3 * len(POINTS), 1)
        nn.init.zeros_(self.fine.weight)
        nn.init.zeros_(self.fine.bias)
        self.limbs = nn.Conv2d(e, 6, 1)
        self.answer = nn.Sequential(nn.Linear(2 * d + e, 128), nn.ReLU(), nn.Dropout(0.1), nn.Linear(128, 6))

    def forward(self, x: torch.Tensor) -> tuple[torch.Tensor, ...]:
        fine = self.stem(x)
        coarse = self.middle(fine)
        deep = self.deep(coarse)
        joined = self.join(fine + self.up(self.from_deep(deep) + self.from_middle(coarse)))
        pooled = torch.cat([deep.mean((2, 3)), deep.amax((2, 3)), joined.mean((2, 3))], 1)
        told = self.answer(pooled), self.where(joined), self.fine(joined)
        return (*told, self.limbs(joined)) if self.training else told


def folded(mask: torch.Tensor) -> torch.Tensor:
    """(b, 1, k SIDE, k SIDE) in 0..1 to the network's (b, FOLD^2, SIDE / FOLD, SIDE / FOLD)."""
    return F.pixel_unshuffle(F.avg_pool2d(mask, mask.shape[-1] // SIDE), FOLD)


def asked(legibility: torch.Tensor) -> torch.Tensor:
    """(b, 5) head, arm_l, arm_r, leg_l, leg_r to head, weaker, stronger arm, weaker, stronger leg."""
    arms, legs = legibility[:, 1:3].sort(1).values, legibility[:, 3:5].sort(1).values
    return torch.cat([legibility[:, :1], arms, legs], 1)


def bells(fine: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Middle x and y and width of every cell's bell, each (b, points, cells), canvas fractions; within a cell of its
    own."""
    across, down, width = fine.float().unflatten(1, (-1, 3)).flatten(3).unbind(2)
    middle = (torch.arange(MAPS, device=fine.device) + 0.5).repeat(MAPS, 1)
    width = (START_WIDTH * torch.exp(width)).clamp(LEAST_WIDTH, MOST_WIDTH)
    x, y = middle.flatten() + torch.tanh(across), middle.T.flatten() + torch.tanh(down)
    return x / MAPS, y / MAPS, width / MAPS


def point_loss(where: torch.Tensor, fine: torch.Tensor, joints: torch.Tensor) -> torch.Tensor:
    """(b,) mean surprise, nats, at where the points are; each pair is marked by the likelihood of both orders.

    A map is a density: cells with weights softmax(logits), each a bell.
    """
    log_p = F.log_softmax(where.float().flatten(2), -1)                                   # (b, points, cells)
    x, y, width = bells(fine)
    weigh = log_p - torch.log(2 * math.pi * width**2)
    narrow = -0.5 / width**2

    def surprise(at: torch.Tensor) -> torch.Tensor:
        # a floor of one in a thousand anywhere keeps a far point from shouting down the rest
        away = (x - at[..., :1]) ** 2 + (y - at[..., 1:]) ** 2
        told = torch.logsumexp(weigh + narrow * away, -1)
        return -torch.logaddexp(told + math.log(0.999), torch.full_like(told, math.log(0.001)))

    twins, lefts, rights, singles = _indices(joints.device)
    straight, crossed = surprise(joints), surprise(joints.index_select(1, twins))

    def both(each: torch.Tensor) -> torch.Tensor:
        return each.index_select(1, lefts) + each.index_select(1, rights)

    pairs = math.log(2) - torch.logaddexp(-both(straight), -both(crossed))
    return (straight.index_select(1, singles).sum(1) + pairs.sum(1)) / len(POINTS)


@cache
def _indices(device: torch.device) -> tuple[torch.Tensor, ...]:
    """The places in POINTS of every point's twin (its own for a single one), of the first and second of the pairs, and
    of the single ones; made once, since nothing can be copied to a graphics card while its work is recorded."""
    twins = list(range(len(POINTS)))
    for i, j in PAIRS:
        twins[i], twins[j] = j, i
    lefts, rights = (list(ends) for ends in zip(*PAIRS, strict=True))
    singles = [i for i, twin in enumerate(twins) if twin == i]
    return tuple(torch.tensor(places, device=device) for places in (twins, lefts, rights, singles))


def loss(out: tuple[torch.Tensor, ...], legibility: torch.Tensor, joints: torch.Tensor, maps: torch.Tensor,
         body: torch.Tensor) -> dict[str, torch.Tensor]:
    """Terms of the loss; ``body`` (b,) is 1 for bodies, 0 for shapes that are none: only "no body" is asked of them."""
    answers, where, fine, limbs = out
    count = body.sum().clamp(min=1)
    # nats that an answer gives away against the truth: of two small legibilities the order counts as much as of two
    # middling ones, and a mean that is right costs least, so that the answers are calibrated
    truth = asked(legibility).clamp(0, 1)
    least = -torch.xlogy(truth, truth) - torch.xlogy(1 - truth, 1 - truth)
    off = (F.binary_cross_entropy_with_logits(answers[:, :5].float(), truth, reduction="none") - least).mean(1)
    drawn = F.binary_cross_entropy_with_logits(limbs.float(), maps.float(), reduction="none")
    weight = torch.ones(1, 6, 1, 1, device=maps.device)
    weight[:, 3:] = 3.0
    return {
        "legibility": 10 * (off * body).sum() / count,
        "points": 0.3 * (point_loss(where, fine, joints) * body).sum() / count,
        "limbs": 2.0 * ((drawn * weight).mean((1, 2, 3)) * body).sum() / count,
        "no body": 0.3 * F.binary_cross_entropy_with_logits(answers[:, 5].float(), 1 - body),
    }


def count_weights(net: nn.Module) -> int:
    return sum(p.numel() for p in itertools.chain(net.parameters()))
