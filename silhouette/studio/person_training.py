"""Trains ``cutout/person_net.onnx``, which cuts people out of any one picture; ``cutout/PERSON_NET.md`` is its card.

Four steps, each a command (``python -m silhouette.studio.person_training STEP ...``):

- ``stock FILE --count 140 --seed 11``: bodies at rest, where anny is installed (as for the reader);
- the material: ``silhouette/studio/person_material.py``, from packages named there;
- ``learn OUT --material FOLDER --steps 20000 --seed 5``: pictures are made while it learns, on one graphics card, or on
  several with ``torchrun --nproc-per-node 4 -m silhouette.studio.person_training learn ...``; ``--seconds N`` stops
  early, and the same command again goes on from there;
- ``export OUT FILE.onnx``: what ``learn`` wrote, as ONNX with weights of 16 bits.

The same seed, steps and number of cards draw the same pictures. Every card makes pictures of its own.
"""

from __future__ import annotations

import argparse
import copy
import hashlib
import json
import math
import os
import time
from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor, distributed

from silhouette.studio import training_views
from silhouette.studio.person_figures import pose_pool
from silhouette.studio.person_network import PersonNet
from silhouette.studio.person_pictures import Mill
from silhouette.studio.person_places import Material
from silhouette.studio.person_raster import Dice

SHAPES = ((384, 256), (320, 320))
"""Heights and widths of what it learns on, in turns."""
MADE, BATCH, STEPS_EACH = 224, 112, 7
"""Pictures made at once, learned from at once, and steps between two makings."""
KEPT = 5000
"""Pictures of each shape that are kept to be learned from again."""
RATE, WARM, DECAY, AVERAGE = 3e-3, 300, 0.02, 0.998
"""Highest learning rate; steps until it is reached; weight decay; how much of the averaged weights stays at a step."""
POSES = 40_000
NOTED = 250
"""Steps between two notes."""


class Buffer:
    """The latest pictures of one shape, on the card."""

    def __init__(self, shape: tuple[int, int], device: torch.device) -> None:
        self.held = torch.zeros(KEPT, 4, *shape, dtype=torch.uint8, device=device)
        self.next = self.count = 0

    def add(self, picture: Tensor, share: Tensor) -> None:
        at = (torch.arange(len(picture), device=picture.device) + self.next) % KEPT
        self.held[at] = (torch.cat([picture, share], 1) * 255).round().to(torch.uint8)
        self.next, self.count = (self.next + len(picture)) % KEPT, min(KEPT, self.count + len(picture))

    def batch(self, n: int, dice: Dice) -> tuple[Tensor, Tensor]:
        """(n, 3, h, w) levels 0 to 255 and (n, 1, h, w): moved, turned, mirrored, recoloured a little."""
        x = self.held[dice.whole(0, self.count, n)].float() / 255
        size, turn = dice.between(0.8, 1.15, n), dice.normal(0.05, n)
        flip, shape = torch.where(dice.chance(0.5, n), -1.0, 1.0), x.shape[3] / x.shape[2]
        window = torch.zeros(n, 2, 3, device=x.device)
        window[:, 0, 0], window[:, 0, 1] = size * turn.cos() * flip, -size * turn.sin() / shape
        window[:, 1, 0], window[:, 1, 1] = size * turn.sin() * flip * shape, size * turn.cos()
        window[:, :, 2] = dice.between(-0.12, 0.12, n, 2)
        x = F.grid_sample(
            x, F.affine_grid(window, list(x.shape), align_corners=False), padding_mode="reflection", align_corners=False
        )
        picture, share = x[:, :3], x[:, 3:]
        picture = picture * dice.between(0.75, 1.25, n, 1, 1, 1) * (1 + dice.normal(0.06, n, 3, 1, 1))
        picture = picture.clamp(0, 1) ** dice.between(0.8, 1.25, n, 1, 1, 1)
        noise = dice.normal(1.0, *picture.shape) * dice.between(0, 0.03, n, 1, 1, 1) * dice.chance(0.5, n, 1, 1, 1)
        return (picture + noise).clamp(0, 1) * 255, share


