"""Whether the model holds still, found while the frames come in, and which of the last frames is the stillest.

From one frame to the next the change of the brightness where it changes most, over the slope of the brightness at the
figure's edge, is how far that edge has moved. In figure heights a second it depends neither on the light nor on the
colour of the clothes, the size of the figure or the rate of the frames: a figure that sways while it holds stays under
0.6 %, one that steps on to the next stop reaches 3 to 4 %.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.intake.pauses import CONTRAST, otsu
from silhouette.records import Mask, Pixels

Thumb = NDArray[np.float32]

THUMB_PX = 160
"""Longer side of the brightness pictures that are compared, pixels; as in ``intake/film.py``."""
MOST_CHANGED, OF_REGION = 0.01, 0.1
"""The change is taken where this share of the picture changes more, or that share of what lies about the figure."""
ABOUT = 0.06
"""Width of what is looked at about the figure, figure heights: a limb that moves leaves the last outline."""
DARK = 8.0
"""Levels added before a ratio of brightness is taken, so that noise in the dark makes none."""
LEAST_SLOPE = 1.5
"""Levels a pixel: a figure whose slopes are less hardly differs from its backdrop, and its motion cannot be told."""
NOISE = 3.8
"""The change where it is largest, over the median change, where there is noise and nothing else."""
LEVEL, LEAST_LEVEL, MOST_LEVEL = 0.010, 0.007, 0.022
"""Speed that parts holds from moves, figure heights a second, while nothing is known of this model; and the range in
which it follows what was seen of them."""
REMEMBERED_S, ENOUGH = 25.0, 40
"""Seconds of speeds from which the level is found, and how many of them there must be."""
HOLD_S = 0.36
"""Seconds of calm that make a hold. The shortest ones of a brisk turn last 0.65."""
TWITCH_S = 0.2
"""A burst no longer than this that leaves the same picture behind is a twitch and ends no hold, seconds."""
SAME = 0.004
"""How far the edges may lie apart, figure heights, for two pictures to be the same but for sway."""
SWAY, SWAY_PULL = 0.02, 20.0
"""How far a figure may sway, figure heights; and the change, levels, that pulls half as much as a small one."""
REAL_MOVE_S = 0.15
"""Seconds of motion that are a move."""
LONGEST_STEP_S = 0.5
"""Frames farther apart than this say nothing of what was in between."""


def thumbnail(pixels: Pixels) -> Thumb:
    """Brightness of a frame, (h, w, 3) BGR, at :data:`THUMB_PX`, slightly blurred, 0 to 255."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY)
    scale = THUMB_PX / max(grey.shape)
    size = max(1, round(grey.shape[1] * scale)), max(1, round(grey.shape[0] * scale))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(small, (0, 0), 1.0), np.float32)


@dataclass(frozen=True, eq=False)
class Region:
    """Where the figure is, at the size of the thumbnails."""

    about: Mask
    """(h, w) the figure and what lies about it."""
    core: Mask
    """(h, w) the figure with its edge."""
    height: float
    """Of the figure, thumbnail pixels."""
    steep: float = 90.0
    """Percentile of the slopes in the core that stands for the figure's edge."""


def region_of(mask: Mask | None, shape: tuple[int, int]) -> Region:
    """The region of a figure's mask, of any size, in thumbnails of ``shape``; the whole picture where there is none."""
    small = np.zeros(shape, np.uint8) if mask is None else cv2.resize(
        mask.astype(np.uint8), shape[::-1], interpolation=cv2.INTER_AREA)
    rows = np.flatnonzero(small.any(axis=1))
    if not len(rows):
        everywhere = np.ones(shape, np.bool_)
        return Region(everywhere, everywhere, 0.6 * shape[0], 99.0)
    height = int(rows[-1] - rows[0] + 1)
    wide = 2 * max(1, round(ABOUT * height)) + 1
    return Region(cv2.dilate(small, np.ones((wide, wide), np.uint8)) > 0,
                  cv2.dilate(small, np.ones((3, 3), np.uint8)) > 0, float(height))


