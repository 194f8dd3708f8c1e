"""From the outlines of a turn to the figure in space: joints, a massing model, an armature that can be bent tonight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import in_space, ring_check, shoot, tables, turnaround
from silhouette.errors import AnglesError, PoseError, SettingsError
from silhouette.export import massing_files
from silhouette.in_space import LEAST_STOPS, WIDEST_GAP, Seen
from silhouette.intake.tape import read_tape
from silhouette.known import Memory
from silhouette.records import CUT_BY_FRAME, Cut, Mask, Note, Stop
from silhouette.records_shoot import StopLook
from silhouette.records_space import Armature, Gain, Profile, Sizes, Skeleton, Solid, Taped
from silhouette.settings import EVERY_MM, LEAST_MM, PROFILES, SCALE, TRUST, Paper
from silhouette.space import hull, massing, sections, skeleton, stature
from silhouette.texts import printable
from silhouette.turnaround import Rings, Turnaround
from silhouette.writing import whole_folder

CELL_M = 0.005
"""Cells of the hull, metres of the figure."""
APART = 0.005
"""Statures by which the joints of a ring lie off those of all, on the whole, from which it does more harm than good.
Of 35 turns it is 0.0036 at most, of one, where it was 0.008, the hull of all rings lost a tenth of the figure."""
ELEVATIONS = (0.0, 90.0)
"""Angles of the level views of the armature sheet: from the front and from the figure's right."""


def armature_of(
    path: str | Path | Turnaround | Rings,
    *,
    height_m: float,
    pose_height_m: float | None = None,
    scale: float = SCALE,
    shrinkage: float = 0.0,
    tape: str | Path | None = None,
    fit_to_tape: bool = False,
    least_mm: float = LEAST_MM,
    every_mm: float = EVERY_MM,
    base: bool = True,
    progress: turnaround.Progress | None = None,
    known: Memory | None = None,
    **settings: Any,
) -> Armature:
    """Find the figure in space from the outlines of a whole turn, or of several, shot low, level and high.

    Parameters
    ----------
    path : path-like, Turnaround or Rings
        A folder of stills, a clip or an exported set; or what :func:`silhouette.turnaround.ingest` or
        :func:`silhouette.turnaround.ingest_rings` made of it.
    height_m : float
        The model's stature, metres, 0.5 to 2.5.
    pose_height_m : float, optional
        Height of the figure as it poses, metres; by default it is found from the lengths of the bones.
    scale : float
        4.0 for 1:4; 0.5 to 100.
    shrinkage : float
        Per cent by which the material shrinks from what is built to the finished piece, 0 to 30.
    tape : path-like, optional
        ``tape.csv``: lengths measured on the model, held against what was found.
    fit_to_tape : bool
        Take the size from the tape instead of the heights.
    least_mm, every_mm : float
        Least thickness of the massing model, and from one section to the next; millimetres as built.
    base : bool
        Stand the massing model on a base.
    known : Memory, optional
        Silhouettes already cut, see ``known.py``; None remembers nothing.
    **settings
        Fields of :class:`silhouette.settings.Settings`; of a Turnaround they are known.

    Raises
    ------
    SilhouetteError
        If the pictures do not show a whole turn of one figure, or a size makes no sense.
    """
    _refuse_sizes(height_m, pose_height_m, scale, shrinkage, least_mm, every_mm)
    if fit_to_tape and tape is None:
        raise SettingsError("the sizes are to be taken from the tape, but none is given.", do="Give --tape FILE too.")
    measured = () if tape is None else read_tape(Path(tape))
    tell = progress or turnaround.silent
    shot = shoot.rings_of(path, settings, progress, known, looks=True)
    shot = replace(shot, all=tuple(turnaround.watched(one) for one in shot.all))
    tell(f"{shot.name}: joints", 0, 3)
    seen, notes = _usable_rings(shot)
    found, seen, odd = in_one_frame(seen)
    stops, masks = [stop for one in seen for stop in one.stops], [mask for one in seen for mask in one.masks]
    tell(f"{shot.name}: massing model", 1, 3)
    how_tall = (height_m, pose_height_m, measured if fit_to_tape else ())
    found, carved, figure, how = _in_metres(masks, found, *how_tall)
    top = float(figure.vertices[:, 2].max())
    sizes = Sizes(height_m, top, how, scale, shrinkage)
    model, base_mm = massing.massing(carved, sizes, least_mm=least_mm, base=base)
    tell(f"{shot.name}: sections", 2, 3)
    agreement = hull.agreement(figure, masks, found.cameras)
    names = [f"{one.ring}/{stop.name}" if len(seen) > 1 else stop.name for one in seen for stop in one.stops]
    return _told(sizes, found, figure, every_mm, name=printable(shot.name), massing=model,
                 base_mm=base_mm, agreement=agreement, stops=tuple(names),
                 angles_from=stops[0].angle_from, tape=skeleton.hold(measured, found), fitted_to_tape=fit_to_tape,
                 notes=(*notes, *odd, *found.notes), rings=tuple(one.ring for one in seen) if shot.several else (),
                 gain=_gain(seen, found, *how_tall) if len(seen) > 1 else None)


