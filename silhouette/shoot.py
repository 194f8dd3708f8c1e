"""The line for the shoot: check a turnaround while the model is there, keep it as a reference set."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from silhouette import in_space, ring_check, tables, turnaround
from silhouette.check import family, made_out
from silhouette.errors import PictureError, PoseError, SettingsError
from silhouette.export import reference_set, write_set
from silhouette.geometry.orbit import StopCamera
from silhouette.intake import film, stills
from silhouette.known import Memory
from silhouette.records import Cut, Mask, Note, Outline, Pixels, RingCamera, Stop
from silhouette.records_shoot import CheckReport, Held, SetCloseUp, SetLayout, SetView, Shot, StopLook
from silhouette.settings import TRUST, Paper, Ring, Settings
from silhouette.shape import outline
from silhouette.texts import printable
from silhouette.turn import estimate, on_the_spot, rigidity, stance, steps
from silhouette.turnaround import Rings, Turnaround
from silhouette.writing import CLOSE_UPS, PHOTOGRAPHS, refuse, whole_folder

Floats = NDArray[np.float64]

LEAST_COMPARED = 8
"""Clear outlines from which one stop can be held against the others: one from every 45 degrees."""


CLOSE_UP_PX = 700
"""Longer side of a close-up on its sheet, pixels: three of them side by side on paper need no more."""

OF_ANGLES = ("angles found", "angles not told", "stops without outline", "camera moved")
"""Notes that speak of the turn's angles."""


@dataclass(frozen=True)
class Checked:
    """The check of one turnaround, with what its page is drawn from."""

    report: CheckReport
    outlines: tuple[Outline | None, ...]
    """The figure at each of the report's stops, in the camera's pixels."""
    notes: tuple[Note, ...]
    """Of a pose in several rings those of all of it; each ring has its own."""
    rings: tuple[tuple[Ring, Checked], ...] = ()
    """Of a pose in several rings each by itself, in the order of RINGS."""

    @property
    def all_notes(self) -> tuple[Note, ...]:
        """Those of all of it, then of each ring, named."""
        each = [Note.of("of ring", ring=ring, note=note.plain) for ring, one in self.rings for note in one.notes]
        return (*self.notes, *each)


def check_turnaround(
    path: str | Path | Turnaround | Rings,
    *,
    height_m: float | None = None,
    progress: turnaround.Progress | None = None,
    known: Memory | None = None,
    **settings: Any,
) -> Checked:
    """Answer, while the model is still there, what of a turnaround must be shot again.

    Of a pose that was shot in several rings each is checked by itself, and all against each other.

    Parameters
    ----------
    path : path-like, Turnaround or Rings
        A clip, a folder of stills in the order shot, or one that holds rings; or what
        :func:`silhouette.turnaround.ingest` or :func:`silhouette.turnaround.ingest_rings` made of it.
    height_m : float, optional
        Height of the figure in the pose, metres: turns shares into centimetres and tells the camera's distance.
    known : Memory, optional
        Silhouettes already cut, see ``known.py``; None remembers nothing.
    **settings
        Fields of :class:`silhouette.settings.Settings`; of a Turnaround they are known.

    Raises
    ------
    SilhouetteError
        If the pictures are of no use, or no figure is found in any of them.
    """
    if height_m is not None and not 0.3 <= height_m <= 3:
        raise SettingsError(f"height is 0.3 to 3 m, not {height_m:g}.")
    rings = rings_of(path, settings, progress, known, looks=True)
    if not rings.several:
        taken = _taken(turnaround.watched(rings.main))
        alone = _asked(taken, _measured(taken, height_m))
        return replace(alone, notes=(*rings.notes, *alone.notes))
    return _check_rings(rings, height_m, progress or turnaround.silent)


