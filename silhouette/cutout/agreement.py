"""The default cutter: independent cut-outs of a picture, and trust in them from how far they agree.

The backdrop model knows the wall, the person network knows people. They have nothing in common but the picture: where
both cut out the same figure it is right, and where they differ one of them is wrong and more is asked: the room as the
whole turn shows it, or a neural model where one is at hand. What nobody vouches for is a guess and says so.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from silhouette.cutout import background_model, mask_cleanup, neural, person_net
from silhouette.cutout import room as rooms
from silhouette.cutout.background_model import Shared
from silhouette.cutout.plate import Floats
from silhouette.cutout.room import Room
from silhouette.records import CANNOT_TELL, NO_FIGURE, Cut, Mask, Pixels
from silhouette.settings import DISTRUST, TRUST

AGREE = 0.90
"""Overlap (intersection over union) from which two independent cut-outs show the same figure."""
ALIKE = 0.90
"""The same of the cut-outs before a room that the turn shows, with and without the person network, from which that room
vouches. Of 168 in rooms and composites kept aside it lets 150 pass, of 216 with maps that err in the same way all round
the turn 88, and of those that pass none is under 0.9."""
PIECE, RIM = 0.002, 5
"""Share of the figure from which a piece that only one of two cut-outs holds is more than an edge drawn otherwise, and
width of such an edge, working pixels."""
SURE = 1.5
"""Mean log odds of the person network from which it decides a piece on which the cut-outs differ."""
ALONE = (2.13, 1.52, 0.30)
"""For a cut-out of the person network that nobody vouches for: ln(lost overlap) = ALONE[0] + ALONE[1] ln(what its own
odds expect to lose) + ALONE[2] ln(what it loses against the cut-out of the mirror image)."""
CLEAR, STEADY = 0.93, 0.92
"""What such a cut-out must expect of itself, and its overlap with that of the mirror image, to be trusted anyway."""
MOST_ALONE, MOST_DOUBTED = 0.96, 0.89
"""The most that is promised of it then, and of any other."""


def overlap(a: Mask, b: Mask) -> float:
    """Intersection over union of two masks; 1 where both are empty."""
    either = int((a | b).sum())
    return int((a & b).sum()) / either if either else 1.0


def cut(pixels: Pixels, shared: Shared | None = None, model: str | None = None, room: Room | None = None) -> Cut:
    """Cut the figure out, and say how far that can be trusted.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, BGR
    shared : Shared or None
        What :func:`background_model.learn` made of the pose's pictures.
    model : str or None
        The neural cutter's model, see :func:`neural.find`.
    room : Room or None
        What the camera sees where nobody stands: from a picture of it, or learned from the turn.

    Returns
    -------
    Cut
        ``cutter`` says whose mask it is, ``doubt`` where another one differs.
    """
    wall = None
    if room is None:
        wall = background_model.cut(pixels, shared)
        if shared is not None and shared.vouched and wall.confidence >= DISTRUST:
            return wall
    odds = person_net.odds_of(pixels)
    person = person_net.cut_by(pixels, odds)
    if room is not None and (found := _by_room(pixels, room, person, odds)) is not None:
        return found
    wall = wall or background_model.cut(pixels, shared)
    if _nobody(wall) and _nobody(person):
        return wall
    agreed = overlap(wall.mask, person.mask)
    if agreed >= AGREE:
        return _together(wall, person, odds, agreed)
    odds, steady = person_net.both_ways(pixels, odds)
    person = person_net.cut_by(pixels, odds)
    if (agreed := overlap(wall.mask, person.mask)) >= AGREE:
        return _together(wall, person, odds, agreed)
    if neural.at_hand(model):
        third = neural.cut(pixels, model)
        found = _with_third(wall, person, odds, third)
        if found is not None:
            return found
    return _alone(wall, person, steady)


def _nobody(one: Cut) -> bool:
    return NO_FIGURE in one.flags


def pieces(a: Mask, b: Mask) -> Mask:
    """Where two masks (h, w) of one picture differ by more than an edge drawn otherwise."""
    differ = (a ^ b).astype(np.uint8)
    core = cv2.erode(differ, np.ones((RIM, RIM), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(differ, connectivity=8)
    least = max(9.0, PIECE * min(int(a.sum()), int(b.sum())))
    keep = np.zeros(count, np.bool_)
    keep[np.unique(labels[core > 0])] = True
    keep &= stats[:, cv2.CC_STAT_AREA] >= least
    keep[0] = False
    return np.asarray(keep[labels], np.bool_)


def decided(base: Mask, other: Mask, odds: Floats) -> tuple[Mask, Mask]:
    """``base`` with each piece on which ``other`` differs as the person network says, where it is sure of it.

    Parameters
    ----------
    base, other : (h, w) bool
    odds : (h2, w2) float32
        What the person network said of the picture.

    Returns
    -------
    mask, doubt : (h, w) bool
        The mask, and all pieces that were asked about.
    """
    doubt = pieces(base, other)
    count, labels = cv2.connectedComponents(doubt.astype(np.uint8), connectivity=8)
    if count < 2:
        return base, doubt
    h, w = base.shape
    said = cv2.resize(odds, (w, h), interpolation=cv2.INTER_LINEAR)
    size = np.bincount(labels.ravel(), minlength=count)
    mean = np.bincount(labels.ravel(), weights=said.ravel(), minlength=count) / np.maximum(size, 1)
    follow = np.abs(mean) > SURE
    follow[0] = False
    return np.where(follow[labels], mean[labels] > 0, base), doubt


def _finished(mask: Mask, sure: float, like: Cut, doubt: Mask | None) -> Cut:
    """A mask made of several cut-outs, with the flags of the one it is most like."""
    kept = tuple(f for f in like.flags if f != CANNOT_TELL)
    made = mask_cleanup.finished(mask, sure, like.cutter, kept, 0.0)
    return replace(made, doubt=doubt if doubt is not None and doubt.any() else None)


def _together(wall: Cut, person: Cut, odds: Floats, agreed: float) -> Cut:
    """Two independent cut-outs that agree: the wall's edge, and the person network's word on what is left."""
    mask, doubt = decided(wall.mask, person.mask, odds)
    sure = min(max(wall.confidence, TRUST + 0.02), agreed_overlap(agreed))
    return _finished(mask, sure, wall, doubt)


def agreed_overlap(agreed: float) -> float:
    """The overlap with the true figure that two independent cut-outs have whose own overlap is ``agreed``, at least
    AGREE: the errors of both add up to what they lack, and the better one is kept."""
    return float(np.clip(1.0 - 0.45 * (1.0 - agreed) - 0.008, 0.0, 0.99))


def _with_third(wall: Cut, person: Cut, odds: Floats, third: Cut) -> Cut | None:
    """Whichever of two cut-outs that disagree a third one agrees with; None where it agrees with neither."""
    if _nobody(third):
        return None
    by_person, by_wall = overlap(third.mask, person.mask), overlap(third.mask, wall.mask)
    if max(by_person, by_wall) < AGREE:
        return None
    if by_person >= by_wall:
        mask, doubt = decided(third.mask, person.mask, odds)
        return _finished(mask, agreed_overlap(by_person), third, doubt)
    return _finished(wall.mask, agreed_overlap(by_wall), wall, pieces(wall.mask, person.mask))


def _by_room(pixels: Pixels, room: Room, person: Cut, odds: Floats) -> Cut | None:
    """The cut-out before the known room; None where that room is another one, or does not help.

    A room learned from the turn was learned with the person network's help, so it vouches only if the figure cut out
    without that help is the same.
    """
    chance = np.asarray(1.0 / (1.0 + np.exp(-np.clip(odds, -20, 20))), np.float32)
    if room.colours is not None:
        return _by_turn(*rooms.vouched(pixels, room, chance), person)
    found = rooms.cut(pixels, room, chance)
    if _nobody(found):
        return found if _nobody(person) else None
    doubt = pieces(found.mask, person.mask)
    if found.confidence >= TRUST:
        return replace(found, doubt=_or_none(doubt))
    agreed = overlap(found.mask, person.mask)
    if agreed < AGREE:
        return None
    mask, doubt = decided(found.mask, person.mask, odds)
    return _finished(mask, agreed_overlap(agreed), found, doubt)


def _by_turn(found: Cut, alike: float, person: Cut) -> Cut | None:
    """The cut-out before the room that the turn shows, if it is ``alike`` (overlap) without the person network.

    That network does not decide what is left: its mistakes are the same all round the turn.
    """
    if _nobody(found) or alike < ALIKE:
        return None
    return _finished(found.mask, agreed_overlap(alike), found, pieces(found.mask, person.mask))


def _or_none(doubt: Mask) -> Mask | None:
    return doubt if doubt.any() else None


def _alone(wall: Cut, person: Cut, steady: float) -> Cut:
    """The likelier of two cut-outs that disagree: the person network's, trusted only where it is sure and steady."""
    if _nobody(person):
        return replace(_untrusted(wall), doubt=_or_none(wall.mask))
    lost = np.exp(ALONE[0] + ALONE[1] * np.log(1.002 - person.confidence) + ALONE[2] * np.log(1.002 - steady))
    trusted = person.confidence >= CLEAR and steady >= STEADY
    sure = float(np.clip(1 - lost, TRUST, MOST_ALONE)) if trusted else float(np.clip(1 - lost, 0, MOST_DOUBTED))
    doubt = None if _nobody(wall) or trusted else _or_none(pieces(person.mask, wall.mask))
    found = replace(person, confidence=sure, doubt=doubt, flags=tuple(f for f in person.flags if f != CANNOT_TELL))
    return found if trusted else _untrusted(found)


def _untrusted(one: Cut) -> Cut:
    flags = one.flags if CANNOT_TELL in one.flags else (*one.flags, CANNOT_TELL)
    return replace(one, confidence=min(one.confidence, MOST_DOUBTED), flags=flags)
