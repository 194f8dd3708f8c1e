"""Prints how often the reasons of a view are true: ``python tests/measure/reasons.py FILE.npz``.

FILE holds rendered views of poses that the reader never saw, half of them drawn broadly, half near named poses. It is
made with the studio extra: ``python tests/measure/reasons.py FILE.npz --render STOCK [--poses 40] [--seed 99]``, STOCK
being builds at rest as ``silhouette.studio.training`` makes them.

What each reason claims, and when that counts as true:

- an arm is lost: less than ARM of the longest outline it has round the turn is drawn; of two arms lost both are under
  FLUSH, since arms that hang flush draw their outer edge;
- a hand or foot is lost: less than END of its own outline is drawn;
- it lies at a part of the body: the true hand's nearest landmark is that part or the next;
- it lies on a side of the picture: its true place lies on that side of the line from neck to pelvis;
- the legs read as one, the head is sunk: the less legible leg is under LEGS, the head under HEAD.

Of every kind it prints how often it is told and how often it is true, once for the reasons with the reader and once
for those from the shape alone. Hands that are truly lost count for "found" where some arm or hand is called lost.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.reading import reader
from silhouette.reading.view import read_view
from silhouette.records import ARM_TROUBLES, Outline, Reason, ReasonKind, Side, Zone
from silhouette.shape.measure import measure_outline
from silhouette.shape.outline import outline_of
from silhouette.show import words

ARM, FLUSH, END, LEGS, HEAD = 0.30, 0.45, 0.30, 0.40, 0.45
MARKS = ("pelvis",)
"""Landmarks rendered beside the joints that the reader is asked for."""
PLACES = {name: [k for k, point in enumerate((*reader.POINTS, *MARKS)) if point == name]
          for name in (*reader.POINTS, *MARKS)}
ZONES = ("head", "shoulder", "chest", "waist", "hip", "thigh", "knee", "shin", "foot")
ON_AXIS = 0.01
"""A true place nearer to the axis than this, figure heights, has no side: naming one is wrong."""
Points = NDArray[np.float64]


@dataclass
class Truth:
    """One view: its outline, and legibility of limbs and of hands and feet alone, joints in the outline's frame."""

    line: Outline
    limbs: Points
    """(5,) head, arms, legs."""
    ends: Points
    """(5,) the same for head, hands, feet."""
    joints: Points
    """(24, 2) the reader's POINTS, then MARKS."""


@dataclass
class Tally:
    """Outcomes of each kind of claim."""

    told: dict[str, list[bool]] = field(default_factory=dict)

    def add(self, claim: str, true: bool) -> None:
        self.told.setdefault(claim, []).append(bool(true))


# ------------------------------------------------------------------------------------------------------------ making

def render(file: Path, stock_file: Path, count: int, seed: int) -> None:
    """Render the views twice, once with whole limbs, once with hands and feet for limbs."""
    import torch

    from silhouette.studio import dress, training_views

    torch.set_num_threads(1)
    training_views.POINTS = (*training_views.POINTS, *MARKS)                  # these too are put into the picture
    stock = training_views.load_stock(stock_file, "cpu")
    ends = torch.tensor([n.startswith(("wrist", "finger", "metacarpal", "foot", "toe")) for n in stock.rig.names])
    limb = stock.rig.limb
    only_ends = torch.where((limb >= 2) & (stock.rig.weights[:, ends].sum(1) < 0.5), torch.zeros_like(limb), limb)
    dressed = dress.dress_batch

    def undress(*given: Any) -> Any:
        points, faces, worn = dressed(*given)
        return points, faces, torch.zeros_like(worn)                          # a sleeve is no hand

    made: dict[str, Any] = {}
    for name, some in (("limbs", stock), ("ends", replace(stock, rig=replace(stock.rig, limb=only_ends)))):
        dress.dress_batch = undress if name == "ends" else dressed
        with torch.no_grad():
            views = training_views.Views.joined([
                training_views.make_views(some, count, seed + 1, training_views.KINDS["random"], together=1),
                training_views.make_views(some, count, seed + 2, training_views.KINDS["named"], together=1)])
        assert not made or np.array_equal(made["masks"], views.masks.numpy())
        made |= {"masks": views.masks.numpy(), "joints": views.joints.numpy(), name: views.legibility.numpy()}
    dress.dress_batch = dressed
    np.savez_compressed(file, **made)


def load(file: Path) -> Iterator[Truth]:
    with np.load(file) as f:
        for bits, limbs, ends, joints in zip(f["masks"], f["limbs"], f["ends"], f["joints"], strict=True):
            line = outline_of(np.unpackbits(bits, axis=1).astype(bool))
            if line is not None:
                spots = (joints * np.array(line.picture_size) - np.array(line.origin_px)) / line.height_px
                yield Truth(line, limbs.astype(float), ends.astype(float), spots)


# ---------------------------------------------------------------------------------------------------------- judging