def _check_rings(rings: Rings, height_m: float | None, tell: turnaround.Progress) -> Checked:
    """Each ring by itself, held against where its camera stood, and all against each other."""
    taken = {one.ring: _taken(turnaround.watched(one)) for one in rings.all}
    seen: dict[Ring, ring_check.RingSeen | None] = {}
    for k, (ring, one) in enumerate(taken.items()):
        tell(f"{rings.name}: finding the cameras", k, len(taken))
        seen[ring] = ring_check.seen_alone(one.stops, one.looks)
    tell(f"{rings.name}: holding rings together", 0, 1)
    strays = ring_check.find_strays({ring: one.stops for ring, one in taken.items()}, seen)
    shots = {
        ring: replace(_measured(one, height_m, ring_check.own_cameras(ring, seen[ring], strays)), ring=ring)
        for ring, one in taken.items()
    }
    together = ring_check.together(shots, seen, strays, in_space.in_space(rings), height_m=height_m)
    checked = {ring: _asked(one, shots[ring]) for ring, one in taken.items()}
    report = family.ask_together(rings.name, together, {ring: one.report for ring, one in checked.items()})
    lines = tuple(line for one in checked.values() for line in one.outlines)
    return Checked(report, lines, rings.notes, tuple(checked.items()))


@dataclass(frozen=True)
class _Taken:
    """The stops of one turnaround whose pictures could be used."""

    turnaround: Turnaround
    stops: tuple[Stop, ...]
    cuts: tuple[Cut, ...]
    looks: tuple[StopLook, ...]
    turned: Floats | None
    """As the turnaround has it, from the first of these stops."""


def _taken(shot: Turnaround) -> _Taken:
    seen = [
        (k, stop, cut, look)
        for k, (stop, cut, look) in enumerate(zip(shot.stops, shot.cuts, shot.looks or (), strict=True))
        if cut is not None and look is not None
    ]
    if not any(cut.mask.any() for _, _, cut, _ in seen):
        raise PoseError("no figure found.", path=shot.source, do="Check the clip, the light and the backdrop.")
    turned = None if shot.turned is None else shot.turned[[k for k, *_ in seen]] - shot.turned[seen[0][0]]
    _, stops, cuts, looks = zip(*seen, strict=True)
    return _Taken(shot, stops, cuts, looks, turned)


def _measured(
    taken: _Taken, height_m: float | None, cameras: Mapping[int, StopCamera] | None = None
) -> Shot:
    return measure(taken.stops, taken.looks, height_m=height_m, turned=taken.turned, cameras=cameras)


def _asked(taken: _Taken, shot: Shot) -> Checked:
    """One turnaround, checked by itself."""
    notes = taken.turnaround.notes
    if shot.no_turn is not None:  # it has no angles that anything could be said of
        notes = tuple(note for note in notes if note.kind not in OF_ANGLES)
    outlines = tuple(outline.outline_of(cut.mask) for cut in taken.cuts)
    return Checked(family.ask(taken.turnaround.name, shot), outlines, notes)


def rings_of(
    place: str | Path | Rings | Turnaround, settings: dict[str, Any], progress: turnaround.Progress | None,
    known: Memory | None = None, *, looks: bool = False,
) -> Rings:
    """All rings of a pose, or what lies at its place; a turnaround that was read already is a pose of one ring."""
    if isinstance(place, Rings | Turnaround):
        if settings:
            raise SettingsError(
                f"{', '.join(settings)}: a turnaround that was read already keeps the settings it was read with.",
                do="Give them to ingest.",
            )
        return place if isinstance(place, Rings) else Rings(place.name, place.source, place.settings, (place,))
    chosen = Settings().but(**settings)
    with turnaround.workers(chosen.jobs) as run:
        return turnaround.ingest_rings(
            place, chosen, run=run, tell=progress or turnaround.silent, known=known, looks=looks)


