"""The default cutter: independent cut-outs of a picture, and trust in them from how far they agree.

The backdrop model knows the wall, the person network knows people. They have nothing in common but the picture: where
both cut out the same figure it is right, and where they differ one of them is wrong and more is asked: the room as the
whole turn shows it, or a neural model where one is at hand. What nobody vouches for is a guess and says so.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout import background_model, mask_cleanup, neural, person_net, trust
from silhouette.cutout import room as rooms
from silhouette.cutout.background_model import Shared
from silhouette.cutout.mask_cleanup import overlap
from silhouette.cutout.plate import Floats
from silhouette.cutout.room import Room
from silhouette.records import BACK_LIGHT, BLURRED, CANNOT_TELL, NO_FIGURE, TWO_FIGURES, Cut, Mask, Pixels
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
SURE, SURER = 1.5, 3.0
"""Mean log odds of the person network from which it decides a piece on which the cut-outs differ; and from which it
adds one that looks like the backdrop or a shadow on it."""
OBJECT, ENCLOSED = 0.5, 0.65
"""Share of a piece that differs from the backdrop as no shadow does, from which it is a thing; and share of a piece's
surroundings that is figure, from which it is a gap."""
SLENDER, GROUND = 0.04, 0.08
"""Width of a pole at most, and how far above the ground what only stands there does not end: shares of the figure's
height."""
AGAINST = 0.5
"""How much of what was kept against the network's word is taken off the promise."""
AGREED, AGREED_PERSON = (-1.50, 0.61), (1.83, 0.77, 0.95)
"""Fitted on some 260 cut-outs that agree: ln(lost overlap) = AGREED[0] + AGREED[1] ln(what the two lose against each
other); where the person network is one of them, AGREED_PERSON with a third term, ln(what it expects to lose itself)."""
ALONE = (1.48, 1.63)
"""Fitted on 322 cut-outs of the person network that nobody vouched for: ln(lost overlap) = ALONE[0]
+ ALONE[1] ln(what its own odds expect to lose)."""
LEAST_LOST = 0.002
"""Added to each loss before its logarithm is taken."""
CLEAR, STEADY = 0.94, 0.92
"""What such a cut-out must expect of itself, and its overlap with that of the mirror image, to be trusted anyway. Of
243 cut-outs beyond both lines one lost more than a tenth; beyond 0.93 and 0.92 it were four of 279."""
MOST_ALONE, MOST_DOUBTED = 0.96, 0.89
"""The most that is promised of it then, and of any other."""
LOST, WALL, MOST_WALL = 0.75, 0.96, 0.92
"""Overlap with the cut-out of the mirror image under which the network contradicts itself and is no witness; what the
wall's own confidence must be to be trusted then; and the most that is promised."""


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
        if _vouched(wall, shared):
            return wall
    odds = person_net.odds_of(pixels)
    person = person_net.found_by(pixels, odds)
    if room is not None and (found := _by_room(pixels, room, person, odds)) is not None:
        return found
    wall = wall or background_model.cut(pixels, shared)
    if _nobody(wall) and _nobody(person):
        return wall
    agreed = overlap(wall.mask, person.mask)
    if agreed >= AGREE:
        return _together(pixels, shared, wall, person, odds, agreed)
    odds, steady = person_net.both_ways(pixels, odds)
    person = person_net.cut_by(pixels, odds)
    if (agreed := overlap(wall.mask, person.mask)) >= AGREE:
        return _together(pixels, shared, wall, person, odds, agreed)
    if neural.at_hand(model) and (found := _with_third(wall, person, odds, neural.cut(pixels, model))) is not None:
        return found
    return _alone(wall, person, steady)


def by_wall(pixels: Pixels, shared: Shared | None = None) -> Cut:
    """The backdrop model's cut-out as it is; the person network is asked for no more than whether to trust it."""
    wall = background_model.cut(pixels, shared)
    if _nobody(wall) or _vouched(wall, shared):
        return wall
    person = person_net.found_by(pixels, person_net.odds_of(pixels))
    agreed = overlap(wall.mask, person.mask)
    doubt = _or_none(pieces(wall.mask, person.mask))
    if agreed < AGREE:
        return replace(_untrusted(wall), doubt=doubt)
    return _trusted(replace(wall, doubt=doubt), agreed_overlap(agreed, person.confidence))


def by_person(pixels: Pixels) -> Cut:
    """The person network's cut-out, trusted as far as it can be alone."""
    odds, steady = person_net.both_ways(pixels, person_net.odds_of(pixels))
    person = person_net.cut_by(pixels, odds)
    return person if _nobody(person) else _by_its_own_word(person, steady)


