"""The person network itself: a U-Net of separable convolutions, small enough for a laptop's processor."""

from __future__ import annotations

import torch
from torch import nn
from torch.nn import functional

MULTIPLE = 32
"""The sides of what it sees are multiples of this."""
WIDTHS = (24, 32, 56, 128, 208)
"""Channels at a half, a quarter ... a 32nd of the picture's size."""


def _step(
    before: int, after: int, kernel: int = 1, stride: int = 1, groups: int = 1, act: bool = True
) -> nn.Sequential:
    layers = [nn.Conv2d(before, after, kernel, stride, kernel // 2, groups=groups, bias=False), nn.BatchNorm2d(after)]
    return nn.Sequential(*layers, *([nn.ReLU(inplace=True)] if act else []))


class Bottleneck(nn.Module):
    """An inverted residual (Sandler et al. 2018): widened, filtered by each channel alone, narrowed again."""

    def __init__(self, before: int, after: int, widen: int, kernel: int = 3, stride: int = 1) -> None:
        super().__init__()
        middle = before * widen
        self.past = stride == 1 and before == after
        self.inner = nn.Sequential(
            _step(before, middle), _step(middle, middle, kernel, stride, middle), _step(middle, after, act=False)
        )

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return x + self.inner(x) if self.past else self.inner(x)


def _join(before: int, after: int, kernel: int) -> nn.Sequential:
    """Two separable convolutions."""
    return nn.Sequential(
        _step(before, before, kernel, groups=before),
        _step(before, after),
        _step(after, after, 3, groups=after),
        _step(after, after),
    )


class PersonNet(nn.Module):
    """RGB (n, 3, h, w), levels 0 to 255, to log odds of being figure (n, 1, h, w); in training also at an eighth."""

    def __init__(self) -> None:
        super().__init__()
        a, b, c, d, e = WIDTHS
        self.stem = _step(3, a, 3, 2)
        self.to4 = nn.Sequential(Bottleneck(a, b, 4, 3, 2), Bottleneck(b, b, 3))
        self.to8 = nn.Sequential(Bottleneck(b, c, 4, 5, 2), Bottleneck(c, c, 4), Bottleneck(c, c, 4))
        self.to16 = nn.Sequential(Bottleneck(c, d, 4, 5, 2), *[Bottleneck(d, d, 3, 5) for _ in range(4)])
        self.to32 = nn.Sequential(Bottleneck(d, e, 4, 5, 2), *[Bottleneck(e, e, 4, 5) for _ in range(4)])
        self.whole = nn.Sequential(nn.Linear(e, 128), nn.ReLU(inplace=True), nn.Linear(128, e))
        self.narrow = _step(e, d)
        self.up16 = _join(2 * d, 80, 5)
        self.up8 = _join(80 + c, 48, 5)
        self.up4 = _join(48 + b, 40, 5)
        self.up2 = _join(40 + a, 24, 3)
        self.fine = nn.Conv2d(24, 4, 3, padding=1)
        self.coarse = nn.Conv2d(48, 1, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor | tuple[torch.Tensor, torch.Tensor]:
        x2 = self.stem(x / 64 - 2)
        x4 = self.to4(x2)
        x8 = self.to8(x4)
        x16 = self.to16(x8)
        deep = self.to32(x16)
        deep = deep + self.whole(deep.mean((2, 3)))[:, :, None, None]
        y = self.up16(torch.cat([_doubled(self.narrow(deep)), x16], 1))
        y8 = self.up8(torch.cat([_doubled(y), x8], 1))
        y = self.up4(torch.cat([_doubled(y8), x4], 1))
        y = self.up2(torch.cat([_doubled(y), x2], 1))
        odds = functional.pixel_shuffle(self.fine(y), 2)
        return (odds, self.coarse(y8)) if self.training else odds


def _doubled(x: torch.Tensor) -> torch.Tensor:
    return functional.interpolate(x, scale_factor=2.0, mode="nearest")