def _usable_rings(shot: Rings) -> tuple[list[Seen], list[Note]]:
    """What can be used of every ring, the main ring first, and what is to be said of it; a ring that cannot be used is
    named, as long as one is left.

    Raises
    ------
    PoseError, AnglesError
        Where none can be used: why the main ring cannot.
    """
    seen, notes, errors = [], [*shot.notes], []
    for one in sorted(shot.all, key=lambda one: one is not shot.main):
        try:
            stops, cuts, told = _usable(one, shot.several)
        except (PoseError, AnglesError) as error:
            errors.append(error)
            notes.append(Note.of("ring left out", ring=one.ring, why=error.what))
            continue
        places = {stop.name: k for k, stop in enumerate(one.stops)}
        seen.append(Seen(one.ring, [places[stop.name] for stop in stops], stops, [cut.mask for cut in cuts]))
        told = [*one.notes, *told]
        notes += [Note.of("of ring", ring=one.ring, note=n.plain) for n in told] if shot.several else told
    if not seen:
        raise errors[0]
    return seen, notes


def in_one_frame(seen: list[Seen]) -> tuple[Skeleton, list[Seen], list[Note]]:
    """The skeleton and the rings that it was made of; rings that show another pose are left out, and named."""
    if len(seen) == 1:
        return in_space.alone(seen[0].stops, seen[0].masks), seen, []
    found = in_space.together(seen)
    if found is None:
        return in_space.alone(seen[0].stops, seen[0].masks), seen[:1], [_no_turn(one) for one in seen[1:]]
    same = {one.ring for one in found.same}
    odd = [_no_turn(one) if one.ring in found.unusable else
           Note.of("ring of another pose", ring=one.ring, than=found.rings[0].ring)
           for one in seen if one.ring not in same]
    kept = [one for one in seen if one.ring in same]
    doubtful = max(found.same, key=lambda one: one.apart)
    if len(kept) > 1 and doubtful.apart > APART:
        fewer = [one for one in kept if one.ring != (doubtful.ring if len(kept) > 2 else kept[1].ring)]
        left = next(one for one in kept if one not in fewer)
        odd.append(Note.of("ring left out", ring=left.ring, why="its joints do not lie over those of the others."))
        joints, kept, more = in_one_frame(fewer)
        return joints, kept, [*odd, *more]
    if len(kept) == 1:
        return in_space.alone(kept[0].stops, kept[0].masks), kept, odd
    return found.skeleton, kept, odd


def _no_turn(seen: Seen) -> Note:
    return Note.of("ring left out", ring=seen.ring, why="its outlines are not those of one figure that turns.")


def _gain(seen: Sequence[Seen], found: Skeleton, height_m: float, pose_height_m: float | None,
          tape: Sequence[Taped]) -> Gain:
    """What the figure would have been from the main ring alone."""
    one = seen[0]
    alone, _, figure, _ = _in_metres(
        one.masks, in_space.alone(one.stops, one.masks), height_m, pose_height_m, tape)
    return Gain(one.ring, sections.volume_l(figure), _within(alone), _within(found))


def _within(found: Skeleton) -> float | None:
    """How far joints may be off, the median over them; one that was not found counts as far."""
    middle = float(np.median([np.inf if j.at is None or j.within is None else j.within for j in found.joints]))
    return middle if np.isfinite(middle) else None