def _vouched(wall: Cut, shared: Shared | None) -> bool:
    """Whether nothing more need be asked: the network agreed at other stops, and the wall is sure of this one."""
    return shared is not None and shared.vouched and wall.confidence >= DISTRUST


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


def decided(base: Mask, doubt: Mask, odds: Floats, strange: Mask | None = None) -> tuple[Mask, float]:
    """``base`` with each piece that is in doubt as the person network says, where it is to be believed.

    It knows shadows and furniture from limbs. It does not see thin gaps between limb and body, nor an oar or a rope: a
    piece that the figure encloses, or a slender one of a colour that no shadow has, stays as ``base`` has it.

    Parameters
    ----------
    base, doubt : (h, w) bool
        A mask, and the :func:`pieces` on which another one differs.
    odds : (h2, w2) float32
        What the person network said of the picture.
    strange : (h3, w3) bool or None
        Where the picture differs from its backdrop as no shadow does; None where that is not known.

    Returns
    -------
    mask : (h, w) bool
    against : float
        How much of the mask was kept against the network's word, a share of it.
    """
    count, numbered = cv2.connectedComponents(doubt.astype(np.uint8), connectivity=8)
    labels = np.asarray(numbered, np.int32)
    if count < 2:
        return base, 0.0
    rows, cols = np.nonzero(doubt)
    which = labels[rows, cols]
    size = np.maximum(np.bincount(which, minlength=count), 1)

    def mean(values: Floats) -> Floats:
        up, along = values.shape[0] / base.shape[0], values.shape[1] / base.shape[1]
        found = values[(rows * up).astype(np.intp), (cols * along).astype(np.intp)]
        return np.asarray(np.bincount(which, weights=found, minlength=count) / size)

    said = mean(odds)
    follow = np.abs(said) > SURE
    gone = (mean(base) > 0.5) & (said < 0)
    if strange is not None:
        thing = mean(strange) > OBJECT
        follow &= ~(gone & thing & _in_the_air_or_slender(labels, count, base))
        follow &= gone | thing | (said > SURER)
    follow &= ~(~gone & (_enclosed(labels, count, base) > ENCLOSED))
    kept = gone & ~follow & (said < -SURE)
    mask = base.copy()
    mask[rows, cols] = np.where(follow[which], said[which] > 0, base[rows, cols])
    return mask, float(size[kept].sum() / max(1, int(base.sum())))


def _in_the_air_or_slender(labels: NDArray[np.int32], count: int, mask: Mask) -> NDArray[np.bool_]:
    """(count,) whether a piece ends well above the ground, as a blade or a bundle does, or is no wider than a pole."""
    rows = np.flatnonzero(mask.any(axis=1))
    tall, ground = int(rows[-1] - rows[0] + 1), int(rows[-1])
    at, cols = np.nonzero(labels)
    which = labels[at, cols]
    lowest, deepest = np.zeros(count), np.zeros(count)
    np.maximum.at(lowest, which, at)
    deep = cv2.distanceTransform((labels > 0).astype(np.uint8), cv2.DIST_L2, 3)
    np.maximum.at(deepest, which, deep[at, cols])
    return np.asarray((lowest < ground - GROUND * tall) | (2 * deepest < SLENDER * tall))


def _enclosed(labels: NDArray[np.int32], count: int, mask: Mask) -> Floats:
    """(count,) the share of each piece's surroundings that is figure."""
    grown = cv2.dilate(labels.astype(np.float32), np.ones((3, 3), np.uint8)).astype(np.int32)
    rim = (grown > 0) & (labels == 0)
    around = np.bincount(grown[rim], minlength=count)
    inside = np.bincount(grown[rim], weights=mask[rim].astype(np.float64), minlength=count)
    return np.asarray(inside / np.maximum(around, 1))


def _finished(mask: Mask, sure: float, like: Cut, other: Cut, doubt: Mask | None) -> Cut:
    """A mask made of two cut-outs that agree, with what either noticed, under the name of the one it is most like."""
    noticed = dict.fromkeys((*like.flags, *other.flags))
    kept = tuple(f for f in noticed if f in (BLURRED, BACK_LIGHT, TWO_FIGURES))
    made = mask_cleanup.finished(mask, sure, like.cutter, kept, 0.0)
    return replace(made, doubt=doubt if doubt is not None and doubt.any() else None)


def _together(pixels: Pixels, shared: Shared | None, wall: Cut, person: Cut, odds: Floats, agreed: float) -> Cut:
    """Two independent cut-outs that agree: the wall's edge, and the person network's word on what is left."""
    sure = agreed_overlap(agreed, person.confidence)
    doubt = pieces(wall.mask, person.mask)
    if not doubt.any():
        return _finished(wall.mask, sure, wall, person, None)
    mask, against = decided(wall.mask, doubt, odds, background_model.no_shadow(pixels, shared))
    return _finished(mask, sure - AGAINST * against, wall, person, doubt)


