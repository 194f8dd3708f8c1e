"""Draws batches of triangle meshes into z-buffers, on a graphics card or without; and the dice that scenes fall by."""

from __future__ import annotations

import ctypes
import hashlib
import math
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import torch
from torch import Tensor

NOTHING = (1 << 63) - 1
"""What a pixel of a z-buffer holds where no face was drawn."""
STRIPS = 32
"""Threads that share the rows of a face of meshes that differ from picture to picture: furniture has large faces."""


class Sizes(ctypes.Structure):
    """As in ``person_raster.cpp``."""

    _fields_ = [
        (name, ctypes.c_int)
        for name in ("batch", "vertices", "faces", "own_faces", "first", "height", "width", "flat", "strips")
    ]


@cache
def _library(card: bool) -> ctypes.CDLL:
    """The compiled ``person_raster.cpp``; it is built once and kept in the folder for temporary files."""
    source = Path(__file__).with_name("person_raster.cpp")
    mark = hashlib.sha256(source.read_bytes()).hexdigest()[:12]
    built = Path(tempfile.gettempdir()) / f"person_raster_{mark}_{'card' if card else 'plain'}.so"
    if not built.exists():
        with tempfile.TemporaryDirectory(dir=built.parent) as folder:
            made = Path(folder) / built.name
            how = (
                ["nvcc", "-O3", "-arch=native", "-Xcompiler", "-fPIC", "-x", "cu"]
                if card
                else ["g++", "-O3", "-fPIC", "-x", "c++"]
            )
            subprocess.run([*how, "-shared", "-o", str(made), str(source)], check=True)
            made.replace(built)
    return ctypes.CDLL(str(built))


def _at(tensor: Tensor) -> ctypes.c_void_p:
    assert tensor.is_contiguous()
    return ctypes.c_void_p(tensor.data_ptr())


def _stream(tensor: Tensor) -> ctypes.c_void_p:
    return ctypes.c_void_p(torch.cuda.current_stream(tensor.device).cuda_stream if tensor.is_cuda else 0)


class Mesh:
    """Meshes of a batch as they lie in the pictures.

    Points (b, v, 3): pixels across, pixels down, depth, of which less than 0.05 hides a point and its faces. Faces
    (f, 3) for all or (b, f, 3) for each, -1 where there is none.
    """

    def __init__(self, points: Tensor, faces: Tensor, first: int = 0) -> None:
        self.points, self.faces, self.first = points.float().contiguous(), faces.int().contiguous(), first
        self.card = points.is_cuda

    def _sizes(self, h: int, w: int, flat: bool = False) -> Sizes:
        b, v, _ = self.points.shape
        strips = STRIPS if self.faces.dim() == 3 else 1
        return Sizes(b, v, self.faces.shape[-2], self.faces.dim() == 3, self.first, h, w, flat, strips)

    def draw(self, pixels: Tensor, flat: bool = False) -> None:
        """Draw into (b, h, w) int64; ``flat`` for a picture without perspective."""
        sizes = self._sizes(pixels.shape[1], pixels.shape[2], flat)
        _library(self.card).draw(_at(self.points), _at(self.faces), _at(pixels), sizes, _stream(pixels))

    def sample(self, pixels: Tensor, where: Tensor, carried: Tensor) -> tuple[Tensor, Tensor]:
        """What points carry, (b, v, k), at the pixels numbered ``where`` (n,): (n, k), and the nearest point (n,)."""
        carried = carried.float().contiguous()
        out = torch.empty(len(where), carried.shape[-1], device=pixels.device)
        nearest = torch.empty(len(where), dtype=torch.int64, device=pixels.device)
        _library(self.card).sample(
            _at(self.points),
            _at(self.faces),
            _at(carried),
            _at(pixels),
            _at(where.contiguous()),
            _at(out),
            _at(nearest),
            self._sizes(pixels.shape[1], pixels.shape[2]),
            carried.shape[-1],
            ctypes.c_size_t(len(where)),
            _stream(pixels),
        )
        return out, nearest


def empty(b: int, h: int, w: int, device: torch.device | str) -> Tensor:
    """(b, h, w) z-buffers with nothing in them."""
    return torch.full((b, h, w), NOTHING, dtype=torch.int64, device=device)


def depth(pixels: Tensor, far: float = 1e6) -> Tensor:
    """Depths out of z-buffers, ``far`` where there is nothing."""
    near = (pixels >> 32).int().view(torch.float32)
    return torch.where(pixels == NOTHING, torch.full_like(near, far), near)


class Dice:
    """Random tensors on one device from one seed."""

    def __init__(self, seed: int, device: torch.device | str) -> None:
        self.device = torch.device(device)
        self.source = torch.Generator(self.device)
        self.source.manual_seed(seed)

    def between(self, low: float, high: float, *shape: int) -> Tensor:
        return low + (high - low) * torch.rand(*shape, device=self.device, generator=self.source)

    def spread(self, low: float, high: float, *shape: int) -> Tensor:
        """Between two positive numbers, evenly over their logarithms."""
        return torch.exp(self.between(math.log(low), math.log(high), *shape))

    def chance(self, share: float, *shape: int) -> Tensor:
        return torch.rand(*shape, device=self.device, generator=self.source) < share

    def normal(self, size: float, *shape: int) -> Tensor:
        return size * torch.randn(*shape, device=self.device, generator=self.source)

    def whole(self, low: int, high: int, *shape: int) -> Tensor:
        return torch.randint(low, high, shape, device=self.device, generator=self.source)

    def way(self, *shape: int) -> Tensor:
        """Unit vectors (..., 3)."""
        return torch.nn.functional.normalize(self.normal(1.0, *shape, 3), dim=-1)

    def pick(self, shares: list[float], n: int) -> Tensor:
        """(n,) which of several kinds, by their shares."""
        edges = torch.tensor(shares, device=self.device).cumsum(0) / sum(shares)
        return torch.bucketize(self.between(0, 1, n), edges[:-1])

    def some(self, share: float, n: int) -> Tensor:
        """Indices (about n share,) of some of n."""
        return self.chance(share, n).nonzero()[:, 0]

    def one(self, low: float = 0.0, high: float = 1.0) -> float:
        return float(self.between(low, high, 1))