def loss_of(odds: Tensor, coarse: Tensor, share: Tensor) -> Tensor:
    """Cross entropy, heavier at edges; half of what is lost of the overlap; and the coarse answer's entropy."""
    odds = odds.float()
    edge = (F.avg_pool2d(F.pad(share, (6, 6, 6, 6), mode="replicate"), 13, 1) - share).abs()
    entropy = (F.binary_cross_entropy_with_logits(odds, share, reduction="none") * (1 + 5 * edge)).mean()
    chance = odds.sigmoid()
    both = (chance * share).sum((1, 2, 3))
    either = (chance + share - chance * share).sum((1, 2, 3))
    aside = F.binary_cross_entropy_with_logits(coarse.float(), F.avg_pool2d(share, 8))
    return entropy + 0.5 * (1 - (both + 50) / (either + 50)).mean() + 0.3 * aside


def overlap(odds: Tensor, share: Tensor) -> Tensor:
    """(n,) intersection over union; 1 where nobody is there and nobody is found."""
    found, true = odds > 0, share > 0.5
    both, either = (found & true).sum((1, 2, 3)), (found | true).sum((1, 2, 3))
    return torch.where(either < 30, torch.ones_like(both, dtype=torch.float), both / either.clamp(min=1))


class Learner:
    """One card's part of the training."""

    def __init__(self, material: Path, seed: int, steps: int, rank: int, world: int) -> None:
        self.device = torch.device("cuda", rank) if torch.cuda.is_available() else torch.device("cpu")
        if self.device.type == "cuda":
            torch.cuda.set_device(self.device)
            torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
        self.seed, self.steps, self.rank, self.world, self.step = seed, steps, rank, world, 0
        self.material = Material(material, self.device)
        self.stock = training_views.load_stock(material / "stock.npz", self.device)
        self.vectors = _poses(material, seed).to(self.device)
        torch.manual_seed(seed)
        self.net = PersonNet().to(self.device).to(memory_format=torch.channels_last)
        self.mean = copy.deepcopy(self.net).eval()
        self.optimiser = torch.optim.AdamW(
            self.net.parameters(), RATE, weight_decay=DECAY, fused=self.device.type == "cuda"
        )

    def begin(self) -> None:
        """Fresh dice for the step it is at, and pictures to begin with."""
        seed = int(np.random.SeedSequence([self.seed, self.rank, self.step]).generate_state(1)[0])
        self.mill, self.dice = Mill(self.material, self.stock, self.vectors, seed), Dice(seed + 1, self.device)
        self.buffers = [Buffer(shape, self.device) for shape in SHAPES]
        for buffer, shape in zip(self.buffers, SHAPES, strict=True):
            for _ in range(2):
                buffer.add(*self.mill.pictures(MADE, *shape))

    def advance(self) -> Tensor:
        """Make pictures if it is time, learn from a batch; gives the loss."""
        kind = self.step // STEPS_EACH % len(SHAPES)
        if self.step % STEPS_EACH == 0:
            self.buffers[kind].add(*self.mill.pictures(MADE, *SHAPES[kind]))
        rate = RATE * min(1.0, (self.step + 1) / WARM) * (0.5 + 0.5 * math.cos(math.pi * self.step / self.steps))
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        picture, share = self.buffers[kind].batch(BATCH, self.dice)
        self.net.train()
        with torch.autocast(self.device.type, torch.bfloat16):
            odds, coarse = self.net(picture.contiguous(memory_format=torch.channels_last))
        loss = loss_of(odds, coarse, share)
        self.optimiser.zero_grad(set_to_none=True)
        loss.backward()
        self._share_gradients()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.optimiser.step()
        stays = min(AVERAGE, (self.step + 1) / (self.step + 20))
        with torch.no_grad():
            torch._foreach_lerp_(list(self.mean.parameters()), list(self.net.parameters()), 1 - stays)
            for old, new in zip(self.mean.buffers(), self.net.buffers(), strict=True):
                old.lerp_(new, 1 - stays) if old.is_floating_point() else old.copy_(new)
        self.step += 1
        return loss.detach()

    def _share_gradients(self) -> None:
        if self.world == 1:
            return
        flat = torch.cat([p.grad.flatten() for p in self.net.parameters()])
        distributed.all_reduce(flat)
        flat /= self.world
        at = 0
        for p in self.net.parameters():
            p.grad.copy_(flat[at : at + p.numel()].view_as(p))
            at += p.numel()

    @torch.no_grad()
    def marks(self, pictures: int = 256) -> dict[str, float]:
        """Overlaps of the averaged network on fresh pictures."""
        mill, found = Mill(self.material, self.stock, self.vectors, 999), []
        for k in range(pictures // 64):
            picture, share = mill.pictures(64, *SHAPES[k % len(SHAPES)])
            with torch.autocast(self.device.type, torch.bfloat16):
                odds = self.mean((picture * 255).contiguous(memory_format=torch.channels_last))
            found.append(overlap(odds, share))
        values = torch.cat(found)
        return {
            "mean": float(values.mean()),
            "median": float(values.median()),
            "under_0.9": float((values < 0.9).float().mean()),
        }

    def save(self, folder: Path) -> None:
        """In four files, each small."""
        torch.save(self.mean.state_dict(), folder / "mean.pt")
        torch.save(self.net.state_dict(), folder / "net.pt")
        state = self.optimiser.state_dict()
        for kind in ("exp_avg", "exp_avg_sq"):
            torch.save([state["state"][k][kind] for k in sorted(state["state"])], folder / f"{kind}.pt")
        (folder / "step.json").write_text(json.dumps({"step": self.step, "seed": self.seed, "of": self.steps}))

    def load(self, folder: Path) -> None:
        told = json.loads((folder / "step.json").read_text())
        self.step = told["step"]
        for name, net in (("mean", self.mean), ("net", self.net)):
            net.load_state_dict(torch.load(folder / f"{name}.pt", map_location=self.device, weights_only=True))
        moments = [
            torch.load(folder / f"{kind}.pt", map_location=self.device, weights_only=True)
            for kind in ("exp_avg", "exp_avg_sq")
        ]
        for p, first, second in zip(self.net.parameters(), *moments, strict=True):
            self.optimiser.state[p] = {
                "step": torch.tensor(float(self.step), device=self.device),
                "exp_avg": first,
                "exp_avg_sq": second,
            }


def _poses(folder: Path, seed: int) -> Tensor:
    """POSES poses, made once and kept beside the material."""
    file = folder / f"poses_{seed}.pt"
    if not file.exists():
        made = pose_pool(POSES, seed).half()
        part = file.with_suffix(f".{os.getpid()}")
        torch.save(made, part)
        part.replace(file)
    return torch.load(file, weights_only=True).float()


def digest(net: torch.nn.Module) -> str:
    """SHA-256 of all weights."""
    hashed = hashlib.sha256()
    for value in net.state_dict().values():
        hashed.update(value.detach().cpu().contiguous().numpy().tobytes())
    return hashed.hexdigest()


def learn(out: Path, material: Path, steps: int, seed: int, seconds: float = math.inf) -> None:
    """Train, or go on training where it stopped, and note how it goes in ``curve.jsonl``.

    Stops at the first note after so many seconds. Whoever goes on draws other pictures than without the stop, so the
    steps of the stops are part of the recipe: the file has a line with ``began`` for each.
    """
    rank, world = int(os.environ.get("LOCAL_RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
    if world > 1:
        distributed.init_process_group("nccl", device_id=torch.device("cuda", rank))
    out.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    learner = Learner(material, seed, steps, rank, world)
    if (out / "step.json").exists():
        learner.load(out)
    learner.begin()
    if world > 1:
        distributed.barrier()

    def note(told: dict[str, Any]) -> None:
        if rank == 0:
            with (out / "curve.jsonl").open("a") as file:
                file.write(json.dumps(told) + "\n")
            print(json.dumps(told), flush=True)

    note({"began": learner.step, "of": steps, "seed": seed, "cards": world, "seconds": round(time.monotonic() - began)})
    late = torch.zeros(1, device=learner.device)
    while learner.step < steps and not late:
        loss = learner.advance()
        if learner.step % NOTED and learner.step < steps:
            continue
        late.fill_(time.monotonic() - began > seconds)
        if world > 1:
            distributed.broadcast(late, 0)
        told: dict[str, Any] = {
            "step": learner.step,
            "loss": round(float(loss), 4),
            "seconds": round(time.monotonic() - began),
        }
        if rank == 0:
            learner.save(out)
            if learner.step % (6 * NOTED) == 0 or learner.step == steps or late:
                told |= {k: round(v, 4) for k, v in learner.marks().items()} | {"sha256": digest(learner.mean)}
        note(told)
    if world > 1:
        distributed.barrier()
        distributed.destroy_process_group()


def export(folder: Path, file: Path) -> None:
    """The averaged weights as ONNX: kept in 16 bits, worked with in 32."""
    import onnx
    from onnx import numpy_helper

    net = PersonNet().eval()
    net.load_state_dict(torch.load(folder / "mean.pt", map_location="cpu", weights_only=True))
    torch.onnx.export(
        net,
        (torch.rand(1, 3, 320, 256) * 255,),
        str(file),
        dynamo=False,
        opset_version=17,
        input_names=["picture"],
        output_names=["odds"],
        dynamic_axes={"picture": {2: "h", 3: "w"}, "odds": {2: "h", 3: "w"}},
    )
    model = onnx.load(str(file))
    kept, casts = [], []
    for weight in model.graph.initializer:
        values = numpy_helper.to_array(weight)
        if values.dtype == np.float32 and values.size > 64:
            kept.append(numpy_helper.from_array(values.astype(np.float16), weight.name + "_16"))
            casts.append(onnx.helper.make_node("Cast", [weight.name + "_16"], [weight.name], to=onnx.TensorProto.FLOAT))
        else:
            kept.append(weight)
    nodes = [*casts, *model.graph.node]
    del model.graph.initializer[:], model.graph.node[:]
    model.graph.initializer.extend(kept)
    model.graph.node.extend(nodes)
    model.doc_string = model.producer_name = model.producer_version = ""
    onnx.save(model, str(file))
    print(f"{file.name}: {file.stat().st_size} bytes, SHA-256 {hashlib.sha256(file.read_bytes()).hexdigest()}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    steps = parser.add_subparsers(dest="step", required=True)
    stock = steps.add_parser("stock")
    stock.add_argument("file", type=Path)
    stock.add_argument("--count", type=int, default=140)
    stock.add_argument("--seed", type=int, default=11)
    learning = steps.add_parser("learn")
    learning.add_argument("out", type=Path)
    learning.add_argument("--material", type=Path, required=True)
    learning.add_argument("--steps", type=int, required=True)
    learning.add_argument("--seed", type=int, default=5)
    learning.add_argument("--seconds", type=float, default=math.inf)
    exporting = steps.add_parser("export")
    exporting.add_argument("out", type=Path)
    exporting.add_argument("file", type=Path)
    options = parser.parse_args()
    if options.step == "stock":
        training_views.save_stock(options.file, options.count, options.seed)
    elif options.step == "learn":
        learn(options.out, options.material, options.steps, options.seed, options.seconds)
    else:
        export(options.out, options.file)


if __name__ == "__main__":
    main()