def true_zone(joints: Points, spot: Points) -> int:
    """Index in ZONES of the landmark nearest to a spot."""
    head, neck, pelvis = (joints[PLACES[name][0]] for name in ("head", "neck", "pelvis"))
    shoulders, hips, knees, feet = (joints[PLACES[name]] for name in ("shoulder", "hip", "knee", "foot"))
    marks = [(0, head), (1, neck), (4, pelvis)]
    for s, h in [*zip(shoulders, hips, strict=True), (shoulders.mean(0), hips.mean(0))]:
        marks += [(1, s), (2, s + 0.3 * (h - s)), (3, s + 0.65 * (h - s)), (4, h)]
    for h, k, f in zip(hips, knees, feet, strict=True):
        marks += [(5, (h + k) / 2), (6, k), (7, (k + f) / 2), (8, f)]
    return min(marks, key=lambda m: float(np.linalg.norm(m[1] - spot)))[0]


def off_axis(joints: Points, spot: Points) -> float:
    """How far to picture right of the line from neck to pelvis a spot lies, figure heights."""
    neck, pelvis = (joints[PLACES[name][0]] for name in ("neck", "pelvis"))
    if abs(pelvis[1] - neck[1]) < 0.05:
        return 0.0
    share = np.clip((spot[1] - neck[1]) / (pelvis[1] - neck[1]), -0.3, 1.6)
    return float(spot[0] - neck[0] - share * (pelvis[0] - neck[0]))


def on_side(side: Side, off: float) -> bool:
    return (off < -ON_AXIS) if side == "picture left" else (off > ON_AXIS)


def judge(why: tuple[Reason, ...], truth: Truth, tally: Tally) -> None:
    """Count each claim of one view's reasons as true or not."""
    arms, hands, feet = truth.limbs[1:3], truth.ends[1:3], truth.ends[3:5]
    for reason in why:
        if reason.kind == ReasonKind.ARMS_LOST:
            tally.add(f"both arms lost (under {FLUSH:g})", arms.max() < FLUSH)
            tally.add(f"both arms lost (under {ARM:g})", arms.max() < ARM)
        elif reason.kind == ReasonKind.ARM_LOST:
            tally.add("one arm lost", arms.min() < ARM)
        elif reason.limb == "foot":
            tally.add("foot lost", (feet.max() if reason.kind == ReasonKind.FEET_LOST else feet.min()) < END)
        elif reason.limb == "leg":
            tally.add("legs read as one", truth.limbs[3:5].min() < LEGS)
        elif reason.kind == ReasonKind.HEAD_SUNK:
            tally.add("head sunk into the body", truth.limbs[0] < HEAD)
        elif reason.kind == ReasonKind.HEAD_BEHIND_ARM:
            tally.add("head merged with a raised arm", truth.limbs[0] < HEAD)
        if reason.kind in ARM_TROUBLES and reason.zone is not None:
            judge_hand(reason.zone, reason.side, truth, tally)
    told = [reason for reason in why if reason.kind in ARM_TROUBLES]
    if hands.min() < END:
        tally.add("of views that lose a hand: an arm or hand is called lost", bool(told))
        tally.add("of views that lose a hand: its place is named", any(reason.zone is not None for reason in told))


def judge_hand(zone: Zone, side: Side | None, truth: Truth, tally: Tally) -> None:
    """A hand named with its place: lost at all, within a zone of there, on that side of the picture."""
    steps = {i: abs(true_zone(truth.joints, truth.joints[1 + i]) - ZONES.index(zone)) for i in (0, 1)}
    lost = [i for i in (0, 1) if truth.ends[1 + i] < END]
    meant = [i for i in (0, 1) if steps[i] == min(steps.values())]
    tally.add("hand lost", any(i in lost for i in meant))
    there = [steps[i] for i in lost or (0, 1)]
    tally.add("hand: place, within a zone", min(there) <= 1)
    tally.add("hand: place, exactly", min(there) == 0)
    if side is not None:
        tally.add("hand: side", any(on_side(side, off_axis(truth.joints, truth.joints[1 + i])) for i in meant))


def report(title: str, tally: Tally, views: int) -> None:
    print(f"\n{title}, {views} views{'':21}told   of views   true")
    for claim, outcomes in sorted(tally.told.items()):
        print(f"  {claim:58}{len(outcomes):5}   {len(outcomes) / views:7.1%}   {np.mean(outcomes):5.1%}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("file", type=Path)
    parser.add_argument("--render", type=Path, metavar="STOCK", help="make FILE first")
    parser.add_argument("--poses", type=int, default=40, help="poses of either kind")
    parser.add_argument("--seed", type=int, default=99)
    args = parser.parse_args()
    if args.render:
        render(args.file, args.render, args.poses, args.seed)
        return
    cv2.setNumThreads(1)
    read, alone, views, aside, longest = Tally(), Tally(), 0, 0, ""
    for truth in load(args.file):
        measures, body = measure_outline(truth.line.polygon), reader.read_body(truth.line)
        views += 1
        aside += body.unlike > reader.UNLIKE
        why = read_view(measures, truth.line, "open", body).reasons
        longest = max([*map(words.reason, why), longest], key=len)
        judge(why, truth, read)
        judge(read_view(measures, truth.line).reasons, truth, alone)
    report("with the reader", read, views)
    report("by shape alone", alone, views)
    print(f"\nthe reader stands aside in {aside / views:.1%} of views; "
          f"the longest reason has {len(longest)} letters: {longest}")


if __name__ == "__main__":
    main()
