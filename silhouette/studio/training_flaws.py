"""The cutter's own flaws, put on exact shapes: rough edges, closed gaps, lost fingers, a bit of shadow; and shapes that
are no single body, so that the reader learns to stand aside."""

from __future__ import annotations

import torch
import torch.nn.functional as F


def moved(mask: torch.Tensor, maps: torch.Tensor, joints: torch.Tensor,
          gen: torch.Generator) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Mirror, lean, scale and shift a little.

    Parameters
    ----------
    mask : (b, 1, h, w) in 0..1; maps : (b, c, k, k); joints : (b, j, 2) canvas fractions.
    """
    b, device = mask.shape[0], mask.device
    lean = torch.deg2rad(torch.randn(b, generator=gen, device=device) * 1.5
                         + torch.where(torch.rand(b, generator=gen, device=device) < 0.08, 1.0, 0.0)
                         * (torch.rand(b, generator=gen, device=device) - 0.5) * 24)
    scale = 0.90 + 0.13 * torch.rand(b, generator=gen, device=device)
    flip = torch.where(torch.rand(b, generator=gen, device=device) < 0.5, -1.0, 1.0)
    shift = 0.03 * torch.randn(b, 2, generator=gen, device=device)                         # of half the canvas
    c, s = torch.cos(lean), torch.sin(lean)
    # out = A in + shift in [-1, 1]; grid_sample wants the way back
    ahead = torch.stack([scale * c * flip, -scale * s, scale * s * flip, scale * c], -1).view(b, 2, 2)
    back = torch.stack([c * flip, s * flip, -s, c], -1).view(b, 2, 2) / scale[:, None, None]
    theta = torch.cat([back, -(back @ shift[..., None])], 2)
    turned, maps = _looked_up(mask, theta), _looked_up(maps, theta)
    joints = ((ahead[:, None] @ (joints * 2 - 1)[..., None])[..., 0] + shift[:, None] + 1) / 2
    return turned, maps, joints


def _looked_up(pictures: torch.Tensor, theta: torch.Tensor) -> torch.Tensor:
    """(b, c, h, w) looked up at ``theta`` (b, 2, 3) of each place, as affine_grid and grid_sample do, but faster."""
    h, w = pictures.shape[-2:]
    x = ((torch.arange(w, device=theta.device) + 0.5) * 2 / w - 1)[None, None, :]
    y = ((torch.arange(h, device=theta.device) + 0.5) * 2 / h - 1)[None, :, None]
    t = theta[..., None, None]
    grid = torch.stack([t[:, k, 0] * x + (t[:, k, 1] * y + t[:, k, 2]) for k in (0, 1)], -1)
    return F.grid_sample(pictures, grid.to(pictures.dtype), align_corners=False)


def flawed(mask: torch.Tensor, gen: torch.Generator) -> torch.Tensor:
    """(b, 1, h, w) in 0..1 with the flaws that a cutter makes, each on some of the shapes."""
    b, device = mask.shape[0], mask.device

    def chance(p: float) -> torch.Tensor:
        return (torch.rand(b, 1, 1, 1, generator=gen, device=device) < p).to(mask.dtype)

    size = mask.shape[-1]
    where = _patches(b, size, device, gen).to(mask.dtype)
    wide, near = _odd(size * 0.017), _odd(size * 0.0135)
    some = torch.rand(b, generator=gen, device=device).argsort()[: round(0.30 * b)]
    if len(some):
        part, patch = mask[some], where[some]
        closed = -_grown(-_grown(part, wide), wide)
        opened = _grown(-_grown(-part, wide), wide)
        choice = (torch.rand(len(some), 1, 1, 1, generator=gen, device=device) < 0.5).to(mask.dtype)
        mask = mask.index_copy(0, some, part + patch * (choice * closed + (1 - choice) * opened - part))
    mask = torch.maximum(mask, _shadow(mask, gen) * chance(0.12))
    rough = torch.zeros_like(mask)
    for cells, most in ((16, 0.18), (48, 0.25), (128, 0.30)):
        noise = torch.randn(b, 1, cells, cells, generator=gen, device=device, dtype=mask.dtype)
        amount = most * torch.rand(b, 1, 1, 1, generator=gen, device=device, dtype=mask.dtype)
        rough = rough + amount * F.interpolate(noise, size=mask.shape[-2:], mode="bilinear", align_corners=False)
    level = 0.12 * torch.randn(b, 1, 1, 1, generator=gen, device=device, dtype=mask.dtype)
    # never enough to set a speck in the open or pierce the body: a cutter's mask is one tidy piece
    rough = (rough * 0.8 + level).clamp(-0.42, 0.42)
    soft = F.avg_pool2d(F.avg_pool2d(mask, near, 1, near // 2), near - 2, 1, near // 2 - 1)
    edged = ((soft + rough - 0.5) * 8).clamp(-0.5, 0.5) + 0.5
    rough_ones = chance(0.6)
    return rough_ones * edged + (1 - rough_ones) * mask


def _grown(mask: torch.Tensor, wide: int) -> torch.Tensor:
    """The greatest value within a square of ``wide`` pixels."""
    return F.max_pool2d(F.max_pool2d(mask, (wide, 1), 1, (wide // 2, 0)), (1, wide), 1, (0, wide // 2))


def _odd(x: float) -> int:
    return 2 * round(x / 2) + 1


def _patches(b: int, size: int, device: torch.device, gen: torch.Generator) -> torch.Tensor:
    """(b, 1, h, w) 1 in a round patch somewhere on the canvas."""
    axis = torch.linspace(0, 1, size, device=device)
    at = 0.2 + 0.6 * torch.rand(b, 2, 1, 1, generator=gen, device=device)
    radius = 0.08 + 0.25 * torch.rand(b, 1, 1, generator=gen, device=device)
    away = (axis[None, None, :] - at[:, 0]) ** 2 + (axis[None, :, None] - at[:, 1]) ** 2
    return (away < radius**2).float()[:, None]


def _shadow(mask: torch.Tensor, gen: torch.Generator) -> torch.Tensor:
    """(b, 1, h, w) a flat dark ellipse at the lowest point of the shape."""
    b, device = mask.shape[0], mask.device
    axis = torch.linspace(0, 1, mask.shape[-1], device=device)
    rows = mask[:, 0].amax(2) > 0.5
    low = (rows * axis).amax(1)
    under = low[:, None, None] - axis[None, :, None]
    band = mask[:, 0] * ((under < 0.05) & (under >= 0))
    middle = (band.sum(1) * axis).sum(1) / band.sum((1, 2)).clamp(min=1)
    wide = 0.04 + 0.10 * torch.rand(b, generator=gen, device=device)
    flat = 0.006 + 0.012 * torch.rand(b, generator=gen, device=device)
    x = middle + 0.06 * torch.randn(b, generator=gen, device=device)
    away = ((axis[None, None, :] - x[:, None, None]) / wide[:, None, None]) ** 2 \
        + ((axis[None, :, None] - low[:, None, None] + 0.008) / flat[:, None, None]) ** 2
    return (away < 1).to(mask.dtype)[:, None]


def no_bodies(mask: torch.Tensor, gen: torch.Generator) -> torch.Tensor:
    """(b, 1, h, w) shapes that are no single body, made from bodies and from nothing; filled to the canvas like bodies.

    A fifth each: two figures, a figure behind a large prop, a warped figure, four-legged beasts, drapery-like blobs.
    """
    b, device = mask.shape[0], mask.device
    kind = torch.randint(0, 5, (b, 1, 1, 1), generator=gen, device=device)
    other = mask.roll(1, 0)
    apart = (torch.rand(b, generator=gen, device=device) * 0.5 + 0.25) * 2
    two = torch.maximum(_shifted(mask, -apart / 2), _shifted(other, apart / 2))
    size = mask.shape[-1]
    shapes = torch.stack([two, torch.maximum(mask, _board(b, size, device, gen)), _warped(mask, gen),
                          _beasts(b, size, device, gen), _blobs(b, size, device, gen)], 0)
    return _refit(shapes.gather(0, kind[None].expand(1, *mask.shape))[0])


def _shifted(mask: torch.Tensor, by: torch.Tensor) -> torch.Tensor:
    theta = torch.zeros(len(mask), 2, 3, device=mask.device)
    theta[:, 0, 0] = theta[:, 1, 1] = 1.5
    theta[:, 0, 2] = by * 1.5
    return _looked_up(mask, theta)


def _board(b: int, size: int, device: torch.device, gen: torch.Generator) -> torch.Tensor:
    """A large slanted board or boulder over a third of the canvas or more."""
    axis = torch.linspace(-1, 1, size, device=device)
    r = torch.rand(b, 6, 1, 1, generator=gen, device=device)
    turn = (r[:, 0] - 0.5) * 1.6
    x, y = axis[None, None, :] - (r[:, 1] - 0.5) * 1.2, axis[None, :, None] - (r[:, 2] - 0.3) * 0.9
    u, v = x * torch.cos(turn) + y * torch.sin(turn), y * torch.cos(turn) - x * torch.sin(turn)
    power = 2 + 6 * r[:, 5]
    away = (u.abs() / (0.3 + 0.5 * r[:, 3])) ** power + (v.abs() / (0.25 + 0.4 * r[:, 4])) ** power
    return (away < 1).float()[:, None]


def _warped(mask: torch.Tensor, gen: torch.Generator) -> torch.Tensor:
    """A figure bent out of its joints by a smooth large warp, and laid or stood on its head."""
    b, device = len(mask), mask.device
    bend = torch.randn(b, 2, 5, 5, generator=gen, device=device) * 0.28
    bend = F.interpolate(bend, size=mask.shape[-2:], mode="bicubic", align_corners=False).permute(0, 2, 3, 1)
    turn = torch.rand(b, generator=gen, device=device) * 2 * torch.pi
    theta = torch.zeros(b, 2, 3, device=device)
    theta[:, 0, 0], theta[:, 0, 1] = torch.cos(turn), -torch.sin(turn)
    theta[:, 1, 0], theta[:, 1, 1] = torch.sin(turn), torch.cos(turn)
    grid = F.affine_grid(theta * 1.1, list(mask.shape), align_corners=False) + bend
    return F.grid_sample(mask, grid.to(mask.dtype), align_corners=False)


def _beasts(b: int, size: int, device: torch.device, gen: torch.Generator) -> torch.Tensor:
    """Four legs, a long trunk, neck, head and tail, from capsules."""
    r = torch.rand(b, 24, generator=gen, device=device)
    axis = torch.linspace(-1, 1, 128, device=device)
    x, y = axis[None, None, :], axis[None, :, None]
    length, tall = 0.3 + 0.35 * r[:, 0], 0.1 + 0.5 * r[:, 1]
    back = -0.25 + 0.2 * r[:, 2]
    trunk = 0.08 + 0.16 * r[:, 3]
    limbs = [(-length, back, length, back + 0.2 * (r[:, 4] - 0.5), trunk)]
    for k in range(4):
        foot = (-length if k < 2 else length) + 0.5 * (r[:, 5 + k] - 0.5)
        hip = (-length if k < 2 else length) * (0.75 + 0.25 * r[:, 9 + k])
        limbs.append((hip, back, foot, back + trunk + tall, 0.025 + 0.05 * r[:, 13]))
    head_x, head_y = length + 0.35 * r[:, 14], back - 0.45 * r[:, 15] + 0.1
    limbs += [(length, back, head_x, head_y, 0.04 + 0.08 * r[:, 16]),
              (head_x, head_y, head_x + 0.25 * r[:, 17], head_y + 0.15 * (r[:, 18] - 0.3), 0.05 + 0.08 * r[:, 19]),
              (-length, back, -length - 0.5 * r[:, 20], back + 0.7 * (r[:, 21] - 0.5), 0.015 + 0.05 * r[:, 22])]
    shape = torch.zeros(b, 128, 128, device=device, dtype=torch.bool)
    for ax, ay, bx, by, radius in limbs:
        ax, ay, bx, by, radius = (v[:, None, None] for v in (ax, ay, bx, by, radius))
        t = (((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / ((bx - ax) ** 2 + (by - ay) ** 2 + 1e-6)).clamp(0, 1)
        shape |= (x - ax - t * (bx - ax)) ** 2 + (y - ay - t * (by - ay)) ** 2 < radius**2
    flip = torch.rand(b, 1, 1, generator=gen, device=device) < 0.5
    shape = torch.where(flip, shape.flip(2), shape)
    return F.interpolate(shape[:, None].float(), size=(size, size), mode="bilinear", align_corners=False)


def _blobs(b: int, size: int, device: torch.device, gen: torch.Generator) -> torch.Tensor:
    """Smooth noise cut at a level, heaviest in the middle: cloth, rocks, bushes."""
    axis = torch.linspace(-1, 1, size, device=device)
    field = torch.zeros(b, 1, size, size, device=device)
    for cells, most in ((4, 0.6), (9, 0.45), (24, 0.3)):
        noise = torch.randn(b, 1, cells, cells, generator=gen, device=device)
        amount = most * torch.rand(b, 1, 1, 1, generator=gen, device=device)
        field += amount * F.interpolate(noise, size=(size, size), mode="bicubic", align_corners=False)
    wide = 0.3 + 0.6 * torch.rand(b, 2, 1, 1, generator=gen, device=device)
    away = (axis[None, None, :] / wide[:, 0]) ** 2 + (axis[None, :, None] / wide[:, 1]) ** 2
    return ((1.0 - away)[:, None] + field > 0).float()


def _refit(mask: torch.Tensor) -> torch.Tensor:
    """Stretch every shape's box evenly to the usual place on the canvas."""
    axis = torch.linspace(-1, 1, mask.shape[-1], device=mask.device)
    out = []
    for held in (mask[:, 0].amax(1) > 0.5, mask[:, 0].amax(2) > 0.5):
        low = torch.where(held, axis, torch.ones_like(axis)).amin(1)
        high = torch.where(held, axis, -torch.ones_like(axis)).amax(1)
        out.append((low, high))
    (x0, x1), (y0, y1) = out
    half = torch.maximum(x1 - x0, y1 - y0).clamp(min=0.1) / 2 / 0.92
    theta = torch.zeros(len(mask), 2, 3, device=mask.device)
    theta[:, 0, 0] = theta[:, 1, 1] = half
    theta[:, 0, 2], theta[:, 1, 2] = (x0 + x1) / 2, (y0 + y1) / 2
    return _looked_up(mask, theta)
