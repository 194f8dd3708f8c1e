"""Poses that are meant alike stand together, since they are asked the same questions and ranked among themselves; and
the rings of a pose, each by itself."""

from __future__ import annotations

from dataclasses import replace

from silhouette.records import Note, Pose, Ranking


def by_intent(ranking: Ranking) -> list[tuple[str, tuple[Pose, ...]]]:
    """The poses in their groups, each with its heading, best first.

    The first group is meant as the ranking is, and has no heading. A pose that is alone in a later group bears no rank:
    there is nothing it could be ranked against.
    """
    kinds = sorted(dict.fromkeys(pose.intent for pose in ranking.poses), key=lambda kind: kind != ranking.intent)
    groups: list[tuple[str, tuple[Pose, ...]]] = []
    for kind in kinds:
        poses = tuple(pose for pose in ranking.poses if pose.intent == kind)
        if groups and len(poses) == 1:
            groups.append((f"Meant {kind}, not ranked against the others", (replace(poses[0], rank=None),)))
        else:
            groups.append((f"Meant {kind}, ranked among themselves" if groups else "", poses))
    return groups


def in_a_row(ranking: Ranking) -> list[tuple[str, Pose]]:
    """All poses one after the other, the first of each later group with its heading."""
    return [("" if i else heading, pose) for heading, poses in by_intent(ranking) for i, pose in enumerate(poses)]


def by_ring(pose: Pose) -> tuple[Pose, ...]:
    """Each ring as a pose that has no other, the headline's first, then in the order of RINGS; the pose itself where it
    has one. Of the notes each keeps its own ring's."""
    if not pose.other_rings:
        return (pose,)
    alone = {one.ring: replace(
        pose, views=one.views, round=one.round, reads_low=one.reads_low, reads_high=one.reads_high, samples=one.samples,
        ring=one.ring, camera=one.camera, other_rings=(), blind_spots=None, close_ups=(), rank=None, tied_with=(),
        notes=tuple(Note.of(**n["note"]) for n in pose.notes if n.kind == "of ring" and n["ring"] == one.ring),
    ) for one in pose.rings}
    return (alone.pop(pose.ring), *alone.values())