def measure(
    stops: Sequence[Stop], looks: Sequence[StopLook], *, height_m: float | None = None, turned: Floats | None = None,
    cameras: Mapping[int, StopCamera] | None = None,
) -> Shot:
    """What all outlines of a turn together tell, for the questions of the check; takes some seconds for 25 stops.

    Parameters
    ----------
    stops : n stops in the order shot
    looks : n looks, one a stop, by :func:`silhouette.check.look.look_at`
    height_m : height of the figure in the room as it stands in the pose, metres, if known
    turned : (n,) degrees turned since the first stop, where more is known of them than the stops' angles say
    cameras : by stops, those with a clear outline, where they are known: the pose is then judged by them
    """
    turned = steps.turned_through([stop.angle for stop in stops]) if turned is None else turned
    sure = np.asarray(made_out.made_out(looks), np.int64)
    if cameras:
        sure = np.asarray([k for k in sure if k in cameras], np.int64)
    masks = [looks[k].mask for k in sure]
    shot = Shot(tuple(stops), tuple(looks), turned, height_m, steps.usual_step(turned))
    seen = list(sure) if shot.by_outlines else None
    shot = replace(
        shot, skipped=tuple(steps.skipped(turned, seen)), repeated=_repeated(shot, sure),
        angles_told=_angles_told(stops, sure),
        no_turn=on_the_spot.judge(
            _trusted(looks, sure), [look.thumb for look in looks], turned, by_outlines=shot.by_outlines),
    )
    if shot.no_turn is not None:  # whatever angles were fitted to it are none
        unsure = tuple(replace(s, angle_sure=max(s.angle_sure or 0.0, estimate.NOT_TOLD)) for s in stops)
        return replace(shot, stops=unsure)
    if len(masks) < 2 or len({mask.shape for mask in masks}) > 1 or not made_out.enough(looks):
        return shot
    moved = stance.jump(masks)
    if moved is not None and not on_the_spot.camera_stood(
        [look.thumb for look in looks], _trusted(looks, sure), int(sure[moved - 1]), int(sure[moved])
    ):
        return replace(shot, camera_moved=int(sure[moved]))
    told = shot.angled and (shot.angles_told or not shot.by_outlines)
    if len(masks) < LEAST_COMPARED or not told:
        return shot
    return replace(shot, held=_held(masks, turned, sure, cameras), aside=_aside(masks, turned, sure))


def _angles_told(stops: Sequence[Stop], sure: NDArray[np.int64]) -> bool:
    """Whether the outlines of a clip told its angles; of stills, :attr:`Shot.angled` says it.

    A body that turns can be fitted to any few outlines, so less than LEAST_COMPARED of them tell nothing.
    """
    known = [stops[k].angle_sure or 0.0 for k in sure if k]
    told = len(sure) >= LEAST_COMPARED and bool(known) and float(np.median(known)) < estimate.NOT_TOLD
    return stops[0].angle_from != "clip" or told


def _repeated(shot: Shot, sure: NDArray[np.int64]) -> tuple[int, ...]:
    """Stops whose view the next one shows again, as far as both were made out or their names say so."""
    found = steps.repeated(shot.turned, _trusted(shot.looks, sure))
    return tuple(k for k in found if not shot.by_outlines or {k, k + 1} <= set(sure))


def _trusted(looks: Sequence[StopLook], sure: NDArray[np.int64]) -> list[Mask | None]:
    """(n) the outlines that can be trusted, None for the others."""
    known = set(sure)
    return [look.mask if k in known else None for k, look in enumerate(looks)]


def _held(
    masks: Sequence[Mask], turned: Floats, sure: NDArray[np.int64], cameras: Mapping[int, StopCamera] | None
) -> Held:
    """What the trusted outlines say of the pose, by the places of all stops."""
    held = rigidity.judge(masks, turned[sure], cameras=[cameras[int(k)] for k in sure] if cameras else ())
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


def write_check(checked: Checked, out: Path, paper: Paper = "a4", known: Memory | None = None) -> list[str]:
    """``check.json``, ``check.pdf`` and ``check.png`` in the folder ``out``, whole or not at all; and what is ``known``
    for the next run."""
    from silhouette.show import check_page

    with whole_folder(out, "check") as folder:
        (folder / "check.json").write_text(tables.to_json(tables.check_to_dict(checked.report)), encoding="utf-8")
        for name in ("check.pdf", "check.png"):
            check_page.write_check_page(checked.report, checked.outlines, folder / name, paper=paper)
        if known is not None:
            known.write(folder)
        return sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))


