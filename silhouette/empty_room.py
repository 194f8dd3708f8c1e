"""The picture of the room without the model: which of those at hand fits, and which stop or moment shows it too.

Nothing here stops a run but a picture that was asked for by name (``Settings.empty``) and cannot be read. Whatever else
is wrong with an empty picture is told in a note, and the figure is cut out without it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette.cutout import nobody, person_net, room
from silhouette.cutout.room import Room
from silhouette.errors import PictureError, SettingsError
from silhouette.intake import reel, stills
from silhouette.records import NO_FIGURE, Cut, FilmStops, Note, Pixels
from silhouette.settings import TRUST, Settings
from silhouette.texts import printable

SHAPE_OFF = 0.02
"""How far width over height of an empty picture may be from that of the stills, a share."""
END_S, FRAMES = 1.0, 7
"""Seconds at either end of a clip that may show nobody, and how many frames of them the middle is taken of."""
SPOT, STANDS = 0.8, 0.5
"""Share of the stops with a figure in the same place that makes it the spot, and how much of it a figure covers that
stands there."""
STANDING_S = 0.5
"""A figure that holds its first stop, or its last, so near to the clip's end, seconds, leaves no empty second."""


@dataclass(frozen=True)
class Empty:
    """The room without the model, ready to be handed to the cutting. Small, so that it goes to other processes."""

    room: Room
    shape: tuple[int, int]
    """(height, width) of the pictures that it is for, pixels."""

    def fits(self, pixels: Pixels) -> bool:
        """Whether a picture can be cut out with it."""
        return pixels.shape[:2] == self.shape


@dataclass(frozen=True, eq=False)
class Seen:
    """A few stops as they look on thumbnails, to hold an empty picture against."""

    shape: tuple[int, int]
    """(height, width) of the pictures worked at."""
    thumbs: NDArray[np.float32]
    """(n, h, w, 3), n at least 1."""
    which: tuple[int, ...]
    """The n stops' places among all stops."""


def seen(shapes: Sequence[tuple[int, int]], thumbs: Sequence[Any], which: Sequence[int]) -> Seen | None:
    """Those of the stops looked at that have the commonest shape; None of none."""
    if not shapes:
        return None
    shape, _ = Counter(shapes).most_common(1)[0]
    same = [k for k, one in enumerate(shapes) if one == shape]
    return Seen(shape, np.stack([thumbs[k] for k in same]), tuple(which[k] for k in same))


def made(pixels: Pixels) -> Empty:
    """What the cutting needs of an empty picture that has the size of the stops."""
    return Empty(room.from_empty(pixels), (pixels.shape[0], pixels.shape[1]))


# ---------------------------------------------------------------------------------------------- pictures called empty


def chosen(
    files: Sequence[Path], stops: Seen, settings: Settings, cut: Callable[[Pixels], Cut]
) -> tuple[Pixels | None, list[Note]]:
    """The first of the empty pictures that fits, in the size of the stops; and what is to be told of it and of others.

    Parameters
    ----------
    files : sequence of Path
        Pictures called empty, likeliest first; or the one that was asked for.
    stops : Seen
        A few stops of the pose.
    cut : callable
        Cuts a figure out of a picture without knowing the room.

    Raises
    ------
    SettingsError
        If the picture that was asked for cannot be read.
    """
    notes = []
    for path in files:
        name = printable(path.name)
        try:
            pixels = stills.read_still(path, settings.work_px).pixels
        except PictureError as error:
            if settings.empty is not None:
                raise unusable(error) from None
            notes.append(Note.of("empty unfit", name=name, cause="unreadable", why=error.what))
            continue
        cause = _shape_off(pixels.shape[:2], stops.shape)
        if cause is None:
            pixels = _fitted(pixels, stops.shape)
            cause = _wrong(pixels, stops, cut(pixels))
        if cause is None:
            return pixels, [*notes, Note.of("empty used", name=name)]
        notes.append(Note.of("empty unfit", name=name, cause=cause, why=None))
    return None, notes


def unusable(error: PictureError) -> SettingsError:
    """Why the picture that was asked for stops the run."""
    return SettingsError(error.what, path=error.path, do="Give a picture of the room without the model with --empty.")


def _shape_off(shape: tuple[int, ...], wanted: tuple[int, int]) -> str | None:
    """upright, wide or shape, where an empty picture cannot lie over the stops; shapes are (height, width)."""
    (h, w), (tall, broad) = shape, wanted
    if abs(w * tall / (h * broad) - 1) <= SHAPE_OFF:
        return None
    if (h > w) != (tall > broad) and h != w and tall != broad:
        return "upright" if h > w else "wide"
    return "shape"


def _fitted(pixels: Pixels, shape: tuple[int, int]) -> Pixels:
    if pixels.shape[:2] == shape:
        return pixels
    how = cv2.INTER_AREA if pixels.shape[0] > shape[0] else cv2.INTER_LINEAR
    return np.asarray(cv2.resize(pixels, shape[::-1], interpolation=how), dtype=np.uint8)


def _wrong(pixels: Pixels, stops: Seen, found: Cut) -> str | None:
    frame = nobody.thumb(pixels)
    if not nobody.same_room(frame, stops.thumbs):
        return "other room"
    if _trusted(found) and nobody.moves(frame, stops.thumbs, _small(found.mask, frame)):
        return "somebody"
    return None