def _in_metres(
    masks: Sequence[Mask], found: Skeleton, height_m: float, pose_height_m: float | None, tape: Sequence[Taped]
) -> tuple[Skeleton, hull.Hull, Solid, stature.HeightFrom]:
    """Joints, hull and its surface in metres, by the heights or, where lengths of a tape are given, by these."""
    first, _ = stature.metres_per_unit(found, 1.0, height_m, pose_height_m)
    carved = hull.carve(masks, found.cameras, cell=CELL_M / first)
    figure = hull.surface(carved)
    unit, how = stature.metres_per_unit(found, float(figure.vertices[:, 2].max()), height_m, pose_height_m)
    unit *= skeleton.tape_factor(skeleton.hold(tape, stature.moved(found, 0.0, unit)))
    found, carved = stature.moved(found, 0.0, unit), hull.scaled(carved, unit)
    return found, carved, replace(figure, vertices=figure.vertices * unit), how


def _told(sizes: Sizes, found: Skeleton, figure: Solid, every_mm: float, **known: Any) -> Armature:
    """The armature with everything that follows from joints and figure."""
    top = float(figure.vertices[:, 2].max())
    heights = np.arange(every_mm / 2, top * sizes.built, every_mm) / sizes.built
    centre, footing = sections.centre(figure), sections.footing(figure)
    rules = skeleton.usual_rules(top * sizes.built)
    return Armature(
        sizes=sizes, skeleton=found, segments=skeleton.segments(found), bends=skeleton.bends(found),
        wires=skeleton.wires(found, sizes, rules), rules=rules, plumb=skeleton.plumb(found, centre, footing),
        figure=figure, volume_l=sections.volume_l(figure), centre=centre, footing=footing,
        sections=sections.cut(figure, heights.tolist()), tape_factor=skeleton.suggested(known["tape"]),
        calipers=sections.calipers(figure, heights.tolist(), skeleton.places(found)), **known,
    )


def _refuse_sizes(height_m: float, pose_height_m: float | None, scale: float, shrinkage: float, least_mm: float,
                  every_mm: float) -> None:
    """Stop before any work is done where a size makes no sense; a nan makes none."""
    for what, value, low, high, unit in (
        ("height", height_m, 0.5, 2.5, " m"), ("pose height", pose_height_m, 0.1, 4.0, " m"),
        ("scale", scale, 0.5, 100.0, ""), ("shrinkage", shrinkage, 0.0, 30.0, " %"),
        ("least thickness", least_mm, 0.0, 50.0, " mm"), ("distance of the sections", every_mm, 1.0, 500.0, " mm"),
    ):
        if value is not None and not low <= value <= high:
            raise SettingsError(f"{what} is {low:g} to {high:g}{unit}, not {value:g}.")


def _usable(shot: Turnaround, several: bool) -> tuple[list[Stop], list[Cut], list[Note]]:
    """The stops that show the pose, with their cut-outs, and what was left out.

    Raises
    ------
    PoseError, AnglesError
        Where they are too few, of several sizes, or not a whole turn.
    """
    looks = shot.looks or ()
    seen = [(stop, cut, look) for stop, cut, look in zip(shot.stops, shot.cuts, looks, strict=True)
            if cut is not None and look is not None and cut.confidence >= TRUST and cut.mask.any()]
    notes = []
    if len(seen) < len(shot.stops):
        kept = {stop.name for stop, _, _ in seen}
        notes.append(Note.of("stops without figure", names=[s.name for s in shot.stops if s.name not in kept]))
    _refuse_few([stop for stop, _, _ in seen], shot)
    if len({cut.mask.shape for _, cut, _ in seen}) > 1:
        raise PoseError("its pictures have several sizes, so they were not taken by one camera that stood still.",
                        path=shot.source, do="Give the stills of one turn, straight from the camera.")
    notes += _cut_by_frame([(stop, cut) for stop, cut, _ in seen], shot)
    moved = _moved([s for s, _, _ in seen], [look for _, _, look in seen], shot, several)
    if moved:
        notes.append(Note.of("stops moved", names=[seen[k][0].name for k in moved]))
        seen = [one for k, one in enumerate(seen) if k not in moved]
        _refuse_few([stop for stop, _, _ in seen], shot, moved=len(moved))
    return [stop for stop, _, _ in seen], [cut for _, cut, _ in seen], notes