def export_set(
    path: str | Path | Rings | Turnaround,
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
    known: Memory | None = None,
    **settings: Any,
) -> SetLayout:
    """Turn a turnaround into a private reference set in the new folder ``out`` and say how it was laid out.

    Parameters
    ----------
    path : path-like, Rings or Turnaround
        A folder of stills, of rings and close-ups, or a clip; or what :func:`silhouette.turnaround.ingest_rings` or
        :func:`silhouette.turnaround.ingest` made of it.
    name : str, optional
        What to call the stills; the folder's or clip's name by default.
    height_m, pose_height_m, head_m : float, optional
        The model's stature, the height of the figure in this pose, and the head from chin to crown, metres.
    sheets_at : sequence of float, optional
        Angles whose stops get sheets to scale; None: all. Of several rings the level one has such sheets.
    photos_in_page : bool
        Also write ``photographs/turnaround.html``, which turns the photographs; ``turnaround.html`` never holds any.
    silhouettes_only, originals, crop, print_scale, overwrite
        As in :func:`silhouette.export.write_set.export`.
    known : Memory, optional
        Silhouettes already cut, as for :func:`check_turnaround`; a set keeps none itself.
    **settings
        Fields of :class:`silhouette.settings.Settings`.

    Raises
    ------
    SilhouetteError
        If the pictures are of no use, or the set cannot be written; then nothing is left behind.
    """
    tell = progress or turnaround.silent
    given = Settings().but(**settings)
    sources = [Path(path)] if isinstance(path, str | Path) else [path.source, *path.settings.ring_places.values()]
    sources += [*given.ring_places.values(), *([Path(given.empty)] if given.empty else [])]
    refuse(Path(out), sources, kind="set", overwrite=overwrite)
    heights = {"pose_height_m": pose_height_m, "model_height_m": height_m, "head_m": head_m}
    reference_set.refuse_heights(**heights)
    if print_scale is not None:
        write_set.refuse_scale(print_scale, pose_height_m or height_m)
    elif sheets_at is not None:
        raise SettingsError("sheets_at picks the sheets to scale, but no scale is given.", do="Give --scale 1:4 too.")
    shot = rings_of(path, settings, progress, known)
    views = [set_view(stop, cut) for one in shot.all for stop, cut in zip(one.stops, one.cuts, strict=True)
             if cut is not None]
    if not views:
        raise PoseError("none of its pictures can be read.", path=shot.source, do="Copy them from the camera again.")
    together = in_space.in_space(shot) if shot.several else in_space.InSpace()
    sizes = _sizes(shot, together.cameras, pose_height_m / height_m if pose_height_m and height_m else 1.0)
    layout = reference_set.lay_out(
        printable(name or shot.name), views, **heights, cameras=together.cameras, sizes=sizes)
    details, unread = ((), []) if silhouettes_only else close_ups(layout.name, shot)
    layout = replace(
        layout, close_ups=details, blind_spots=together.blind_spots,
        close_ups_left_out=sum(len(one.files) for one in shot.close_ups) if silhouettes_only else 0,
        notes=(*layout.notes, *unread, *_of_scale(layout, print_scale)),
    )
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
        pages=pages, pictures=full_pictures(layout, shot), overwrite=overwrite, progress=tell,
    )
    told = [Note.of("of ring", ring=one.ring, note=n.plain) if shot.several else n for one in shot.all
            for n in one.notes]
    return replace(layout, notes=(*shot.notes, *together.notes, *told, *layout.notes))


def close_ups(name: str, shot: Rings) -> tuple[tuple[SetCloseUp, ...], list[Note]]:
    """The pictures of details for a set called ``name``, and what is to be told of those that cannot be read."""
    found, unread = list[SetCloseUp](), list[Note]()
    stems = reference_set.close_up_stems(name, shot.close_ups)
    for one, (shows, names) in zip(shot.close_ups, stems, strict=True):
        for file, stem in zip(one.files, names, strict=True):
            try:
                small = stills.read_still(file, CLOSE_UP_PX).pixels
            except PictureError as error:
                unread.append(Note.of("close-up unread", name=shows, file=printable(file.name), why=error.what))
            else:
                found.append(SetCloseUp(shows, stem, partial(stills.read_full, file), small))
    return tuple(found), unread


def _sizes(shot: Rings, cameras: Mapping[Ring, RingCamera], top: float) -> dict[Ring, float]:
    """Pixels of the full picture for the model's stature at the turning axis, of each ring whose camera is known."""
    sizes: dict[Ring, float] = {}
    for one in shot.all:
        longer = max(max(stop.full_size) for stop in one.stops)
        size = reference_set.pixels_per_stature(cameras[one.ring], longer, top) if one.ring in cameras else None
        if size is not None:
            sizes[one.ring] = size
    return sizes