def edge_slope(thumb: Thumb, region: Region) -> float:
    """How steep the brightness is at the figure's edge, levels a pixel."""
    across, down = (cv2.Sobel(thumb, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1)))
    slopes = np.hypot(across[region.core], down[region.core])
    return max(float(np.percentile(slopes, region.steep)), LEAST_SLOPE)


def without_sway(one: Thumb, other: Thumb, region: Region) -> Thumb:
    """``one`` slid and leaned so that it lies on ``other`` as well as it may: who sways has not turned.

    Gauss-Newton for three numbers (across, down, lean at the head), each at most :data:`SWAY` figure heights.
    """
    gain = float(np.median((other[::3, ::3] + DARK) / (one[::3, ::3] + DARK)))
    lit = gain * (one + DARK) - DARK
    rows, columns = np.nonzero(region.about)
    up = ((rows.max() - rows) / region.height).astype(np.float32)
    most = SWAY * region.height
    found: Thumb = np.zeros(3, np.float32)
    y, x = np.indices(one.shape, np.float32)
    rise = np.asarray((rows.max() - y) / region.height, np.float32)
    moved: Thumb = np.asarray(lit, np.float32)
    for _ in range(3):
        across, down = (cv2.Sobel(moved, cv2.CV_32F, *way, scale=1 / 8)[rows, columns] for way in ((1, 0), (0, 1)))
        slopes = np.stack([across, down, across * up], axis=1)
        miss = (moved - other)[rows, columns]
        weight = 1 / (1 + (miss / SWAY_PULL) ** 2)
        normal = (slopes * weight[:, None]).T @ slopes + 1e-3 * np.eye(3, dtype=np.float32)
        found = np.asarray(found + np.linalg.solve(normal, (slopes * weight[:, None]).T @ miss), np.float32)
        found = np.asarray(np.clip(found, -most, most), np.float32)
        moved = np.asarray(cv2.remap(lit, x - found[0] - found[2] * rise, y - found[1], cv2.INTER_LINEAR,
                                     borderMode=cv2.BORDER_REPLICATE), np.float32)
    return np.asarray((moved + DARK) / gain - DARK, np.float32)


def apart(one: Thumb, other: Thumb, region: Region, slope: float) -> float:
    """How far the edges about the figure moved between two pictures, figure heights.

    A change of the light common to all is taken out, and so is what noise alone would change. Edges that moved by
    more than the blur are all as far apart: about 0.02.
    """
    gain = float(np.median((other[::3, ::3] + DARK) / (one[::3, ::3] + DARK)))
    off = np.abs(other + DARK - gain * (one + DARK))
    where = off[region.about]
    rank = max(1, round(min(MOST_CHANGED * off.size, OF_REGION * len(where))))
    most = float(np.partition(where, len(where) - rank)[len(where) - rank])
    noise = NOISE * float(np.median(off[::2, ::2]))
    return float(np.sqrt(max(most * most - noise * noise, 0.0))) / slope / region.height


@dataclass(frozen=True, eq=False)
class Moment:
    """One frame, as far as motion goes."""

    number: int
    seconds: float
    thumb: Thumb
    speed: float
    """Since the frame before, figure heights a second."""
    before: float
    """Seconds since the frame before; 0 where that is too long ago to be compared."""


