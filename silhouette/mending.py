"""Cut-outs mended by hand: every still of a pose with its cut-out, in one page that works without a network.

The rings of a pose share the page, and all their masks go into the pose's own folder, called after ring and still:
``low_045.mask.png``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import turnaround
from silhouette.cutout import patches
from silhouette.errors import PictureError, PoseError, SettingsError
from silhouette.intake import reel, rings, stills
from silhouette.records import GIVEN_MASK, NO_FIGURE, Cut, Pixels, Stop
from silhouette.settings import TRUST, Settings
from silhouette.show import mend_page
from silhouette.texts import printable
from silhouette.writing import refuse_file, whole_file


@dataclass(frozen=True)
class Mended:
    """The page that was written."""

    page: Path
    stills: int
    doubted: int
    """Stills in it whose cut-out is not trusted."""
    size: int
    """Bytes."""
    left_out: tuple[str, ...]
    """One sentence for each still that cannot be read."""


def write_mend_page(
    place: str | Path,
    out: str | Path,
    *,
    only: Sequence[str] = (),
    progress: turnaround.Progress = turnaround.silent,
    **settings: Any,
) -> Mended:
    """Write the page on which a person mends the cut-outs of a pose by a few taps.

    Parameters
    ----------
    place : path-like
        A folder of stills, one still, or a clip.
    out : path-like
        The page, a name that ends in ``.html``.
    only : sequence of str, optional
        Names of stills, with or without their ending; none means all. Of a pose with rings also ``low`` for all stills
        of a ring, and ``low_045`` for one.
    progress : callable, optional
        Told what is being done and how far it is.
    **settings
        Fields of :class:`silhouette.settings.Settings`.

    Raises
    ------
    SilhouetteError
        If there is no pose, no still of that name, or the page may not be written there.
    """
    place, out = Path(place), Path(out)
    if out.suffix.lower() != ".html":
        raise SettingsError(f"-o {out} is not a page to open in a browser.", do="Give a name that ends in .html.")
    turnaround.refuse_missing(place)
    refuse_file(out, [place])
    chosen = Settings().but(**settings)
    if chosen.ring_places:
        raise SettingsError("this page takes the rings in the pose's own folder.",
                            do="Leave --ring RING=PLACE out, and mend what lies there by itself.")
    with turnaround.workers(chosen.jobs) as run:
        pose = turnaround.ingest_rings(place, chosen, run=run, tell=progress)
    home = _home(pose, place)
    wanted = _wanted(pose, only)
    shown, left_out, first, many = [], [], None, sum(map(len, wanted))
    for shot, these in zip(pose.all, wanted, strict=True):
        for stop, cut, pixels in _pictures(shot, these):
            first = first or stop.source
            if pixels is None:
                left_out.append(stop.problem or f"{printable(stop.source)}: cannot be read any more.")
                continue
            shown.append(_one(stop, cut, pixels, _shown_as(stop, pose.several), _is_clip(shot), home))
            progress(f"{pose.name}: parting", len(shown), many)
    if not shown or first is None:
        raise PoseError("holds no picture that can be read.", path=place)
    shown.sort(key=lambda one: (one.state in ("trusted", "by hand"), one.confidence))
    masks = stills.masks_folder(first).name if home is None and _is_clip(pose.main) else None
    folder = turnaround.whole_path(home or first.parent).name
    page = mend_page.mend_page(pose.name, shown, folder=folder, masks_folder=masks, rings=home is not None)
    whole_file(out, page.encode(), sealed=True)
    doubted = sum(one.state not in ("trusted", "by hand") for one in shown)
    return Mended(out, len(shown), doubted, out.stat().st_size, tuple(left_out))


def _is_clip(shot: turnaround.Turnaround) -> bool:
    return not shot.source.is_dir() and reel.is_clip(shot.source)


def _home(pose: turnaround.Rings, place: Path) -> Path | None:
    """The folder that takes the masks of all rings; None where each lies beside its still, or in its clip's folder.

    A ring that is mended by itself keeps to the masks that were made for it beside the others'."""
    if pose.several:
        return place
    return next((mask.parent for stop in pose.main.stops if (mask := _among_others(stop)) is not None), None)