def _of_scale(layout: SetLayout, print_scale: float | None) -> list[Note]:
    """What sheets to scale leave out, of several rings."""
    if print_scale is None or not layout.rings:
        return []
    level = any(figure.ring == "level" for figure in layout.figures)
    return [Note.of("level ring to scale" if level else "no ring to scale")]


def set_view(stop: Stop, cut: Cut) -> SetView:
    """One stop of the set; a black shape only where the cut is trusted."""
    line = outline.outline_of(cut.mask) if cut.confidence >= TRUST else None
    return SetView(
        angle=stop.angle,
        name=stop.name,
        angle_from=stop.angle_from,
        outline=line,
        scale=1.0 if line is None else line.picture_size[0] / stop.full_size[0],
        full_size=stop.full_size,
        read=partial(read_full, stop.source, stop.time),
        angle_sure=stop.angle_sure,
        time=stop.time,
        ring=stop.ring,
    )


def read_full(source: Path, time: float | None) -> Pixels:
    """The whole picture, upright, sRGB: a still, or the frame of a clip at ``time`` seconds."""
    if film.is_clip(source):
        return film.read_full(source, time or 0.0)
    return stills.read_full(source)


def full_pictures(layout: SetLayout, shot: Rings) -> Iterator[tuple[str, Pixels]]:
    """The stem and the full picture of every stop of a set, ring by ring; those of a clip in the order shot, so that
    none of its frames is decoded twice."""
    for one in shot.all:
        views = [(stem, view) for stem, view in layout.views if view.ring == one.ring]
        if film.is_clip(one.source):
            views.sort(key=lambda named: named[1].time or 0.0)
            frames = film.read_at(one.source, [view.time or 0.0 for _, view in views], None)
            yield from zip((stem for stem, _ in views), frames, strict=True)
        else:
            yield from ((stem, view.read()) for stem, view in views if view.read is not None)


def _close_up_sheet(_: write_set.Small, *, layout: SetLayout, kind: str, paper: Paper) -> bytes:
    from silhouette.show import set_sheets

    return set_sheets.close_up_sheet(layout, kind=kind, paper=paper)


def pages_for(
    layout: SetLayout,
    *,
    photos: bool,
    photos_in_page: bool,
    originals: bool,
    print_scale: float | None,
    sheets_at: Sequence[float] | None,
    paper: Paper,
) -> dict[str, Callable[[write_set.Small], bytes | str]]:
    """What makes each page of the set out of the photographs by stem, by its place in the set."""
    from silhouette.show import flip, set_sheets, words_set

    pages: dict[str, Callable[[write_set.Small], bytes | str]] = {
        "about.txt": lambda _: words_set.about_set(
            layout, photographs=photos, originals=originals, print_scale=print_scale
        ),
        "contact_sheet.pdf": lambda _: set_sheets.contact_sheet(layout, kind="pdf", paper=paper),
        "contact_sheet.png": lambda _: set_sheets.contact_sheet(layout, kind="png", paper=paper),
        "turnaround.html": lambda _: flip.flip_page(layout),
    }
    level = layout.of("level") if layout.rings else layout
    if print_scale is not None and level.figures:
        pages["to_scale.pdf"] = lambda _: set_sheets.scale_sheets(
            level,
            pose_mm=write_set.print_height(layout, print_scale),
            words=words_set.scale(layout, print_scale),
            paper=paper,
            angles=sheets_at,
        )
    folder = PHOTOGRAPHS
    if photos:
        pages[f"{folder}/contact_sheet.pdf"] = lambda small: set_sheets.contact_sheet(
            layout, kind="pdf", paper=paper, photos=small
        )
        pages[f"{folder}/contact_sheet.png"] = lambda small: set_sheets.contact_sheet(
            layout, kind="png", paper=paper, photos=small
        )
    if layout.close_ups:
        for kind in ("pdf", "png"):
            pages[f"{folder}/{CLOSE_UPS}.{kind}"] = partial(_close_up_sheet, layout=layout, kind=kind, paper=paper)
    if photos and photos_in_page:
        pages[f"{folder}/turnaround.html"] = lambda small: flip.flip_page(layout, photos=small)
    return pages
