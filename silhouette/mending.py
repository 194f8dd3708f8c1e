"""Cut-outs mended by hand: every still of a pose with its cut-out, in one page that works without a network."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import turnaround
from silhouette.cutout import patches
from silhouette.errors import PictureError, PoseError, SettingsError
from silhouette.intake import reel, stills
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
        Names of stills, with or without their ending; none means all.
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
    with turnaround.workers(chosen.jobs) as run:
        shot = turnaround.ingest(place, chosen, run=run, tell=progress)
    wanted = _wanted(shot.stops, only)
    shown, left_out = [], []
    for stop, cut, pixels in _pictures(shot, wanted):
        if pixels is None:
            left_out.append(stop.problem or f"{printable(stop.source)}: cannot be read any more.")
            continue
        shown.append(_one(stop, cut, pixels, _is_clip(shot)))
        progress(f"{shot.name}: parting", len(shown), len(wanted))
    if not shown:
        raise PoseError("holds no picture that can be read.", path=place)
    shown.sort(key=lambda one: (one.state in ("trusted", "by hand"), one.confidence))
    source = shot.stops[wanted[0]].source
    masks = stills.masks_folder(source).name if _is_clip(shot) else None
    folder = turnaround.whole_path(source.parent).name
    page = mend_page.mend_page(shot.name, shown, folder=folder, masks_folder=masks).encode()
    whole_file(out, page, sealed=True)
    doubted = sum(one.state not in ("trusted", "by hand") for one in shown)
    return Mended(out, len(shown), doubted, out.stat().st_size, tuple(left_out))


def _is_clip(shot: turnaround.Turnaround) -> bool:
    return not shot.source.is_dir() and reel.is_clip(shot.source)


def _wanted(stops: Sequence[Stop], only: Sequence[str]) -> list[int]:
    """Numbers of the stops that were asked for."""
    called = [{stop.name.casefold(), printable(stop.source.name).casefold()} for stop in stops]
    for name in only:
        if not any(name.casefold() in names for names in called):
            raise SettingsError(f"No still is called {printable(name)}.",
                                do=f"They are called {', '.join(stop.name for stop in stops)}.")
    asked = {name.casefold() for name in only}
    return [i for i, names in enumerate(called) if not asked or names & asked]


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


def _one(stop: Stop, cut: Cut | None, pixels: Pixels, of_clip: bool) -> mend_page.MendStop:
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
        name=stop.name,
        beside=printable(stop.source.name),
        file=(stop.name + stills.MASK_SUFFIX) if of_clip else stills.mask_place(stop.source).name,
        state=state,
        confidence=cut.confidence,
        pixels=pixels,
        small=pieces.small,
        inside=pieces.inside,
        large=pieces.large,
        doubtful=pieces.doubtful,
    )