def _cut_by_frame(seen: Sequence[tuple[Stop, Cut]], shot: Turnaround) -> list[Note]:
    """A note where the frame cuts the figure at some stops.

    Raises
    ------
    PoseError
        Where it does so at more than half of them: neither the figure's height nor the ground is known then.
    """
    names = [stop.name for stop, cut in seen if CUT_BY_FRAME in cut.flags]
    if 2 * len(names) > len(seen):
        raise PoseError(f"the frame cuts the figure at {len(names)} of {len(seen)} stops, so its height and the ground "
                        "are not known.", path=shot.source, do="Retake the turn with room all round.")
    return [Note.of("stops cut", names=names)] if names else []


def _moved(stops: Sequence[Stop], looks: Sequence[StopLook], shot: Turnaround, several: bool) -> tuple[int, ...]:
    """Places of the stops at which the pose had moved, as the shoot check finds them: one ring of ``several`` is held
    against where its camera stood, for it may have stood low or high."""
    turned = None
    if shot.turned is not None:
        places = {stop.name: k for k, stop in enumerate(shot.stops)}
        turned = shot.turned[[places[stop.name] for stop in stops]]
        turned = turned - turned[0]
    seen = ring_check.seen_alone(stops, looks) if several else None
    measured = shoot.measure(stops, looks, turned=turned, cameras={} if seen is None else seen.cameras)
    if measured.no_turn is not None or (measured.held is not None and measured.held.unfit):
        raise PoseError("its outlines are not those of one figure that turns.", path=shot.source,
                        do="Run silhouette check on it: it says what is wrong.")
    return () if measured.held is None else measured.held.moved


def _refuse_few(stops: Sequence[Stop], shot: Turnaround, moved: int = 0) -> None:
    """Stop where what is left, less ``moved`` stops at which the pose had moved, is not a whole turn."""
    why = f" At {moved} of its {len(shot.stops)} stops the pose had moved." if moved else ""
    if len(stops) < LEAST_STOPS:
        raise PoseError(f"only {len(stops)} of its {len(shot.stops)} stops can be used, {LEAST_STOPS} are needed.{why}",
                        path=shot.source, do="Shoot a whole turn, or mend the cut-outs with silhouette mend.")
    gap, start, end = in_space.widest_gap([stop.angle for stop in stops])
    if gap >= WIDEST_GAP:
        raise AnglesError(
            f"no stop that can be used lies between {start:.0f} and {end:.0f} degrees.{why} A half turn shows every "
            "outline once, and nothing says what is near and what is far.",
            path=shot.source, do="Shoot the whole turn.")


def write_armature(
    made: Armature, out: str | Path, *, paper: Paper = "a4", profiles: Sequence[float] = PROFILES,
    overwrite: bool = True, sources: Sequence[Path] = (),
) -> list[str]:
    """Put everything that a sculptor needs of it in the folder ``out``, whole or not at all, and name what is there."""
    from silhouette.show import armature_page, armature_sheet, section_sheets, words_space

    angles = {angle % 360 for angle in (*ELEVATIONS, *profiles)}
    seen = {angle: Profile(angle, sections.profile(made.figure, angle)) for angle in angles}
    views = [*(seen[angle] for angle in ELEVATIONS), Profile(None, sections.plan(made.figure))]
    sides = [seen[angle % 360] for angle in profiles]
    comment = words_space.hull_comment(made)
    with whole_folder(Path(out), "armature", sources, overwrite=overwrite) as folder:
        (folder / "armature.json").write_text(tables.to_json(tables.armature_to_dict(made)), encoding="utf-8")
        (folder / "massing.stl").write_bytes(massing_files.stl_bytes(made.massing, words_space.STL_COMMENT))
        (folder / "massing.3mf").write_bytes(massing_files.threemf_bytes(made.massing, comment))
        (folder / "armature.pdf").write_bytes(armature_sheet.armature_sheet(made, views=views, paper=paper))
        (folder / "sections.pdf").write_bytes(section_sheets.sections_pdf(made, profiles=sides, paper=paper))
        (folder / "sections.svg").write_text(section_sheets.sections_svg(made), encoding="utf-8")
        (folder / "calipers.csv").write_text(section_sheets.calipers_csv(made), encoding="utf-8", newline="")
        (folder / "armature.html").write_text(armature_page.armature_page(made), encoding="utf-8")
        (folder / "about.txt").write_text(words_space.about(made), encoding="utf-8")
        return sorted(p.name for p in folder.iterdir() if not p.name.startswith("."))