def agreed_overlap(agreed: float, person: float | None = None) -> float:
    """The overlap with the true figure that may be expected where two independent cut-outs agree.

    Parameters
    ----------
    agreed : float
        Their own overlap, at least AGREE.
    person : float or None
        What the person network expects of its cut-out, if that is one of the two.
    """
    lost = np.log(1 - agreed + LEAST_LOST)
    if person is None:
        log = AGREED[0] + AGREED[1] * lost
    else:
        log = AGREED_PERSON[0] + AGREED_PERSON[1] * lost + AGREED_PERSON[2] * np.log(1 - person + LEAST_LOST)
    return float(np.clip(1 - np.exp(log), TRUST, 0.99))


def _with_third(wall: Cut, person: Cut, odds: Floats, third: Cut) -> Cut | None:
    """Whichever of two cut-outs that disagree a third one agrees with; None where it agrees with neither."""
    if _nobody(third):
        return None
    by_person, by_wall = overlap(third.mask, person.mask), overlap(third.mask, wall.mask)
    if max(by_person, by_wall) < AGREE:
        return None
    if by_person >= by_wall:
        doubt = pieces(third.mask, person.mask)
        mask, _ = decided(third.mask, doubt, odds)
        return _finished(mask, agreed_overlap(by_person, person.confidence), third, person, doubt)
    return _finished(wall.mask, agreed_overlap(by_wall), wall, third, pieces(wall.mask, person.mask))


def _by_room(pixels: Pixels, room: Room, person: Cut, odds: Floats) -> Cut | None:
    """The cut-out before the known room; None where that room is another one, or does not help.

    A room learned from the turn was learned with the person network's help, so it vouches only if the figure cut out
    without that help is the same.
    """
    chance = trust.chance(odds)
    if room.colours is not None:
        return _by_turn(*rooms.vouched(pixels, room, chance), person)
    found = rooms.cut(pixels, room, chance)
    if _nobody(found):
        return found if _nobody(person) else None
    agreed, doubt = overlap(found.mask, person.mask), pieces(found.mask, person.mask)
    if found.confidence >= TRUST:  # the room was seen; the network's small slips are nothing to tell
        return found if agreed >= AGREE else replace(found, doubt=_or_none(doubt))
    if agreed < AGREE:
        return None
    mask, _ = decided(found.mask, doubt, odds)
    return _finished(mask, agreed_overlap(agreed, person.confidence), found, person, doubt)


def _by_turn(found: Cut, alike: float, person: Cut) -> Cut | None:
    """The cut-out before the room that the turn shows, if it is ``alike`` (overlap) without the person network.

    That network does not decide what is left: its mistakes are the same all round the turn.
    """
    if _nobody(found) or alike < ALIKE:
        return None
    doubt = None if overlap(found.mask, person.mask) >= AGREE else pieces(found.mask, person.mask)
    return _finished(found.mask, agreed_overlap(alike), found, person, doubt)


def _or_none(doubt: Mask) -> Mask | None:
    return doubt if doubt.any() else None


def _alone(wall: Cut, person: Cut, steady: float) -> Cut:
    """The likelier of two cut-outs that disagree: the person network's, unless it sees nobody or contradicts itself."""
    if _nobody(person):
        return replace(_untrusted(wall), doubt=_or_none(wall.mask))
    doubt = None if _nobody(wall) else _or_none(pieces(person.mask, wall.mask))
    if steady < LOST and wall.confidence >= WALL:
        return replace(wall, confidence=min(wall.confidence, MOST_WALL), doubt=doubt)
    found = _by_its_own_word(person, steady)
    return found if found.confidence >= TRUST else replace(found, doubt=doubt)


def _by_its_own_word(person: Cut, steady: float) -> Cut:
    """The person network's cut-out, trusted only where it is sure and steady."""
    lost = np.exp(ALONE[0] + ALONE[1] * np.log(1 - person.confidence + LEAST_LOST))
    if person.confidence >= CLEAR and steady >= STEADY:
        return _trusted(person, float(np.clip(1 - lost, TRUST, MOST_ALONE)))
    return _untrusted(replace(person, confidence=float(np.clip(1 - lost, 0, MOST_DOUBTED))))


def _trusted(one: Cut, sure: float) -> Cut:
    return replace(one, confidence=sure, flags=tuple(f for f in one.flags if f != CANNOT_TELL))


def _untrusted(one: Cut) -> Cut:
    flags = one.flags if CANNOT_TELL in one.flags else (*one.flags, CANNOT_TELL)
    return replace(one, confidence=min(one.confidence, MOST_DOUBTED), flags=flags)
