"""Find a pose by what it does, or by a picture that it looks like: in an archive, or in a folder of trials."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple, get_args

import numpy as np

from silhouette import archive, measuring, scoring, tables, turnaround
from silhouette.errors import PictureError, SettingsError
from silhouette.find import asked as asks
from silhouette.find import differs, embed, rows, two_tones
from silhouette.find.nearest import nearest
from silhouette.geometry import angles, mirror
from silhouette.intake import stills
from silhouette.known import Memory
from silhouette.reading.circle import interpolate
from silhouette.records import CANNOT_TELL, CUT_BY_FRAME, INFERRED, NO_FIGURE, TWO_FIGURES, Note
from silhouette.records_find import Asked, Found, Hit, LikePicture, ViewLine
from silhouette.settings import (
    BAND_FAIR,
    MOST_FOUND,
    RINGS,
    ArmAsked,
    GapSize,
    Paper,
    Ring,
    Settings,
)
from silhouette.shape.outline import outline_of
from silhouette.texts import printable
from silhouette.writing import whole_folder

SCHEMA = 1
"""Of ``found.json``."""


def find_views(
    place: str | Path,
    *,
    like: str | Path | None = None,
    reads: float | None = None,
    arc: tuple[float, float] | None = None,
    gap: GapSize | None = None,
    arm: ArmAsked | None = None,
    strong_from: float | None = None,
    most: int = MOST_FOUND,
    progress: turnaround.Progress | None = None,
    known: Memory | None = None,
    **settings: Any,
) -> Found:
    """Find the poses that do all that is asked, each with the view of it that shows it best.

    Parameters
    ----------
    place : path-like
        An archive, or poses as in :func:`silhouette.rank_poses`, which are read first.
    like : path-like, optional
        A picture that they look like: a photograph, a silhouette, or a drawing that is filled in. Best first is then
        most alike first; else the pose that reads from most degrees.
    reads : float, optional
        Degrees from which a pose reads at least.
    arc : (float, float), optional
        Only what is seen from there counts, clockwise from the first to the second.
    gap : "small", "fair" or "big", optional
        A view with a gap of this size or larger.
    arm : "over-head", optional
        A view with a hand over the head; if a gap is asked for too, the same view has it.
    strong_from : float, optional
        The view nearest to this angle is strong.
    most : int
        How many to give back.
    progress, known
        As in :func:`silhouette.score_pose`, for poses that have to be read.
    **settings
        Fields of :class:`silhouette.settings.Settings`, for these and for a photograph.

    Raises
    ------
    SilhouetteError
        Nothing is asked, there is nothing to look in, or the picture shows no figure; says what to do. Where nothing is
        found there are no hits, and that is no error.
    """
    chosen = Settings().but(**{**settings, "arc": arc, "jitter": 0})
    name = None if like is None else printable(Path(like).name)
    asked = Asked(reads, chosen.arc, gap, arm, strong_from, name)
    _refuse(asked, most)
    picture = None if like is None else picture_of(Path(like), chosen)
    poses, left_out = _poses_at(Path(place), like, chosen, progress, known)
    fitting = [(pose, line) for pose in poses
               if (line := asks.found_in(pose.lines, pose.ring, asked, pose.reads)) is not None]
    if picture is None:
        told = sorted(((_hit(pose, line), pose, line) for pose, line in fitting), key=lambda one: _best_first(one[0]))
        hits = [replace(hit, outline=pose.whole(line).outline) for hit, pose, line in told[:most]]
        count = len(told)
    else:
        alike = [pose for pose, _ in fitting] if replace(asked, like=None).anything else poses
        hits, count = _alike(alike, picture, asked.arc, most)
    views = sum(len(pose.lines) for pose in poses)
    return Found(tuple(hits[:most]), asked, len(poses), views, max(0, count - most), picture, left_out)


def _refuse(asked: Asked, most: int) -> None:
    """Stop where what is asked makes no sense, before anything is read."""
    if not asked.anything:
        raise SettingsError("nothing is asked.", do="Say what to look for: --like PICTURE, --reads 200, --gap big, "
                            "--arm over-head or --strong-from 90.")
    if most < 1:
        raise SettingsError(f"most is how many to show, 1 or more, not {most}.")
    if asked.reads is not None and not 0 <= asked.reads <= 360:
        raise SettingsError(f"reads is a number of degrees, 0 to 360, not {asked.reads:g}.")
    wide = 360.0 if asked.arc is None else angles.width(asked.arc)
    if asked.reads is not None and asked.reads > wide:
        raise SettingsError(f"no pose can read from {asked.reads:g} degrees of an arc of {wide:g}.",
                            do="Ask for less, or for a wider arc.")
    if asked.strong_from is not None and not -360 <= asked.strong_from <= 360:
        raise SettingsError(f"strong_from takes an angle in degrees, 0 to 360, not {asked.strong_from:g}.")
    for name, value, kind in (("gap", asked.gap, GapSize), ("arm", asked.arm, ArmAsked)):
        if value is not None and value not in get_args(kind):
            raise SettingsError(f"{name} can be {', '.join(get_args(kind))}, not {value!r}.")


# ---------------------------------------------------------------------------------------------------- the picture given


def picture_of(path: Path, settings: Settings) -> LikePicture:
    """The figure in the picture that poses are held against.

    Nearly two tones are a silhouette or a drawing, and are taken as they are; from any other picture the figure is cut
    out like that of a still.

    Raises
    ------
    SilhouetteError
        It is no picture, or shows no figure; a drawing that is not filled in, too.
    """
    turnaround.refuse_missing(path)
    if path.is_dir():
        raise PictureError("is a folder, and --like takes one picture.", path=path,
                           do="Give one of the pictures in it.")
    drawn = two_tones.figure_in(stills.read_still(path, settings.work_px).pixels)
    if drawn is None:
        return _photographed(path, settings)
    if drawn.kind == "lines":
        raise PictureError("is drawn in lines that enclose no figure.", path=path, do="Fill the figure in, black.")
    line = outline_of(drawn.mask)
    if line is None:
        raise PictureError("shows no figure.", path=path, do="Give one with the figure black on white.")
    notes = [Note.of("filled in")] if drawn.kind == "drawing" else []
    return LikePicture(printable(path.name), drawn.kind, line, tuple(notes))


def _photographed(path: Path, settings: Settings) -> LikePicture:
    """The figure cut out of a photograph; a cut-out that is not trusted is taken, and that is said."""
    alone = Settings(cutter=settings.cutter, model=settings.model, empty=settings.empty, work_px=settings.work_px)
    shot = turnaround.ingest(path, alone)
    (stop, *_), (cut, *_) = shot.stops, shot.cuts
    if cut is None:
        raise PictureError("cannot be used as a picture of a pose.", path=path, do=stop.problem)
    line = None if NO_FIGURE in cut.flags else outline_of(cut.mask)
    if line is None:
        raise PictureError("shows no figure that can be cut out.", path=path,
                           do="Give one before a plain wall, or draw the silhouette and fill it in, black.")
    said = [flag for flag in (CANNOT_TELL, TWO_FIGURES, CUT_BY_FRAME) if flag in cut.flags]
    return LikePicture(printable(path.name), "photograph", line, tuple(Note.of("picture", flag=flag) for flag in said))


# -------------------------------------------------------------------------------------------------- the poses looked in


class _Pose(NamedTuple):
    """One pose that is looked through."""

    lines: Sequence[ViewLine]
    ring: Ring
    """Of its headline."""
    reads: int | None
    counted: int
    """From how many degrees it reads, of how many that count, on the arc."""
    kept: tuple[Path, str] | None = None
    """The archive, and the file in it that holds all of it; None where ``lines`` are whole."""

    def whole(self, line: ViewLine) -> ViewLine:
        """One of its views with all that is known of it."""
        if self.kept is None:
            return line
        _, lines = archive.pose(*self.kept)
        return lines[next(k for k, one in enumerate(self.lines) if one is line)]


def _poses_at(
    place: Path, like: str | Path | None, settings: Settings, progress: turnaround.Progress | None,
    known: Memory | None,
) -> tuple[list[_Pose], tuple[tuple[str, str], ...]]:
    """The poses of an archive, or of a folder of trials, which are read now."""
    turnaround.refuse_missing(place)
    if archive.is_archive(place):
        return [_pose(lines, known_pose.about["ring"], settings)._replace(kept=(place, known_pose.file))
                for known_pose, lines in archive.poses(place, rows.FOUND_BY)], ()
    given = scoring.find_poses([place], beside=None if like is None else Path(like))
    ranking = scoring.rank_poses(given, progress=progress, known=known, **_told(settings))
    root = turnaround.whole_path(place)
    poses = []
    for pose in ranking.poses:
        inside = turnaround.whole_path(pose.source)
        source = root.name if inside == root else f"{root.name}/{inside.name}"
        poses.append(_pose(archive.view_lines(pose, printable(source)), pose.ring, settings))
    return poses, ranking.left_out


def _told(settings: Settings) -> dict[str, Any]:
    """What a ranking is asked with."""
    return {name: getattr(settings, name) for name in (
        "span", "turn", "start", "cutter", "model", "empty", "ring", "camera_height", "arc", "work_px", "jobs",
        "jitter")}


def _pose(lines: Sequence[ViewLine], ring: Ring, settings: Settings) -> _Pose:
    """A pose, and from how many degrees of the arc it reads."""
    by_angle: dict[float, list[float]] = {}
    for line in lines:
        if line.ring == ring and line.readability is not None and not math.isnan(line.angle):
            by_angle.setdefault(round(line.angle % 360, 3) % 360, []).append(line.readability)
    taken = sorted(by_angle)
    degrees = interpolate(np.array(taken, float), np.array([np.mean(by_angle[a]) for a in taken], float))
    counted = angles.degrees_on(settings.arc) & ~np.isnan(degrees)
    reads = int((degrees[counted] >= BAND_FAIR).sum()) if counted.any() else None
    return _Pose(lines, ring, reads, int(counted.sum()))


# ------------------------------------------------------------------------------------------------------------- the hits


def _hit(pose: _Pose, line: ViewLine) -> Hit:
    return Hit(line.pose, line.source, line.ring, line.angle, False, None, reads=pose.reads, counted=pose.counted,
               band=line.band)


def _best_first(hit: Hit) -> tuple[Any, ...]:
    bands = ("strong", "fair", "weak", None)
    return -(hit.reads or 0), bands.index(hit.band), hit.source


def _alike(
    poses: Sequence[_Pose], picture: LikePicture, arc: tuple[float, float] | None, most: int
) -> tuple[list[Hit], int]:
    """The poses that look most like the picture from an arc, and how many could."""
    views = [(k, line) for k, pose in enumerate(poses) for line in pose.lines
             if line.vector is not None and line.mirror_vector is not None and INFERRED not in line.flags
             and angles.on_arc(line.angle, arc)]
    if not views:
        return [], 0
    one, other = embed.vectors([picture.outline.polygon])
    plain, turned = (np.stack([getattr(line, name) for _, line in views]) for name in rows.VECTORS)
    of_pose = np.array([k for k, _ in views], np.intp)
    of_turn = np.array([RINGS.index(line.ring) for _, line in views], np.intp)
    near = nearest((one[0], other[0]), (plain, turned), of_pose, of_turn, most)
    reading = measuring.read_body(picture.outline)
    hits = []
    for found in near:
        k, line = views[found.row]
        hit = replace(_hit(poses[k], line), mirrored=found.mirrored, likeness=found.likeness,
                      outline=poses[k].whole(line).outline)
        hits.append(_laid(hit, picture, reading))
    return hits, len(set(of_pose.tolist()))


def _laid(hit: Hit, picture: LikePicture, reading: Any) -> Hit:
    """A hit with the picture's outline laid over it, and where the two differ."""
    assert hit.outline is not None
    view = mirror.polygon(hit.outline) if hit.mirrored else hit.outline
    own = measuring.bare(view)
    laid = differs.laid_over(picture.outline, reading, differs.Body.of(own, measuring.read_body(own)))
    told = tuple(Note.of("differs", by=off.by, part=off.part, way=off.way) for off in laid.differs)
    return replace(hit, outline=view, laid=laid.outline, differs=told)


