"""Black shapes with exact truth: figure and limb masks, joints in the picture, and how legible each limb is.

A limb is legible as far as the figure's outline draws it. Its own outline is that of its mask alone, with whatever
covers it taken away; a piece of it counts as drawn where background lies next to it. Legibility is the drawn length
over the longest own outline that the limb has round the turn: 1 where the black shape shows the whole limb, about a
quarter for an arm flush to the body, 0 where it is hidden or points at the lens. Lengths are counted in boundary
pixels.

Triangles are filled in plain torch, many views at once, on any device; a pixel belongs to a triangle that holds its
centre.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from silhouette.studio.bodies import LIMBS, Body
from silhouette.studio.cameras import Camera

FINE_PX = 600
"""Height of the tallest view at which legibility is measured, pixels: gaps of 2 mm between limb and body stay open."""
_AT_ONCE = 2**26
"""Pixels tried at once, so that a long pole in many views does not fill the memory."""
_SIZES = (2, 4, 8, 16, 32, 64, 128, 256, 512, 1024)


@dataclass(frozen=True)
class TrueView:
    """One view of a body with all that can be known of it."""

    angle: float
    mask: NDArray[np.bool_]
    """(h, w) the figure, clothes and props included."""
    limb_masks: NDArray[np.bool_]
    """(6, h, w) each limb alone, hidden parts included, in the order of LIMBS; what is held is core."""
    legibility: dict[str, float]
    """head, arm_l, arm_r, leg_l, leg_r, 0 to 1."""
    joints: dict[str, tuple[float, float]]
    """Name -> (x, y) pixels, also where hidden or outside the picture."""


def look(body: Body, camera: Camera, angles: list[float] | NDArray[np.float64]) -> list[TrueView]:
    """The body from all angles of a turn, one camera.

    The longest outline of each limb is taken over ``angles``, so they should go round: at least eight.
    """
    faces, limb = torch.from_numpy(body.faces).long(), torch.from_numpy(body.limb).long()
    seen = np.stack([camera.project(body.vertices, float(a)) for a in angles])
    tall = max(float(np.ptp(s[:, 1])) for s in seen)
    truth = fine_legibility(torch.from_numpy(seen[..., :2]) * (FINE_PX / tall), faces, limb)
    out = []
    for i, angle in enumerate(angles):
        bits = rasterise(torch.from_numpy(seen[i : i + 1, :, :2]), faces, limb, camera.height, camera.width)[0].numpy()
        masks = (bits[None] >> np.arange(len(LIMBS), dtype=np.uint8)[:, None, None] & 1).astype(bool)
        spots = camera.project(np.stack(list(body.joints.values())), float(angle))
        out.append(TrueView(float(angle), bits > 0, masks, dict(zip(LIMBS[1:], truth[i].tolist(), strict=True)),
                            {k: (float(p[0]), float(p[1])) for k, p in zip(body.joints, spots, strict=True)}))
    return out


def fine_legibility(points: torch.Tensor, faces: torch.Tensor, limb: torch.Tensor) -> torch.Tensor:
    """(v, 5) legibility of head, arms and legs in each of the views of one turn.

    Parameters
    ----------
    points : torch.Tensor
        (v, n, 2) the vertices in each picture, pixels, at the scale to measure at.
    faces, limb : torch.Tensor
        (m, 3) and (n,).
    """
    drawn, own = [], []
    for view in points:
        low = view.amin(0)
        size = (view.amax(0) - low).ceil().long() + 4
        bits = rasterise((view - low + 2)[None], faces, limb, int(size[1]), int(size[0]))
        d, o = outline_lengths(bits)
        drawn.append(d)
        own.append(o)
    return legibility_of(torch.cat(drawn), torch.cat(own))


def legibility_of(drawn: torch.Tensor, own: torch.Tensor) -> torch.Tensor:
    """(v, 5) from drawn and own outline lengths (v, 5) of one turn."""
    return drawn / own.amax(0, keepdim=True).clamp(min=1)


def outline_lengths(bits: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """Drawn and own outline length of head, arms and legs, boundary pixels, (b, 5) each.

    bits : (b, h, w) uint8, bit k set where limb k lies, background all round the border.
    """
    middle = bits[:, 1:-1, 1:-1]
    around = (bits[:, :-2, 1:-1], bits[:, 2:, 1:-1], bits[:, 1:-1, :-2], bits[:, 1:-1, 2:])
    inner = middle & around[0] & around[1] & around[2] & around[3]
    edge, shown = middle & ~inner, drawn_pixels(bits)
    return _count_bits(shown), _count_bits(edge)


def _count_bits(bits: torch.Tensor) -> torch.Tensor:
    """(b, 5) how often each limb's bit is set in each picture (b, h, w)."""
    at = bits.nonzero(as_tuple=True)
    values = bits[at].long()
    counts = [torch.bincount(at[0][(values >> k) & 1 == 1], minlength=len(bits)) for k in range(1, len(LIMBS))]
    return torch.stack(counts, 1).float()