# -------------------------------------------------------------------------------------- found among the stops by itself


def _trusted(cut: Cut | None) -> bool:
    return cut is not None and cut.confidence >= TRUST  # where there is no figure it is 0


@dataclass(frozen=True, eq=False)
class Manned:
    """A few stops with the figure in each of them, to tell by whether it is gone from another picture."""

    shape: tuple[int, int]
    thumbs: NDArray[np.float32]
    masks: NDArray[np.bool_]
    """(n, h, w) the figures, as large as the thumbnails."""


def manned(stops: Seen | None, cuts: Sequence[Cut | None]) -> Manned | None:
    """Those of the stops seen whose cuts are trusted; None of too few to tell anything by."""
    if stops is None:
        return None
    masks = {
        k: _small(cut.mask, stops.thumbs[k]) for k, i in enumerate(stops.which)
        if (cut := cuts[i]) is not None and _trusted(cut) and cut.mask.shape == stops.shape
    }
    if len(masks) < nobody.FEWEST:
        return None
    return Manned(stops.shape, stops.thumbs[list(masks)], np.stack(list(masks.values())))


def shows_nobody(pixels: Pixels, found: Cut, stops: Manned) -> bool:
    """Whether a picture, of which ``found`` was cut out, shows the room of these stops with nobody in it."""
    if _trusted(found) or pixels.shape[:2] != stops.shape:
        return False
    unseen = NO_FIGURE in person_net.cut_by(pixels, person_net.odds_of(pixels)).flags
    return nobody.nobody(nobody.thumb(pixels), stops.thumbs, stops.masks, unseen=unseen)


def unmanned(
    cuts: Sequence[Cut | None], stops: Manned, picture: Callable[[int], Pixels | None], among: Sequence[int]
) -> Iterator[tuple[int, Pixels]]:
    """Which of the stops ``among`` have no figure, because they show the empty room, each with its picture."""
    for k in among:
        cut = cuts[k]
        pixels = None if cut is None or _trusted(cut) else picture(k)
        if cut is not None and pixels is not None and shows_nobody(pixels, cut, stops):
            yield k, pixels


def at_the_ends(cuts: Sequence[Cut | None]) -> list[int]:
    """The stops before the first and after the last one whose figure is trusted; none where no stop has any."""
    manned = [k for k, cut in enumerate(cuts) if _trusted(cut)]
    return [k for k in range(len(cuts)) if not manned[0] <= k <= manned[-1]] if manned else []


def on_the_way(cuts: Sequence[Cut | None]) -> list[int]:
    """The stops at either end of a clip at which the model still walks in, or walks out already: their figures do not
    stand where those of nearly all stops do."""
    masks = [cut.mask for cut in cuts if cut is not None and _trusted(cut)]
    spot = np.mean(masks, axis=0) >= SPOT if masks else np.zeros(0, np.bool_)
    if not spot.any():
        return []
    stand = [k for k, cut in enumerate(cuts) if cut is not None and float(cut.mask[spot].mean()) >= STANDS]
    return [k for k in range(len(cuts)) if not stand[0] <= k <= stand[-1]] if stand else []


def empty_end(
    clip: Path, found: FilmStops, gone: Mapping[int, Pixels], work_px: int, shows: Callable[[Pixels], bool]
) -> tuple[str | None, Pixels | None]:
    """``first`` or ``last`` where the clip's first or last second shows nobody, and the median of that second.

    Parameters
    ----------
    found : FilmStops
    gone : mapping
        Stops at either end that show nobody, with their pictures.
    shows : callable
        Says of a picture whether it shows the room without the model.

    Raises
    ------
    FilmError
        If the clip cannot be read again.
    """
    for end, moments in _open_ends(found, gone).items():
        pixels = _middle_of(clip, moments, work_px)
        if shows(pixels):
            return end, pixels
    if gone:
        return "first" if 0 in gone else "last", next(iter(gone.values()))
    return None, None


def _open_ends(found: FilmStops, gone: Container[int]) -> dict[str, list[float]]:
    """Moments of the clip's first and last second, where no figure was held there."""
    times, last = found.times, len(found.holds) - 1
    begins, ends = float(times[0]), float(times[-1])
    parts = {}
    if 0 in gone or found.holds[0][0] > begins + STANDING_S:
        parts["first"] = times[times <= begins + END_S]
    if last in gone or found.holds[-1][1] < ends - STANDING_S:
        parts["last"] = times[times >= ends - END_S]
    return {
        end: [float(t) for t in part[np.unique(np.linspace(0, len(part) - 1, FRAMES).round().astype(int))]]
        for end, part in parts.items()
    }


def _middle_of(clip: Path, times: list[float], work_px: int) -> Pixels:
    """(h, w, 3) BGR: at each pixel the median of the frames at these moments."""
    return np.median(np.stack(list(reel.read_at(clip, times, work_px))), axis=0).astype(np.uint8)


def _small(mask: NDArray[np.bool_], frame: Any) -> NDArray[np.bool_]:
    size = frame.shape[1::-1]
    return np.asarray(cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0)