# ---------------------------------------------------------------------------------------------------------- left behind


def to_dict(found: Found) -> dict[str, Any]:
    """The whole of ``found.json``: best first, what could not be made null."""
    return {"schema": SCHEMA, "hits": [_hit_row(hit) for hit in found.hits]}


def _hit_row(hit: Hit) -> dict[str, Any]:
    from silhouette.show import words_find

    return {
        "pose": hit.pose,
        "source": hit.source,
        "ring": hit.ring,
        "angle": None if math.isnan(hit.angle) else round(hit.angle, 1),
        "mirrored": hit.mirrored,
        "likeness": None if hit.likeness is None else round(hit.likeness, 3),
        "reads_degrees": hit.reads,
        "counted_degrees": hit.counted,
        "band": hit.band,
        "differs": [{"part": note["part"], "way": note["way"], "by": round(note["by"], 3),
                     "said": words_find.differs(note)} for note in hit.differs],
    }


def write_found(
    found: Found, out: Path, sources: Sequence[Path] = (), *, paper: Paper = "a4", known: Memory | None = None
) -> list[str]:
    """Put the answer at ``out``, in place of an earlier one, and name what was written: data, sheet and page.

    Raises
    ------
    OutputError
        If ``out`` holds anything else than an earlier answer, lies in a source, or cannot be written to.
    """
    from silhouette.show import find_page, find_sheet

    with whole_folder(out, "found", sources) as folder:
        (folder / "found.json").write_text(tables.to_json(to_dict(found)), encoding="utf-8")
        find_sheet.write_sheets(found, folder, paper)
        find_page.write_page(found, folder / "found.html")
        if known is not None:
            known.write(folder)
        return sorted(_names(folder))


def _names(folder: Path) -> Iterator[str]:
    return (path.name for path in folder.iterdir() if not path.name.startswith("."))