def drawn_pixels(bits: torch.Tensor) -> torch.Tensor:
    """(b, h - 2, w - 2) the bits where background lies next to the pixel, else 0."""
    middle = bits[:, 1:-1, 1:-1]
    open_air = ((bits[:, :-2, 1:-1] == 0) | (bits[:, 2:, 1:-1] == 0)
                | (bits[:, 1:-1, :-2] == 0) | (bits[:, 1:-1, 2:] == 0))
    return torch.where(open_air, middle, torch.zeros_like(middle))


def rasterise(points: torch.Tensor, faces: torch.Tensor, limb: torch.Tensor, height: int, width: int) -> torch.Tensor:
    """Fill triangles.

    Parameters
    ----------
    points : torch.Tensor
        (b, n, 2) vertices in pixels; pixel (0, 0) has its centre at (0.5, 0.5).
    faces : torch.Tensor
        (m, 3); a face belongs to the limb of its first vertex.
    limb : torch.Tensor
        (n,) 0 to 5.

    Returns
    -------
    (b, height, width) uint8: bit k is set where limb k lies, whatever is before it.
    """
    if points.device.type == "cpu" and (fill := _warp_kernel()) is not None:
        return _rasterise_serially(fill, points, faces, limb, height, width)
    if points.device.type == "cuda" and (kernel := _cuda_kernel()) is not None:
        return _rasterise_on_card(kernel, points, faces, limb, height, width)
    b, planes = points.shape[0], len(LIMBS)
    out = torch.zeros(planes * b * height * width, dtype=torch.bool, device=points.device)
    corners = points[:, faces]                                                            # (b, m, 3, 2)
    low, high = corners.amin(2), corners.amax(2)
    first = (low - 0.5).ceil()
    count = (high - 0.5).floor() - first + 1                                              # pixel centres spanned
    plane = limb[faces[:, 0]].to(points.device) * b + torch.arange(b, device=points.device)[:, None]
    inside_picture = (high > 0).all(-1) & (low[..., 0] < width) & (low[..., 1] < height)
    span = torch.where(inside_picture & (count > 0).all(-1), count.amax(-1), torch.zeros_like(count[..., 0]))
    done = 0
    for size in _SIZES:
        chosen = (span > done) & (span <= size)
        done = size
        some = (corners[chosen], first[chosen], plane[chosen])
        for near, start, where in zip(*(v.split(_AT_ONCE // size**2) for v in some), strict=True):
            _fill(out, near, start, where, size, height, width)
    stacked = out.view(planes, b, height, width)
    bits = torch.zeros(b, height, width, dtype=torch.uint8, device=points.device)
    for k in range(planes):
        bits |= stacked[k].to(torch.uint8) << k
    return bits


@cache
def _warp_kernel() -> Any:
    """The same filling as :func:`_fill`, compiled for the processor: ten times faster there. None without warp, which
    comes with anny."""
    try:
        import warp
    except ImportError:
        return None

    warp.config.quiet = True
    warp.init()

    def fill(points: warp.array(dtype=warp.vec2, ndim=2), faces: warp.array(dtype=warp.vec3i, ndim=1),  # type: ignore
             bit: warp.array(dtype=warp.uint8, ndim=1), out: warp.array(dtype=warp.uint8, ndim=3)):  # type: ignore
        view, face = warp.tid()
        f = faces[face]
        a, b, c = points[view, f[0]], points[view, f[1]], points[view, f[2]]
        x0 = warp.max(int(warp.ceil(warp.min(warp.min(a[0], b[0]), c[0]) - 0.5)), 0)
        x1 = warp.min(int(warp.floor(warp.max(warp.max(a[0], b[0]), c[0]) - 0.5)), out.shape[2] - 1)
        y0 = warp.max(int(warp.ceil(warp.min(warp.min(a[1], b[1]), c[1]) - 0.5)), 0)
        y1 = warp.min(int(warp.floor(warp.max(warp.max(a[1], b[1]), c[1]) - 0.5)), out.shape[1] - 1)
        for y in range(y0, y1 + 1):
            for x in range(x0, x1 + 1):
                px, py = float(x) + 0.5, float(y) + 0.5
                u = (b[0] - a[0]) * (py - a[1]) - (b[1] - a[1]) * (px - a[0])
                v = (c[0] - b[0]) * (py - b[1]) - (c[1] - b[1]) * (px - b[0])
                w = (a[0] - c[0]) * (py - c[1]) - (a[1] - c[1]) * (px - c[0])
                if (u >= 0.0 and v >= 0.0 and w >= 0.0) or (u <= 0.0 and v <= 0.0 and w <= 0.0):
                    out[view, y, x] = out[view, y, x] | bit[face]

    return warp.kernel(fill, enable_backward=False)


def _rasterise_serially(fill: Any, points: torch.Tensor, faces: torch.Tensor, limb: torch.Tensor, height: int,
                        width: int) -> torch.Tensor:
    import warp

    out = torch.zeros(points.shape[0], height, width, dtype=torch.uint8)
    bit = (1 << limb[faces[:, 0]].long()).to(torch.uint8)
    warp.launch(fill, dim=(points.shape[0], faces.shape[0]), device="cpu",
                inputs=[warp.from_torch(points.float().contiguous(), dtype=warp.vec2),
                        warp.from_torch(faces.int().contiguous(), dtype=warp.vec3i), warp.from_torch(bit),
                        warp.from_torch(out)])
    return out


_CARD_SOURCE = r"""
extern "C" __global__ void fill(const float* points, const int* faces, const unsigned char* bit, unsigned int* out,
                                int count, int triangles, long long threads, int height, int width) {
    long long at = (long long)blockIdx.x * blockDim.x + threadIdx.x;
    if (at >= threads) return;
    int face = at % triangles;
    long long view = at / triangles;
    float x[3], y[3];
    for (int k = 0; k < 3; k++) {
        const float* p = points + 2 * (view * count + faces[3 * face + k]);
        x[k] = p[0];
        y[k] = p[1];
    }
    int top = max((int)ceilf(fminf(fminf(y[0], y[1]), y[2]) - 0.5f), 0);
    int low = min((int)floorf(fmaxf(fmaxf(y[0], y[1]), y[2]) - 0.5f), height - 1);
    for (int row = top; row <= low; row++) {
        float py = row + 0.5f, from = 1e30f, to = -1e30f;
        for (int k = 0; k < 3; k++) {   // where the edges cross this row
            int n = (k + 1) % 3;
            if (fminf(y[k], y[n]) > py || fmaxf(y[k], y[n]) < py) continue;
            float share = y[n] == y[k] ? 0.0f : (py - y[k]) / (y[n] - y[k]);
            float cross = x[k] + share * (x[n] - x[k]), other = y[n] == y[k] ? x[n] : cross;
            from = fminf(from, fminf(cross, other));
            to = fmaxf(to, fmaxf(cross, other));
        }
        int first = max((int)ceilf(fmaxf(from, -4.0f) - 0.5f) - 1, 0);
        int last = min((int)floorf(fminf(to, width + 4.0f) - 0.5f) + 1, width - 1);
        for (int column = first; column <= last; column++) {
            float px = column + 0.5f;
            float u = (x[1] - x[0]) * (py - y[0]) - (y[1] - y[0]) * (px - x[0]);
            float v = (x[2] - x[1]) * (py - y[1]) - (y[2] - y[1]) * (px - x[1]);
            float w = (x[0] - x[2]) * (py - y[2]) - (y[0] - y[2]) * (px - x[2]);
            if (!((u >= 0 && v >= 0 && w >= 0) || (u <= 0 && v <= 0 && w <= 0))) continue;
            long long pixel = (view * height + row) * width + column;
            unsigned int mark = (unsigned int)bit[face] << (8 * (pixel & 3));
            if ((out[pixel >> 2] & mark) == 0) atomicOr(out + (pixel >> 2), mark);
        }
    }
}
"""


@cache
def _cuda_kernel() -> Any:
    """The same filling as :func:`_fill`, one thread a triangle, for the graphics card. None without CuPy."""
    try:
        import cupy
    except ImportError:
        return None
    return cupy.RawKernel(_CARD_SOURCE, "fill", options=("--fmad=false",))


def _rasterise_on_card(kernel: Any, points: torch.Tensor, faces: torch.Tensor, limb: torch.Tensor, height: int,
                       width: int) -> torch.Tensor:
    import cupy

    b, count = points.shape[:2]
    points, corners = points.float().contiguous(), faces.int().contiguous()
    bit = (1 << limb[faces[:, 0]].long()).to(torch.uint8).contiguous()
    out = torch.zeros(-(-b * height * width // 4), dtype=torch.int32, device=points.device)
    threads = b * len(faces)
    with cupy.cuda.Device(points.device.index), cupy.cuda.ExternalStream(torch.cuda.current_stream().cuda_stream):
        kernel((-(-threads // 128),), (128,), (
            points.data_ptr(), corners.data_ptr(), bit.data_ptr(), out.data_ptr(), np.int32(count),
            np.int32(len(faces)), np.int64(threads), np.int32(height), np.int32(width)))
    return out.view(torch.uint8)[: b * height * width].view(b, height, width)


def _fill(out: torch.Tensor, corners: torch.Tensor, first: torch.Tensor, plane: torch.Tensor, size: int, height: int,
          width: int) -> None:
    """Set the pixels of triangles (t, 3, 2) that span at most ``size`` pixel centres each way."""
    steps = torch.arange(size, device=out.device, dtype=corners.dtype)
    x, y = first[:, :1] + steps, first[:, 1:] + steps                                     # (t, size)
    px, py = x[:, None, :] + 0.5, y[:, :, None] + 0.5
    signs = []
    for k in range(3):
        ax, ay = corners[:, k, 0, None, None], corners[:, k, 1, None, None]
        bx, by = corners[:, (k + 1) % 3, 0, None, None], corners[:, (k + 1) % 3, 1, None, None]
        signs.append((bx - ax) * (py - ay) - (by - ay) * (px - ax))
    least = torch.minimum(torch.minimum(signs[0], signs[1]), signs[2])
    most = torch.maximum(torch.maximum(signs[0], signs[1]), signs[2])
    hit = (least >= 0) | (most <= 0)
    hit &= ((x >= 0) & (x < width))[:, None, :] & ((y >= 0) & (y < height))[:, :, None]
    where = (plane[:, None, None] * height + y.long()[:, :, None]) * width + x.long()[:, None, :]
    out[where[hit]] = True
