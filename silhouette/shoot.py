"""The line for the shoot: check a turnaround while the model is there, keep it as a reference set."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from silhouette import scoring, tables, turnaround
from silhouette.check import family
from silhouette.errors import PoseError, SettingsError
from silhouette.export import reference_set, write_set
from silhouette.intake import film, stills
from silhouette.records import CANNOT_TELL, Mask, Note, Outline, Pixels, Pose, Stop, View
from silhouette.records_shoot import CheckReport, Held, SetLayout, SetView, Shot, StopLook
from silhouette.settings import TRUST, Paper, Settings
from silhouette.shape import outline
from silhouette.texts import printable
from silhouette.turn import estimate, rigidity, stance, steps
from silhouette.turn import respread as turns
from silhouette.writing import PHOTOGRAPHS, refuse, whole_folder

Floats = NDArray[np.float64]

LEAST_COMPARED = 8
"""Clear outlines from which one stop can be held against the others: one from every 45 degrees."""


@dataclass(frozen=True)
class Checked:
    """The check of one turnaround, with what its page is drawn from."""

    report: CheckReport
    outlines: tuple[Outline | None, ...]
    """The figure at each of the report's stops, in the camera's pixels."""
    notes: tuple[Note, ...]


def check_turnaround(
    path: str | Path,
    *,
    height_m: float | None = None,
    progress: turnaround.Progress | None = None,
    **settings: Any,
) -> Checked:
    """Say, while the model is still there, which stops to shoot again.

    Parameters
    ----------
    path : path-like
        A clip, or a folder of stills in the order shot. Stills that state no angle get theirs from their outlines.
    height_m : float, optional
        Height of the figure in the pose, metres: turns shares into centimetres and tells the camera's distance.
    **settings
        Fields of :class:`silhouette.settings.Settings`.

    Raises
    ------
    SilhouetteError
        If the pictures are of no use, or no figure is found in any of them.
    """
    place, tell = Path(path), progress or scoring.silent
    chosen = Settings().but(**settings)
    if height_m is not None and not 0.3 <= height_m <= 3:
        raise SettingsError(f"height is 0.3 to 3 m, not {height_m:g}.")
    with turnaround.workers(chosen.jobs) as run:
        gathered = turnaround.gather(place, chosen, run, tell, look=True)
    both = [(t, k) for t, k in zip(gathered.taken, gathered.looks, strict=True) if t.cut is not None and k is not None]
    seen, looks = [t for t, _ in both], [k for _, k in both]
    if not any(t.cut is not None and t.cut.mask.any() for t in seen):
        raise PoseError("no figure found.", path=place, do="Check the clip, the light and the backdrop.")
    notes: list[Note] = list(gathered.notes)
    if not gathered.angled:
        masks = [t.cut.mask if t.cut is not None and t.cut.confidence >= TRUST else None for t in seen]
        turned = estimate.estimate_angles(masks, start=chosen.start, turn=chosen.turn)
        seen = [
            replace(t, stop=replace(t.stop, angle=float(a), angle_from="outline", angle_sure=float(s)))
            for t, a, s in zip(seen, turned.angles, turned.sure, strict=True)
        ]
        notes += turned.notes
    report = family.ask(gathered.name, measure([t.stop for t in seen], looks, height_m=height_m))
    outlines = tuple(None if t.cut is None else outline.outline_of(t.cut.mask) for t in seen)
    return Checked(report, outlines, tuple(notes))


def measure(stops: Sequence[Stop], looks: Sequence[StopLook], *, height_m: float | None = None) -> Shot:
    """What all outlines of a turn together tell, for the questions of the check; takes some seconds for 25 stops.

    Parameters
    ----------
    stops : n stops in the order shot
    looks : n looks, one a stop, by :func:`silhouette.check.look.look_at`
    height_m : height of the figure in the room as it stands in the pose, metres, if known
    """
    turned = steps.turned_through([stop.angle for stop in stops])
    shot = Shot(
        tuple(stops), tuple(looks), turned, height_m, steps.usual_step(turned), tuple(steps.skipped(turned)),
        tuple(steps.repeated(turned, [look.mask for look in looks])),
    )
    sure = np.asarray([k for k, look in enumerate(looks) if look.mask.any() and look.confidence >= TRUST], np.int64)
    masks = [looks[k].mask for k in sure]
    if len(masks) < 2 or len({mask.shape for mask in masks}) > 1:
        return shot
    moved = stance.jump(masks)
    if moved is not None:
        return replace(shot, camera_moved=int(sure[moved]))
    if len(masks) < LEAST_COMPARED or not shot.angled:
        return shot
    return replace(shot, held=_held(masks, turned, sure), aside=_aside(masks, turned, sure))


def _held(masks: Sequence[Mask], turned: Floats, sure: NDArray[np.int64]) -> Held:
    """What the trusted outlines say of the pose, by the places of all stops."""
    held = rigidity.judge(masks, turned[sure])
    share = np.full(len(turned), np.nan)
    share[sure] = held.share
    return replace(held, moved=tuple(int(sure[k]) for k in held.moved), share=share)


def _aside(masks: Sequence[Mask], turned: Floats, sure: NDArray[np.int64]) -> Floats | None:
    found = stance.sideways(masks, turned[sure])
    if found is None:
        return None
    aside = np.full(len(turned), np.nan)
    aside[sure] = found
    return aside


def write_check(checked: Checked, out: Path, paper: Paper = "a4") -> list[str]:
    """``check.json``, ``check.pdf`` and ``check.png`` in the folder ``out``, whole or not at all."""
    from silhouette.show import check_page

    with whole_folder(out, "check") as folder:
        (folder / "check.json").write_text(tables.to_json(tables.check_to_dict(checked.report)), encoding="utf-8")
        for name in ("check.pdf", "check.png"):
            check_page.write_check_page(checked.report, checked.outlines, folder / name, paper=paper)
        return sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))


def export_set(
    path: str | Path,
    out: str | Path,
    *,
    name: str | None = None,
    height_m: float | None = None,
    pose_height_m: float | None = None,
    silhouettes_only: bool = False,
    originals: bool = False,
    crop: bool = False,
    print_scale: float | None = None,
    sheets_at: Sequence[float] | None = None,
    photos_in_page: bool = False,
    head_m: float | None = None,
    paper: Paper = "a4",
    overwrite: bool = False,
    progress: turnaround.Progress | None = None,
    **settings: Any,
) -> SetLayout:
    """Turn a turnaround into a private reference set in the new folder ``out`` and say how it was laid out.

    Parameters
    ----------
    path : path-like
        A folder of stills or a clip.
    name : str, optional
        What to call the stills; the folder's or clip's name by default.
    height_m, pose_height_m, head_m : float, optional
        The model's stature, the height of the figure in this pose, and the head from chin to crown, metres.
    sheets_at : sequence of float, optional
        Angles whose stops get sheets to scale; None: all.
    photos_in_page : bool
        Also write ``photographs/turnaround.html``, which turns the photographs; ``turnaround.html`` never holds any.
    silhouettes_only, originals, crop, print_scale, overwrite
        As in :func:`silhouette.export.write_set.export`.
    **settings
        Fields of :class:`silhouette.settings.Settings`.

    Raises
    ------
    SilhouetteError
        If the pictures are of no use, or the set cannot be written; then nothing is left behind.
    """
    tell = progress or scoring.silent
    refuse(Path(out), [Path(path)], kind="set", overwrite=overwrite)
    chosen = Settings().but(**settings)
    heights = {"pose_height_m": pose_height_m, "model_height_m": height_m, "head_m": head_m}
    reference_set.refuse_heights(**heights)
    if print_scale is not None:
        write_set.refuse_scale(print_scale, pose_height_m or height_m)
    elif sheets_at is not None:
        raise SettingsError("sheets_at picks the sheets to scale, but no scale is given.", do="Give --scale 1:4 too.")
    pose, notes = respread(_pose_to_keep(Path(path), chosen, tell), chosen)
    views = [set_view(v) for v in pose.views if not v.inferred and v.problem is None]
    layout = reference_set.lay_out(printable(name or pose.name), views, **heights)
    pages = pages_for(
        layout,
        photos=not silhouettes_only,
        photos_in_page=photos_in_page and not silhouettes_only,
        originals=originals,
        print_scale=print_scale,
        sheets_at=sheets_at,
        paper=paper,
    )
    write_set.export(
        layout, out, silhouettes_only=silhouettes_only, originals=originals, crop=crop, print_scale=print_scale,
        pages=pages, overwrite=overwrite, progress=tell,
    )
    return replace(layout, notes=(*notes, *layout.notes))


def respread(pose: Pose, settings: Settings) -> tuple[Pose, tuple[Note, ...]]:
    """The pose with the angles that its outlines tell, where its stills state none and a stop was left out or shot
    twice; and its notes, which then say so, or say that the outlines doubt the even angles."""
    shot = sorted((v for v in pose.views if not v.inferred and v.problem is None), key=lambda v: v.stop.index)
    if settings.span != 360 or not shot or any(v.stop.angle_from != "spread" for v in shot):
        return pose, pose.notes
    masks = [v.mask if CANNOT_TELL not in v.flags else None for v in shot]
    told = turns.respread(masks, [v.angle for v in shot], start=settings.start, turn=settings.turn)
    if told is None or not (told.better or told.moved):
        return pose, pose.notes
    if not told.better:
        k = told.moved[0]
        doubt = Note.of("angles doubted", name=shot[k].name, angle=shot[k].angle, told=float(told.angles[k]))
        return pose, (*pose.notes, doubt)
    views = [
        replace(v, stop=replace(v.stop, angle=float(a), angle_from="outline", angle_sure=float(s)))
        for v, a, s in zip(shot, told.angles, told.sure, strict=True)
    ]
    note = Note.of(
        "angles from outlines",
        sure=float(np.median(told.sure[1:])),
        missing_after=[shot[k].name for k in told.skipped],
        repeats=[(shot[k + 1].name, shot[k].name) for k in told.repeated],
    )
    others = (n for n in pose.notes if n.kind != "angles spread")
    return replace(pose, views=tuple(views)), (note, *others)


def _pose_to_keep(place: Path, settings: Settings, tell: turnaround.Progress) -> Pose:
    """The pose as it was read; at least one of its pictures can be kept."""
    with turnaround.workers(settings.jobs) as run:
        pose = scoring.read_pose(place, settings, run, tell, None)
    if not any(not v.inferred and v.problem is None for v in pose.views):
        raise PoseError("none of its pictures can be read.", path=place, do="Copy them from the camera again.")
    return pose


def set_view(view: View) -> SetView:
    """One stop of the set; a black shape only where the cut is trusted."""
    trusted = view.outline is not None and CANNOT_TELL not in view.flags
    line = view.outline if trusted else None
    return SetView(
        angle=view.angle,
        name=view.name,
        angle_from=view.stop.angle_from,
        outline=line,
        scale=1.0 if line is None else line.picture_size[0] / view.full_size[0],
        full_size=view.full_size,
        read=partial(read_full, view.stop.source, view.stop.time),
        angle_sure=view.stop.angle_sure,
        time=view.stop.time,
    )


def read_full(source: Path, time: float | None) -> Pixels:
    """The whole picture, upright, sRGB: a still, or the frame of a clip at ``time`` seconds."""
    if film.is_clip(source):
        return film.read_full(source, time or 0.0)
    return stills.read_full(source)


def pages_for(
    layout: SetLayout,
    *,
    photos: bool,
    photos_in_page: bool,
    originals: bool,
    print_scale: float | None,
    sheets_at: Sequence[float] | None,
    paper: Paper,
) -> dict[str, Callable[[], bytes | str]]:
    """What makes each page of the set, by its place in the set; photographs are read once, and only if they go in."""
    from silhouette.show import flip, set_sheets, words_check

    @cache
    def pictures() -> dict[str, Pixels]:
        return write_set.small_pictures(layout)

    pages: dict[str, Callable[[], bytes | str]] = {
        "about.txt": lambda: words_check.about_set(
            layout, photographs=photos, originals=originals, print_scale=print_scale
        ),
        "contact_sheet.pdf": lambda: set_sheets.contact_sheet(layout, kind="pdf", paper=paper),
        "contact_sheet.png": lambda: set_sheets.contact_sheet(layout, kind="png", paper=paper),
        "turnaround.html": lambda: flip.flip_page(layout),
    }
    if print_scale is not None:
        pages["to_scale.pdf"] = lambda: set_sheets.scale_sheets(
            layout,
            pose_mm=write_set.print_height(layout, print_scale),
            words=words_check.scale(layout, print_scale),
            paper=paper,
            angles=sheets_at,
        )
    folder = PHOTOGRAPHS
    if photos:
        pages[f"{folder}/contact_sheet.pdf"] = lambda: set_sheets.contact_sheet(
            layout, kind="pdf", paper=paper, photos=pictures()
        )
        pages[f"{folder}/contact_sheet.png"] = lambda: set_sheets.contact_sheet(
            layout, kind="png", paper=paper, photos=pictures()
        )
    if photos and photos_in_page:
        pages[f"{folder}/turnaround.html"] = lambda: flip.flip_page(layout, photos=pictures())
    return pages