@dataclass
class Stillness:
    """Holds and moves of one camera, frame by frame."""

    kept: int
    """How many of the last frames the page still has when an answer reaches it."""
    region: Region | None = None
    moving: bool = True
    calm_since: float | None = None
    """When the calm began that lasts until now, seconds."""
    moved_s: float = 0.0
    """Seconds of motion since :meth:`mark`."""
    level: float = LEVEL
    _moments: deque[Moment] = field(default_factory=lambda: deque(maxlen=12))
    _speeds: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=500))
    _twitch: tuple[Moment, float] | None = None
    """The last calm moment before a burst, and since when it had been calm."""

    @property
    def last(self) -> Moment:
        return self._moments[-1]

    def feed(self, number: int, seconds: float, pixels: Pixels) -> Moment:
        """Take the next frame."""
        thumb = thumbnail(pixels)
        before = self._moments[-1] if self._moments else None
        if before is not None and before.thumb.shape != thumb.shape:
            before, self.region = None, None
            self._moments.clear()
        if self.region is None:
            self.region = region_of(None, thumb.shape)
        gap = 0.0 if before is None else seconds - before.seconds
        if before is None or not 0 < gap <= LONGEST_STEP_S:
            now = Moment(number, seconds, thumb, 0.0, 0.0)
            self.calm_since, self.moving, self._twitch = seconds, False, None
        else:
            speed = apart(before.thumb, thumb, self.region, edge_slope(thumb, self.region)) / gap
            now = Moment(number, seconds, thumb, speed, gap)
            self._judge(before, now)
        self._moments.append(now)
        return now

    def about(self, mask: Mask | None) -> None:
        """Look about this figure from now on; (h, w) of the frame, None for the whole picture."""
        if self._moments:
            self.region = region_of(mask, self._moments[-1].thumb.shape)

    def holds(self, at_least: float = HOLD_S) -> bool:
        """Whether it has been calm for so many seconds."""
        return self.calm_since is not None and bool(self._moments) and (
            self.last.seconds - self.calm_since >= at_least - 1e-6)

    def mark(self) -> None:
        """Count the motion from now on anew."""
        self.moved_s = 0.0

    def has_moved(self) -> bool:
        """Whether there was a real move since :meth:`mark`."""
        return self.moved_s >= REAL_MOVE_S

    def stillest(self) -> Moment:
        """The stillest of the last frames that the page still has, within this calm; the later of two alike.

        The newest frame is taken only where there is no other: nothing is known yet of what comes after it.
        """
        usable = list(self._moments)[-self.kept:]
        since = self.calm_since if self.calm_since is not None else self.last.seconds
        inside = [(a, b) for a, b in pairwise(usable) if a.seconds > since]
        if not inside:
            return usable[-1]
        worst = [max(a.speed, b.speed) for a, b in inside]
        best = min(range(len(inside)), key=lambda k: (round(worst[k] / self.level, 1), -k))
        return inside[best][0]

    def off(self, other: Thumb) -> float:
        """How far the edges lie from those of an earlier picture, figure heights, sway apart."""
        if self.region is None or other.shape != self.last.thumb.shape:
            return 1.0
        now = self.last.thumb
        settled = without_sway(other, now, self.region)
        return apart(settled, now, self.region, edge_slope(now, self.region))

    def _judge(self, before: Moment, now: Moment) -> None:
        self._speeds.append((now.seconds, now.speed))
        self.level = self._level_of(now.seconds)
        self.moving = now.speed > self.level
        if self.moving:
            if self.calm_since is not None:
                self._twitch = (before, self.calm_since)
            self.calm_since = None
            self.moved_s += now.before
        elif self.calm_since is None:
            self.calm_since = before.seconds
            self._forgive(before, now)

    def _forgive(self, before: Moment, now: Moment) -> None:
        """A short burst that left the same picture behind was no move: the calm before it goes on."""
        if self._twitch is None or self.region is None:
            return
        calm, since = self._twitch
        self._twitch = None
        burst = before.seconds - calm.seconds
        slope = edge_slope(now.thumb, self.region)
        if burst <= TWITCH_S and apart(calm.thumb, now.thumb, self.region, slope) < SAME:
            self.calm_since = since
            self.moved_s = max(0.0, self.moved_s - burst)

    def _level_of(self, now: float) -> float:
        """The speed that parts holds from moves, from those of the last seconds where these show two kinds."""
        while self._speeds and now - self._speeds[0][0] > REMEMBERED_S:
            self._speeds.popleft()
        if len(self._speeds) < ENOUGH:
            return LEVEL
        logs = np.log(np.maximum([speed for _, speed in self._speeds], LEVEL / 20))
        parted = otsu(logs)
        slow, fast = logs[logs < parted], logs[logs >= parted]
        if not len(slow) or not len(fast) or np.exp(np.median(fast) - np.median(slow)) < CONTRAST:
            return LEVEL
        return float(np.clip(np.exp(parted), LEAST_LEVEL, MOST_LEVEL))
