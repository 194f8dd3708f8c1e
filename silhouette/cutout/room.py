"""Cut a figure out of any room, by a picture of the same room with nobody in it.

Each picture differs from the empty one by the figure, and by what is none: the camera was nudged, exposure and lamps
changed, shadows moved, a curtain sways. So the empty room is laid under the picture (moved, relit), and each pixel is
asked whether it could be the room in some other light: a shadow keeps the room's texture and its tint, a figure does
not. Then the room is taken away, texture and all, so that the network that knows bodies before plain backdrops can
look; and the figure's own colours and the room's decide what is left open.

Sizes: ``h, w`` are rows and columns of the half picture; colours are BGR, 0 to 255.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout import edge, figure_net, mask_cleanup, plate, trust
from silhouette.cutout.background_model import halved
from silhouette.cutout.plate import Floats
from silhouette.records import CANNOT_TELL, NO_FIGURE, Cut, Mask, Pixels

DARK = 6.0
"""Levels added before a ratio is taken, so that noise in the dark makes no ratio."""
FEWEST_GLIMPSES, MOST_GLIMPSES, MOST_FIT, LEAST_KNOWN = 4, 24, 0.7, 0.3
"""Pictures of a turn from which a room is learned, and that are looked at; the share of them that must fit each other,
and the share of the picture that must be known in the end."""
NUDGE = 0.03
"""How far, in shares of the longer side, the camera may have been nudged between the pictures of a turn."""
HALO = 0.006
"""How far about the figure nothing is taken for room, in shares of the longer side."""
AGREE, ENOUGH_SAW, AGREEING = 6.0, 1.3, 0.5
"""Levels within which pictures agree on a colour; how many of them, and which share, must."""
STILL, PATTERN = 0.35, 0.15
"""Share of the figure that looks the same in all pictures, from which it did not turn; and share of the pixels round
about that must lie on a pattern that stays, so that an even colour is not taken for a thing that did not move."""
BANDS, LIGHTS, TINTS = 12, 16, 16
POSE_BINS = BANDS * LIGHTS * TINTS * TINTS
"""Bins of height, lightness and two tints in which a pose's colours are counted."""
SHAPE_OFF = 0.02
"""How far the proportion of two pictures' sides may differ."""
MOST, NET_MOST = 8.0, 6.0
"""Log odds beyond which neither the signs nor the network are believed more."""
ENOUGH_ROWS = 126
"""Rows of the picture from which the noise is told."""
BLUNT = 32
"""Pixels over which a room is blurred to make a plain backdrop of it."""
CELL = 48
"""Side of the squares in which colours are compared, pixels."""
LIGHT, TINT = 16, 12
"""Levels of lightness, and of tint, that count as one colour."""
STEPS = np.stack([np.arange(256) // LIGHT, np.arange(256) // TINT, np.arange(256) // TINT], 1).astype(np.uint8)[None]
"""The same as a table for each level of Y, Cr, Cb, (1, 256, 3)."""
FEW = 0.15
"""Pixels that each colour is given beforehand, so that a rare one tells little."""
MARGIN = 40
"""Looked at about the figure in the end, pixels."""
AGREED = (0.9, 0.97)
"""Overlap of the person's cutter with the rest, from where on it is believed more, and where it is in full."""
OWN, MISS, POSE, ALIKE = 1, 5, 14, 1.1
"""Where the person's cutter, the miss and the pose's colours stand among the signs of the last look; and the miss (ln
of one more than the multiple of what is bearable) under which picture and room look alike."""
STRAIGHT = 6.0
"""Blur, standard deviation in pixels, of the light that is taken out before pictures are laid over each other."""
POINTS, FEWEST, FAINT = 12000, 50, 0.02
"""Pixels of the strongest steps that pictures are laid over each other by, how many there must be, and from which step
on (log lightness a pixel): a plain wall has none, and is left where it is."""
FITS = 0.65
"""Share of the room's steps that must be found in the picture: of 80 composites the right room, nudged and relit, shows
at least 0.73 of them, another one 0.52 at most."""
LOCAL = np.array([0.66, 1.66, -0.19, 1.33, -0.32, 0.15, 7.15, 3.01, 5.92, 0.16, -2.04, 0.67, -0.01, 0.07, -1.88, 0.24,
                  -0.08, -4.27], np.float32)
"""Weights of the signs, and one constant: a logistic regression on composites (bodies before photographs and drawn
rooms; see the order in :func:`signs`)."""
ALONE = np.array([0.28, 0.00, 0.15, 0.25, 0.28, 0.68, 1.17, -0.10, 0.33, 0.05, -0.61, 1.47, 1.71, 6.23, 0.00, -2.19],
                  np.float32)
WITH_PERSON = np.array([0.26, 0.56, 0.11, 0.01, 0.14, 0.54, 0.79, -0.23, 0.23, -0.49, -0.44, 2.08, -0.79, 4.70, 0.00,
                        -0.61], np.float32)
"""The same for the last look (the order is that of :func:`second_signs`), without and with a person's cutter."""
LEARNED = np.array([0.23, 0.51, 0.09, 0.04, 0.14, 0.55, 0.79, -0.17, 0.24, -0.36, -0.39, 2.27, -0.93, 4.39, 0.23,
                    -0.60], np.float32)
HIDDEN = np.array([0.25, 0.77, 0.06, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.34, -0.43],
                   np.float32)
"""The same for a room that was learned from a turn: where it is known, and where the figure always hides it."""
LOSS = np.array([0.76, 6.7, 2.26, -1.88])
"""Fitted on composites, some with the empty picture of another room or from another place: ln(lost overlap) = LOSS
times what :func:`evidence` says."""


@dataclass(frozen=True, eq=False)
class Room:
    """What the standing camera sees where nobody stands. Small, so that it can be handed to other processes."""

    picture: Pixels
    """(h, w, 3) the room at half the size worked at."""
    known: Mask
    """(h, w) where the room was seen."""
    shape: tuple[int, int]
    """(height, width) of the working picture that it was made from."""
    colours: NDArray[np.int8] | None = None
    """Of a room learned from a turn: how surely each colour is figure at each height, log odds times 16, see
    :func:`_pose_bins`. None where it comes from a picture with nobody in it."""
    laid: tuple[Floats, float] | None = None
    """What :func:`laid_under` found before the same standing camera a moment ago; None: found for each picture."""


def standing(room: Room, pixels: Pixels) -> Room:
    """The same room, laid under this picture, (h, w, 3) uint8 BGR, and those that follow before a standing camera."""
    half = halved(pixels)
    size = half.shape[1], half.shape[0]
    known = cv2.resize(room.known.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    return replace(room, laid=laid_under(np.asarray(cv2.resize(room.picture, size), np.uint8), half, known))


def from_empty(pixels: Pixels) -> Room:
    """The room of a picture, (h, w, 3) uint8 BGR, in which nobody stands."""
    half = halved(pixels)
    return Room(half, np.ones(half.shape[:2], np.bool_), (pixels.shape[0], pixels.shape[1]))


# ------------------------------------------------------------------------------------------ the room laid underneath


def _steps(picture: Pixels) -> Floats:
    """Log lightness without the slow light of the room, (h, w)."""
    log = cv2.log(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(np.float32) + 8.0)
    return log - cv2.GaussianBlur(log, (0, 0), STRAIGHT)


def _terms(x: Floats, y: Floats, h: int, w: int) -> tuple[Floats, Floats]:
    """How far six numbers (shift, and four of rotation, scale and shear) move the pixels x, y: (n, 6) each."""
    x, y = (x - w / 2) / w, (y - h / 2) / w
    none, one = np.zeros_like(x), np.ones_like(x)
    return np.stack([one, none, x, y, none, none], 1), np.stack([none, one, none, none, x, y], 1)


def _start(e0: Floats, p0: Floats) -> Floats:
    """A first guess of the shift, pixels, from the phases of both pictures at a quarter of their size."""
    if min(e0.shape) < 32:
        return np.zeros(2)
    a, b = (cv2.resize(v, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA) for v in (e0, p0))
    (x, y), _ = cv2.phaseCorrelate(a, b, cv2.createHanningWindow(a.shape[::-1], cv2.CV_32F))
    return np.array([4.0 * x, 4.0 * y])


def laid_under(room: Pixels, half: Pixels, known: Mask) -> tuple[Floats, float]:
    """The map, (2, 3), that lays the room under the picture, and the share of its steps that then agree.

    Gauss-Newton on the strongest steps of the room, with Tukey's biweight, since the figure hides some of them; first
    at half the size, then in full. Starts from no shift, and from that of the phases where that does not fit.
    """
    h, w = half.shape[:2]
    e0, p0 = _steps(room), _steps(half)
    hidden = cv2.erode(known.astype(np.uint8), np.ones((5, 5), np.uint8)) == 0
    moved, fit = _follow(e0, p0, hidden, np.zeros(6))
    if fit < FITS:
        shift = _start(e0, p0)
        again, better = _follow(e0, p0, hidden, np.array([*shift, 0, 0, 0, 0]))
        if better > fit:
            moved, fit = again, better
    x, y, xx, xy, yx, yy = moved
    return np.array([[1 + xx / w, xy / w, x - xx / 2 - xy * h / w / 2],
                     [yx / w, 1 + yy / w, y - yx / 2 - yy * h / w / 2]]), fit


def _follow(e0: Floats, p0: Floats, hidden: Mask, moved: Floats) -> tuple[Floats, float]:
    """The six numbers of :func:`_terms` that lay ``e0`` over ``p0``, from those given, and the share that agrees."""
    h, w = e0.shape
    fit = 1.0
    for part in (2, 1):
        if min(h, w) < 16 * part:
            return np.zeros(6), 1.0
        e, p = (cv2.GaussianBlur(v, (0, 0), 0.8 * part) for v in (e0, p0))
        mute = hidden
        if part > 1:
            e, p = (cv2.resize(v, (w // part, h // part), interpolation=cv2.INTER_AREA) for v in (e, p))
            mute = cv2.resize(hidden.astype(np.uint8), e.shape[::-1], interpolation=cv2.INTER_AREA) > 0
        across, down = cv2.Sobel(e, cv2.CV_32F, 1, 0, scale=1 / 8), cv2.Sobel(e, cv2.CV_32F, 0, 1, scale=1 / 8)
        steep = across * across + down * down
        steep[mute] = 0
        rim = 6 // part
        steep[:rim], steep[-rim:], steep[:, :rim], steep[:, -rim:] = 0, 0, 0, 0
        many = min(POINTS // part, steep.size // 2)
        at = np.argpartition(steep.ravel(), -many)[-many:]
        at = at[steep.ravel()[at] > FAINT**2][::2]  # half of them tell as much
        if len(at) < FEWEST:
            return np.zeros(6), 1.0
        rows, cols = (v.astype(np.float32) for v in np.divmod(at, e.shape[1]))
        move_x, move_y = _terms(cols * part, rows * part, h, w)
        slope = (across.ravel()[at, None] * move_x + down.ravel()[at, None] * move_y) / part
        there = e.ravel()[at]
        for _ in range(6):
            miss = _sampled(p, cols + move_x @ moved / part, rows + move_y @ moved / part) - there
            spread = max(1.4826 * float(np.median(np.abs(miss))), 0.01)
            trust = np.clip(1 - (miss / (4 * spread)) ** 2, 0, 1) ** 2
            left = slope * trust[:, None]
            stiff = 1e-6 * trust.sum() * np.diag([1, 1, 30, 30, 30, 30])
            step = np.linalg.solve(left.T @ slope + stiff, -left.T @ miss)
            moved = moved + step
            if np.abs(step).max() < 0.003:
                break
        strong = steep.ravel()[at]
        near = 0.5 * np.sqrt(strong) + 0.03
        miss = _sampled(p, cols + move_x @ moved / part, rows + move_y @ moved / part) - there
        fit, still = (float(strong @ (np.abs(m) < near) / strong.sum()) for m in (miss, p.ravel()[at] - there))
        if still >= fit:
            moved, fit = np.zeros(6), still
    return moved, fit


def _sampled(picture: Floats, x: Floats, y: Floats) -> Floats:
    """The picture's values, (n,), between its pixels."""
    side = int(np.ceil(np.sqrt(len(x))))
    places = np.zeros((2, side * side), np.float32)
    places[0, : len(x)], places[1, : len(x)] = x, y
    values = cv2.remap(picture, places[0].reshape(side, side), places[1].reshape(side, side), cv2.INTER_LINEAR,
                       borderMode=cv2.BORDER_REPLICATE)
    return values.ravel()[: len(x)]


# --------------------------------------------------------------------------------------------------------- its light


def log_ratio(picture: Floats, room: Floats) -> Floats:
    """Log of how much brighter the picture is, a channel each; both (h, w, 3) float32."""
    return cv2.log((picture + DARK) / (room + DARK))


def lit(room: Floats, light: Floats) -> Floats:
    """The room in another light (log, a channel each), (h, w, 3) float32."""
    return np.clip((room + DARK) * cv2.exp(light) - DARK, 0, 255)


def global_light(picture: Floats, room: Floats, weight: Floats) -> Floats:
    """How exposure, white balance and a smooth change of the light changed the room: (h, w, 3), log."""
    step = 4
    size = max(1, room.shape[1] // step), max(1, room.shape[0] // step)
    small = [cv2.resize(v, size, interpolation=cv2.INTER_AREA) for v in (picture, room, weight)]
    if float(small[2].sum()) < FEWEST:
        return np.zeros_like(room)
    # plate.surface discounts misses by levels: a hundredth of the log is about one of them.
    field = plate.surface(100.0 * log_ratio(small[0], small[1]), small[2], 5) / 100.0
    return cv2.resize(field.astype(np.float32), room.shape[1::-1], interpolation=cv2.INTER_LINEAR)


def local_light(picture: Floats, room: Floats, weight: Floats) -> Floats:
    """How the light on the room changed from place to place, shadows among it: (h, w, 3), log.

    ``weight`` (h, w) is how surely each pixel is room; under the figure the light is carried on.
    """
    size = max(1, room.shape[1] // 2), max(1, room.shape[0] // 2)
    ratio, trust = (cv2.resize(v, size, interpolation=cv2.INTER_AREA) for v in (log_ratio(picture, room), weight))
    mass = cv2.GaussianBlur(trust, (0, 0), 2.5)
    near = cv2.GaussianBlur(ratio * trust[..., None], (0, 0), 2.5) / np.maximum(mass, 1e-3)[..., None]
    far = plate.fill(near, np.minimum(mass, 1.0), across=1)
    return cv2.resize(far, room.shape[1::-1], interpolation=cv2.INTER_LINEAR)


# ------------------------------------------------------------------------------------------------- signs of a figure


def noise_between(picture: Floats, room: Floats) -> float:
    """Standard deviation of the noise, levels, from how two pictures of one room differ where it is calm."""
    if min(picture.shape[:2]) < 2:
        return 1.0
    rows = slice(None, None, max(1, len(picture) // ENOUGH_ROWS))
    one, other = (plate.summed(v[rows]) / 3.0 for v in (picture, room))
    difference = one - other
    step, own = (np.abs(v[:, 1:] - v[:, :-1]) for v in (difference, other))
    calm = own <= np.percentile(own[:, ::3], 40)
    return float(np.median(step[calm])) / plate.NORMAL / 2**0.5 + plate.LEAST_NOISE


def signs(picture: Floats, room: Floats, sigma: float, texture: bool = True) -> Floats:
    """What speaks at each pixel for or against a figure: (17, h, w), or (9, h, w) without the texture.

    How far it is off the room, in all and beside the lightness, in units of what noise and a nudge of the camera may
    do, there and on the mean round about; how much lighter, darker, and darker than any shadow it is (log); and how far
    room and picture have the same texture.
    """
    h, w = picture.shape[:2]
    found = np.empty((17 if texture else 9, h, w), np.float32)
    steep = cv2.morphologyEx(cv2.cvtColor(room, cv2.COLOR_BGR2GRAY), cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    bearable = cv2.sqrt(0.04 * steep * steep + (1.5 * sigma + 1.0) ** 2)
    shown, behind = cv2.split(picture + DARK), cv2.split(room + DARK)
    level, own = (((v[0] + v[1] + v[2]) * np.float32(1 / 3)) for v in (shown, behind))
    ratio = level / own
    miss: Floats = reduce(np.maximum, (cv2.absdiff(a, b) for a, b in zip(shown, behind, strict=True))) / bearable
    behind = [ratio * v for v in behind]
    rest: Floats = reduce(np.maximum, (cv2.absdiff(a, b) for a, b in zip(shown, behind, strict=True))) / bearable
    log, log_own = cv2.log(level), cv2.log(own)
    lighter = log - log_own
    for k, size in enumerate((1, 5, 15)):
        for j, v in enumerate((miss, rest)):
            cv2.log((v if size == 1 else cv2.blur(v, (size, size))) + 1.0, found[2 * k + j])
    small = bearable / own
    found[6], found[7] = np.clip(lighter, 0, 1), np.clip(-lighter, 0, 2)
    found[8] = np.clip(-1.1 - small - lighter, 0, 2)
    if not texture:
        return found
    squares = [log * log, log_own * log_own, log * log_own, small * small]
    for k, size in enumerate((5, 11)):
        a, b, aa, bb, ab, least = (cv2.blur(v, (size, size)) for v in (log, log_own, *squares))
        aa, bb, ab = np.maximum(aa - a * a, 0), np.maximum(bb - b * b, 0), ab - a * b
        apart: Floats = np.maximum(aa + bb - 2 * ab, 0) / least
        unlike, alike, rich, both = found[9 + 4 * k : 13 + 4 * k]
        cv2.log(apart + 0.1, unlike)
        np.divide(ab, cv2.sqrt((aa + least) * (bb + least)), out=alike)
        full: Floats = bb / least
        cv2.log(full + 0.1, rich)
        np.multiply(alike, np.clip(rich + 1, 0, 4), out=both)
    return found


def local_odds(found: Floats) -> Floats:
    """Log odds of figure, (h, w), from the signs alone."""
    odds: Floats = np.tensordot(LOCAL[:-1], found, 1) + LOCAL[-1]
    return np.clip(odds, -MOST, MOST)


def room_taken_away(picture: Floats, room: Floats, odds: Floats) -> tuple[Floats, Floats]:
    """The picture as it would look before a plain backdrop, and that backdrop, (h, w, 3) each.

    Where the signs speak for room only the ratio to it is kept, which is the shadow on it; its pattern is gone.
    """
    h, w = room.shape[:2]
    chance = trust.chance(cv2.blur(odds, (3, 3)))[..., None]
    plain = cv2.resize(room, (max(1, w // BLUNT), max(1, h // BLUNT)), interpolation=cv2.INTER_AREA)
    plain = cv2.GaussianBlur(cv2.resize(plain, (max(1, w // 4), max(1, h // 4)), interpolation=cv2.INTER_LINEAR),
                             (0, 0), BLUNT / 8)
    plain = cv2.resize(plain, (w, h), interpolation=cv2.INTER_LINEAR)
    shadowed = lit(plain, cv2.blur(log_ratio(picture, room), (3, 3)))
    return shadowed + chance * (picture - shadowed), plain


def body_odds(picture: Floats, plain: Floats, sigma: float, guess: Mask | None = None) -> Floats:
    """Log odds of figure, (h, w), by the network that knows bodies before plain backdrops.

    ``guess`` (h / 2, w / 2) tells where the figure is; without it the network looks at the whole picture first.
    """
    h, w = picture.shape[:2]
    shown = picture.astype(np.uint8)
    if guess is not None and guess.any():
        x, y, wide, high = cv2.boundingRect(guess.astype(np.uint8))
        box = (2 * y, 2 * (y + high), 2 * x, 2 * (x + wide))
        seen = figure_net.look(shown, plain, sigma, figure_net.widened(box, (h, w)))
    else:
        seen = figure_net.look(shown, plain, sigma, (slice(0, h), slice(0, w)), figure_net.FIRST_LONG)
        odds, flags = mask_cleanup.whole(seen.odds)
        if NO_FIGURE not in flags:
            seen = figure_net.look(shown, plain, sigma, figure_net.around(seen, odds, sigma, (h, w)))
    rows, cols = seen.window
    result = np.full((h, w), -NET_MOST, np.float32)
    result[seen.window] = cv2.resize(seen.odds, (cols.stop - cols.start, rows.stop - rows.start),
                                     interpolation=cv2.INTER_LINEAR)
    return np.clip(result, -NET_MOST, NET_MOST)


def _bins(*pictures: Pixels) -> tuple[list[NDArray[np.intp]], tuple[int, ...]]:
    """For each pixel of pictures of one size the number of its bin of place and colour; bins in each direction."""
    h, w = pictures[0].shape[:2]
    place = (np.arange(h) // CELL)[:, None] * ((w - 1) // CELL + 1) + (np.arange(w) // CELL)[None, :]
    shape = ((h - 1) // CELL + 1, (w - 1) // CELL + 1)
    colours = [cv2.split(cv2.LUT(cv2.cvtColor(p, cv2.COLOR_BGR2YCrCb), STEPS)) for p in pictures]
    limits = [[cv2.minMaxLoc(plane)[:2] for plane in c] for c in colours]
    low, most = np.min(limits, 0)[:, 0].astype(int), np.max(limits, 0)[:, 1].astype(int)
    many = most - low + 1
    numbers = []
    for colour in colours:
        number: NDArray[np.intp] = place
        for plane, first, steps in zip(colour, low, many, strict=True):
            number = number * steps + plane
            number -= first
        numbers.append(number)
    return numbers, (*shape, *(int(n) for n in many))


def _shared_out(counts: Floats) -> Floats:
    """Counts with half of each bin's number added to its neighbours', in every direction."""
    for axis in range(counts.ndim):
        lead = (slice(None),) * axis
        before, after = (*lead, slice(None, -1)), (*lead, slice(1, None))
        both = counts.copy()
        both[after] += 0.5 * counts[before]
        both[before] += 0.5 * counts[after]
        counts = both
    return counts


def colour_odds(picture: Pixels, room: Pixels, odds: Floats) -> tuple[Floats, Floats]:
    """Log odds, (h, w), by how surely pixels of like colour near by are figure; and by how rare it is in the room.

    ``odds`` (h, w) is what is known of each pixel so far.
    """
    (seen, own), shape = _bins(picture, room)
    total = int(np.prod(shape))

    def count(bins: NDArray[np.intp], weight: Floats | None = None) -> Floats:
        counts = np.bincount(bins.ravel(), None if weight is None else weight.ravel(), total)
        return np.asarray(_shared_out(counts.astype(np.float32).reshape(shape)).ravel()[seen])

    figure = count(seen, trust.chance(odds)) + FEW
    every = count(seen) + 4 * FEW
    behind = count(own) + FEW
    return np.log(figure / (every - figure)), np.log(figure / behind)


def _prior(person: NDArray[np.float32] | None, shape: tuple[int, int]) -> Floats:
    """Log odds of a person's cutter, (h, w); 0 where there is none."""
    if person is None or not person.size:
        return np.zeros(shape, np.float32)
    chance = np.clip(_fitted(person, shape), 0.02, 0.98)
    odds: Floats = np.log(chance / (1 - chance))
    return odds


def around(odds: Floats) -> tuple[slice, slice]:
    """Rows and columns of what is figure, with a margin."""
    x, y, w, h = cv2.boundingRect((odds > 0).astype(np.uint8))
    return slice(max(0, y - MARGIN), y + h + MARGIN), slice(max(0, x - MARGIN), x + w + MARGIN)


@dataclass(frozen=True)
class Look:
    """What is known of one picture before the last look. Half size, (h, w)."""

    half: Pixels
    picture: Floats
    behind: Floats
    """The room laid under it, in its own light."""
    even: Floats
    """The same in the light of the picture."""
    known: Floats
    """1 where that room is known, else 0."""
    sigma: float
    local: Floats
    """Log odds of the signs alone."""
    net: Floats
    """Log odds of the network that knows bodies."""
    own: Floats
    """Log odds of the person's cutter; 0 where there is none."""
    pose: Floats
    """Log odds of its colour at its height, in all pictures of the pose; 0 where there are no others."""
    odds: Floats
    """All together."""
    fit: float
    """Share of the room's steps that were found in the picture."""


def first_look(half: Pixels, room: Room, person: NDArray[np.float32] | None, other: Look | None = None) -> Look:
    """Lay the room under a half picture and ask each sign for itself.

    ``other`` is a look at the same picture and room with another map of the person's cutter: the rest of it is kept.
    """
    h, w = half.shape[:2]
    look = other or _laid(half, room)
    own = _prior(person, (h, w))
    # Where the room is not known the person's cutter speaks, and the picture stays as it is.
    local = np.where(look.known > 0, look.local, np.maximum(own, 0))
    guess = None if person is None else mask_cleanup.whole(own[::2, ::2])[0] > 0
    net = body_odds(*room_taken_away(look.picture, look.even, local), look.sigma, guess)
    return replace(look, net=net, own=own, odds=net + local * (look.known > 0) + own)


def _laid(half: Pixels, room: Room) -> Look:
    """The look at a half picture before the networks are asked."""
    h, w = half.shape[:2]
    empty = room.picture
    if empty.shape != half.shape:
        empty = np.asarray(cv2.resize(empty, (w, h)), np.uint8)
    known = cv2.resize(room.known.astype(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST) > 0
    moved, fit = room.laid or laid_under(empty, half, known)
    behind: Floats = cv2.warpAffine(empty, moved, (w, h), flags=cv2.INTER_CUBIC,
                                    borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    seen: Floats = known.astype(np.float32)
    if not known.all():
        seen = np.floor(cv2.warpAffine(seen, moved, (w, h), borderMode=cv2.BORDER_REPLICATE) + 0.01)
    picture = half.astype(np.float32)
    even = lit(behind, global_light(picture, behind, seen))
    sigma = noise_between(picture, even)
    local = local_odds(signs(picture, even, sigma))
    none = np.zeros((h, w), np.float32)
    pose = none if room.colours is None else (room.colours.ravel()[_pose_bins(half)] / 16.0).astype(np.float32)
    return Look(half, picture, behind, even, seen, sigma, local, none, none, pose, none, fit)


def second_signs(look: Look, odds: Floats, near: tuple[slice, slice]) -> tuple[Floats, Floats]:
    """What decides at the last look, (15, h2, w2) in the window; and the room with the shadows on it, (h, w, 3), of
    which nothing is said outside the window."""
    known, picture, behind, there = look.known[near], look.picture[near], look.behind[near], odds[near]
    shadowed = np.zeros_like(look.behind)
    shadowed[near] = lit(behind, local_light(picture, behind, (1 - trust.chance(there)) ** 2 * known))
    colours = colour_odds(look.half[near], shadowed[near].astype(np.uint8), there)
    smooth = cv2.blur(np.clip(there, -NET_MOST, NET_MOST), (7, 7))
    found = signs(picture, shadowed[near], look.sigma, texture=False)
    return np.stack([look.net[near], look.own[near], *colours, smooth, *found, look.pose[near]]), shadowed


def cut(pixels: Pixels, room: Room, person: NDArray[np.float32] | None = None) -> Cut:
    """Cut the figure out of one picture by what its room looks like without it.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, BGR
    room : Room
    person : (h2, w2) float32 or None
        Chance of figure, 0 to 1, over the whole picture, from a cutter that knows people, at any size.
    """
    if not _fits(pixels, room):
        return Cut(np.zeros(pixels.shape[:2], np.bool_), 0.0, "room", (CANNOT_TELL,))
    return _drawn(pixels, weighed(pixels, room, person))


def vouched(pixels: Pixels, room: Room, person: NDArray[np.float32]) -> tuple[Cut, float]:
    """The same cut, and its overlap (intersection over union) with what is cut out without the person's cutter.

    A room learned from the turn was learned by that cutter's maps; where the figure stays the same without them, the
    room knows it by itself.
    """
    if not _fits(pixels, room):
        return cut(pixels, room, person), 0.0
    done = weighed(pixels, room, person)
    alone = None if done is None else weighed(pixels, room, None, done.look)
    if done is None or alone is None:
        return _drawn(pixels, done), 0.0
    one, other = np.zeros((2, *done.look.half.shape[:2]), np.bool_)
    one[done.near], other[alone.near] = done.odds > 0, alone.odds > 0
    return _drawn(pixels, done), mask_cleanup.overlap(one, other)


def _fits(pixels: Pixels, room: Room) -> bool:
    return abs(room.shape[0] * pixels.shape[1] / (room.shape[1] * pixels.shape[0]) - 1) <= SHAPE_OFF


def _drawn(pixels: Pixels, done: Weighed | None) -> Cut:
    """The cut with its edge on the full picture; None is nobody."""
    if done is None:
        return Cut(np.zeros(pixels.shape[:2], np.bool_), 0.0, "room", (NO_FIGURE,))
    look, near = done.look, done.near
    sure = confidence(evidence(done.odds, done.found, look.known[near], look.fit))
    mask, softness = edge.refine(pixels, look.half, done.odds, look.sigma, near, behind=done.shadowed)
    return mask_cleanup.finished(mask, sure, "room", done.flags, softness)


@dataclass(frozen=True)
class Weighed:
    """What is known of one picture after the last look."""

    look: Look
    near: tuple[slice, slice]
    """The window of the half picture that was looked at."""
    found: Floats
    """Its signs, (15, h2, w2)."""
    shadowed: Floats
    """The room with the shadows on it, (h, w, 3)."""
    odds: Floats
    """Log odds of the one figure, (h2, w2)."""
    flags: tuple[str, ...]


def weighed(pixels: Pixels, room: Room, person: NDArray[np.float32] | None, other: Look | None = None
            ) -> Weighed | None:
    """Look twice at a picture, as :func:`cut` does; None where there is no figure. ``other``: :func:`first_look`."""
    look = first_look(halved(pixels), room, person, other)
    odds, flags = mask_cleanup.whole(look.odds)
    if NO_FIGURE in flags:
        return None
    near = around(odds)
    found, shadowed = second_signs(look, odds, near)
    odds, flags = mask_cleanup.whole(last_odds(found, room, look.known[near], person is not None))
    return None if NO_FIGURE in flags else Weighed(look, near, found, shadowed, odds, flags)


def last_odds(found: Floats, room: Room, known: Floats, person: bool) -> Floats:
    """Log odds of figure from the signs of the last look, (h2, w2)."""
    if room.colours is None:
        weights = WITH_PERSON if person else ALONE
        return np.asarray(np.tensordot(weights[:-1], found, 1) + weights[-1])
    there, hidden = (np.tensordot(v[:-1], found, 1) + v[-1] for v in (LEARNED, HIDDEN))
    odds = np.where(known > 0, there, hidden)
    if person:
        # A cutter that agrees with what is known of the room is right where it is not known too.
        one, other = odds > 0, found[OWN] > 0
        agreed = mask_cleanup.overlap(one, other)
        odds = odds + found[OWN] * np.clip((agreed - AGREED[0]) / (AGREED[1] - AGREED[0]), 0, 1)
    return odds


def evidence(odds: Floats, found: Floats, known: Floats, fit: float) -> Floats:
    """What tells how well a cut went, (4,): what its odds expect to lose (log), the share of its outline where picture
    and room look alike, whether another room fits as well, and one."""
    mask = (odds > 0).astype(np.uint8)
    rim = (mask - cv2.erode(mask, np.ones((3, 3), np.uint8))) > 0
    alike = float(((found[MISS] < ALIKE) & (known > 0))[rim].mean()) if rim.any() else 1.0
    lost = np.log(1.0 - min(trust.expected_overlap(odds), 1.0) + 0.002)
    return np.array([lost, alike, float(fit < FITS), 1.0])


def confidence(told: Floats) -> float:
    """The overlap with the true figure that may be expected, 0 to 1."""
    return float(np.clip(1.0 - np.exp(LOSS @ told), 0.0, 0.995))


# ---------------------------------------------------------------------------------------- the room learned from a turn


def _spread_out(chance: Floats) -> Floats:
    """The highest chance of figure round about each pixel, so that its edge is not taken for room, (h, w)."""
    reach = max(1, round(HALO * max(chance.shape)))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return np.asarray(cv2.dilate(chance, disc), np.float32)


def _fitted(person: NDArray[np.float32], shape: tuple[int, int]) -> Floats:
    """A map of chances at the size of the half picture."""
    chance: Floats = cv2.resize(person.astype(np.float32), shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.clip(np.nan_to_num(chance, nan=0.5), 0, 1)


def _pose_bins(picture: Pixels) -> NDArray[np.intp]:
    """For each pixel the number of its bin of height and colour, below :data:`POSE_BINS`."""
    ycc = cv2.cvtColor(picture, cv2.COLOR_BGR2YCrCb).astype(np.intp)
    band = np.arange(len(picture)) * BANDS // max(1, len(picture))
    tints = (np.clip((ycc[..., i] - 128) // TINT + TINTS // 2, 0, TINTS - 1) for i in (1, 2))
    number: NDArray[np.intp] = band[:, None] * LIGHTS + ycc[..., 0] // LIGHT
    for tint in tints:
        number = number * TINTS + tint
    return number


def learn(glimpses: Sequence[tuple[Pixels, NDArray[np.float32]]], shape: tuple[int, int]) -> Room | None:
    """The room behind a turning figure, or None where the camera moved or too little of it was seen.

    Parameters
    ----------
    glimpses : sequence of ((h, w, 3) uint8, (h2, w2) float32)
        Half pictures (:func:`halved`) of one pose, BGR, each with the chance of figure, 0 to 1, over the whole picture,
        from a cutter that may be wrong in places. Any number from :data:`FEWEST_GLIMPSES` on, of many some spread over
        the turn are looked at; those that do not fit the others are left out.
    shape : (height, width) of the working pictures
    """
    if len(glimpses) < FEWEST_GLIMPSES or len({g[0].shape for g in glimpses}) != 1:
        return None
    if len(glimpses) > MOST_GLIMPSES:
        glimpses = [glimpses[round(i)] for i in np.linspace(0, len(glimpses) - 1, MOST_GLIMPSES)]
    first = glimpses[len(glimpses) // 2][0]
    h, w = first.shape[:2]
    chances = [_fitted(c, (h, w)) for _, c in glimpses]
    free = [_spread_out(c) < 0.5 for c in chances]
    values, weights = [], []
    for (half, _), chance, own in zip(glimpses, chances, free, strict=True):
        both = own & free[len(glimpses) // 2]
        moved, fit = laid_under(half, first, both)
        if fit < FITS or np.abs(moved[:, 2]).max() > NUDGE * max(h, w):
            continue
        here, there = (cv2.warpAffine(v, moved, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
                       for v in (half.astype(np.float32), _spread_out(chance)))
        weight = (1 - there) ** 2
        light = global_light(first.astype(np.float32), here, weight * both)
        values.append(lit(here, light))
        weights.append(weight)
    if len(values) < max(FEWEST_GLIMPSES, MOST_FIT * len(glimpses)):
        return None
    seen, sure = np.stack(values), np.stack(weights)
    room, known = _agreed(seen, sure, _unmoved(seen, sure))
    if known.mean() < LEAST_KNOWN:
        return None
    figure, every = np.zeros(POSE_BINS, np.float64), np.zeros(POSE_BINS, np.float64)
    for (half, _), chance in zip(glimpses, chances, strict=True):
        bins = _pose_bins(half).ravel()
        figure += np.bincount(bins, chance.ravel(), POSE_BINS)
        every += np.bincount(bins, minlength=POSE_BINS)
    figure, every = (_shared_out(v.reshape(BANDS, LIGHTS, TINTS, TINTS)) for v in (figure, every))
    odds = np.log((figure + 1.0) / (every - figure + 4.0))
    return Room(room, known, shape, np.clip(odds * 16, -127, 127).astype(np.int8))


def _unmoved(values: Floats, weights: Floats) -> Mask:
    """What looks the same in all pictures, pattern and all, whatever the chances say of it: furniture, (h, w).

    One even colour may stay the same on a turning figure too, so there must be a pattern that stays; and where most of
    the figure stays the same it did not turn, and nothing can be said.
    """
    middle = np.median(values, axis=0)
    off = np.sort(plate.widest(values - middle), axis=0)[int(0.9 * (len(values) - 1))]
    typical = float(np.median(off))
    grey = cv2.cvtColor(middle, cv2.COLOR_BGR2GRAY)
    kernel = np.ones((3, 3), np.uint8)
    steep = cv2.dilate(grey, kernel) - cv2.erode(grey, kernel)
    same = (cv2.blur(off, (3, 3)) < 2 * typical + 1 + 0.2 * steep).astype(np.uint8)
    same = cv2.morphologyEx(same, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    core = weights.mean(0) < 0.1
    if not core.any() or float(same[core].mean()) > STILL:
        return np.zeros(same.shape, np.bool_)
    # The pattern has to be near by, so that an even part of the figure does not count with the thing it touches.
    near = 2 * max(1, round(HALO * max(same.shape))) + 1
    pattern = cv2.blur(((steep > 6 * typical) & (same > 0)).astype(np.float32), (3 * near, 3 * near))
    return (same > 0) & (pattern > PATTERN)


def _agreed(values: Floats, weights: Floats, unmoved: Mask) -> tuple[Pixels, Mask]:
    """The colour that most pictures agree on where nobody stands, (h, w, 3), and where enough of them do, (h, w).

    values (n, h, w, 3) in one light, weights (n, h, w): how surely each shows room; unmoved (h, w): what surely is.
    """
    weights = np.where(unmoved, 1.0, weights).astype(np.float32)
    order = np.argsort(plate.summed(values), axis=0)
    ranked = np.take_along_axis(weights, order, 0)
    half_way = np.argmax(np.cumsum(ranked, 0) >= 0.5 * ranked.sum(0), axis=0)
    pick = np.take_along_axis(order, half_way[None], 0)
    middle = np.take_along_axis(values, pick[..., None], 0)[0]
    grey = cv2.cvtColor(middle, cv2.COLOR_BGR2GRAY)
    kernel = np.ones((3, 3), np.uint8)
    bearable = AGREE + 0.1 * grey + 0.3 * (cv2.dilate(grey, kernel) - cv2.erode(grey, kernel))
    near = np.clip(1 - (plate.widest(values - middle) / bearable) ** 2, 0, 1) * weights
    mass = near.sum(0)
    mean = (values * near[..., None]).sum(0) / np.maximum(mass, 1e-3)[..., None]
    known = (mass > ENOUGH_SAW) & (mass > AGREEING * weights.sum(0))
    known = cv2.morphologyEx(known.astype(np.uint8), cv2.MORPH_OPEN, kernel) > 0
    filled = plate.fill(mean.astype(np.float32), known.astype(np.float32), across=1)
    return np.clip(np.where(known[..., None], mean, filled), 0, 255).astype(np.uint8), known