def _among_others(stop: Stop) -> Path | None:
    """The mask by hand of a ring's stop, if it lies where those of all rings do."""
    mask = stop.given_mask
    if mask is None or reel.is_clip(stop.source):
        return mask if mask is not None and mask.parent == stop.source.parent else None
    return mask if mask == stills.mask_beside_ring(stop.source) else None


def _wanted(pose: turnaround.Rings, only: Sequence[str]) -> list[list[int]]:
    """Numbers of the stops that were asked for, ring by ring."""
    called = [[_names(stop, pose.several) for stop in shot.stops] for shot in pose.all]
    everything = set[str]().union(*(names for ring in called for names in ring))
    for name in only:
        if name.casefold() not in everything:
            there = [_shown_as(stop, pose.several) for shot in pose.all for stop in shot.stops]
            raise SettingsError(f"No still is called {printable(name)}.", do=f"They are called {', '.join(there)}.")
    asked = {name.casefold() for name in only}
    return [[i for i, names in enumerate(ring) if not asked or names & asked] for ring in called]


def _names(stop: Stop, by_ring: bool) -> set[str]:
    """What a still may be asked for as."""
    names = {stop.name.casefold(), printable(stop.source.name).casefold()}
    if not by_ring:
        return names
    short = rings.without_mark(stop.name).casefold()
    return names | {stop.ring, f"{stop.ring} {short}", f"{stop.ring}_{short}"}


def _shown_as(stop: Stop, by_ring: bool) -> str:
    """What a still is called on the page: ``low 045`` where its pose has several rings."""
    return f"{stop.ring} {rings.without_mark(stop.name)}" if by_ring else stop.name


def _pictures(
    shot: turnaround.Turnaround, wanted: Sequence[int]
) -> Iterator[tuple[Stop, Cut | None, Pixels | None]]:
    """The stops that are wanted with their cut-outs and pictures; None where a picture cannot be read."""
    stops = [shot.stops[i] for i in wanted]
    if _is_clip(shot):
        frames = reel.read_at(shot.source, [stop.time or 0.0 for stop in stops], shot.settings.work_px)
        for stop, i, pixels in zip(stops, wanted, frames, strict=True):
            yield stop, shot.cuts[i], pixels
        return
    for stop, i in zip(stops, wanted, strict=True):
        try:
            pixels = stills.read_still(stop.source, shot.settings.work_px).pixels
        except PictureError:
            yield stop, None, None
        else:
            yield stop, shot.cuts[i], pixels


def _file(stop: Stop, of_clip: bool, home: Path | None) -> str:
    """What a mask is to be called: in ``home``, where all rings' lie, else beside its still or in its clip's folder."""
    if of_clip:
        return f"{stop.source.stem.casefold() + '_' if home else ''}{stop.name}{stills.MASK_SUFFIX}"
    beside = stills.mask_beside_ring(stop.source) if home not in (None, stop.source.parent) else None
    return (beside or stills.mask_place(stop.source)).name


def _one(
    stop: Stop, cut: Cut | None, pixels: Pixels, called: str, of_clip: bool, home: Path | None
) -> mend_page.MendStop:
    """One still as the page takes it; where there is no cut-out all is still to be made."""
    h, w = pixels.shape[:2]
    if cut is None or cut.mask.shape != (h, w):
        cut = Cut(np.zeros((h, w), np.bool_), 0.0, "backdrop", (NO_FIGURE,))
    pieces = patches.part(pixels, cut.mask, cut.doubt)
    if len(pieces.inside) > mend_page.MOST_PIECES:
        raise PictureError("its cut-out falls into too many scraps to be mended by hand.", path=stop.source,
                           do="Leave it out with --only, or give a smaller --work-px.")
    state: mend_page.State = "trusted"
    if GIVEN_MASK in cut.flags:
        state = "by hand"
    elif NO_FIGURE in cut.flags:
        state = "no figure"
    elif cut.confidence < TRUST:
        state = "doubted"
    return mend_page.MendStop(
        name=called,
        beside=printable(stop.source.relative_to(home).as_posix() if home else stop.source.name),
        file=_file(stop, of_clip, home),
        state=state,
        confidence=cut.confidence,
        pixels=pixels,
        small=pieces.small,
        inside=pieces.inside,
        large=pieces.large,
        doubtful=pieces.doubtful,
    )
