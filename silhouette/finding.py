"""Find a pose by what it does, or by a picture that it looks like: in an archive, or in a folder of trials."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any, get_args

import numpy as np

from silhouette import archive, measuring, scoring, tables, turnaround
from silhouette.errors import PictureError, PoseError, SettingsError
from silhouette.find import asked as asks
from silhouette.find import differs, embed, rows, two_tones
from silhouette.find.nearest import Near, nearest
from silhouette.find.views import Numbers, Views, columns_for, views_of
from silhouette.geometry import angles, mirror
from silhouette.intake import stills
from silhouette.known import Memory
from silhouette.reading.circle import interpolate
from silhouette.records import CANNOT_TELL, CUT_BY_FRAME, NO_FIGURE, TWO_FIGURES, Note
from silhouette.records_find import Asked, Found, Hit, LikePicture, ViewLine
from silhouette.settings import (
    BAND_FAIR,
    MOST_FOUND,
    ArmAsked,
    GapSize,
    Paper,
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
    place = Path(place)
    turnaround.refuse_missing(place)
    if archive.is_archive(place):
        looked = _archived(place, asked)
    else:
        looked = _read_now(place, like, asked, chosen, progress, known)
    return _Search(looked, asked).answer(picture, most)


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


@dataclass(frozen=True)
class _Looked:
    """What is looked through."""

    views: Views
    poses: Sequence[str]
    """What each is called where it cannot be read."""
    line: Callable[[int, int], ViewLine]
    """One view of one pose, counted from 0, with all that is known of it. Raises a PoseError where it cannot be read.
    """
    left_out: tuple[tuple[str, str], ...]
    """Poses that cannot be read, and why."""


def _archived(place: Path, asked: Asked) -> _Looked:
    found = archive.look(place, columns_for(asked))

    def line(pose: int, view: int) -> ViewLine:
        return archive.pose(place, found.files[pose])[1][view]

    return _Looked(found.views, found.files, line, found.left_out)


def _read_now(
    place: Path, like: str | Path | None, asked: Asked, settings: Settings, progress: turnaround.Progress | None,
    known: Memory | None,
) -> _Looked:
    """A folder of trials."""
    given = scoring.find_poses([place], beside=None if like is None else Path(like))
    ranking = scoring.rank_poses(given, progress=progress, known=known, **_told(settings))
    root = turnaround.whole_path(place)
    poses = list[list[ViewLine]]()
    for pose in ranking.poses:
        inside = turnaround.whole_path(pose.source)
        source = root.name if inside == root else f"{root.name}/{inside.name}"
        poses.append(archive.view_lines(pose, printable(source)))
    tables = [rows.found_by_of(lines, pose.ring) for lines, pose in zip(poses, ranking.poses, strict=True)]
    views = views_of(rows.joined(tables), [len(lines) for lines in poses])
    return _Looked(views, [pose.name for pose in ranking.poses], lambda pose, view: poses[pose][view], ranking.left_out)


def _told(settings: Settings) -> dict[str, Any]:
    """What a ranking is asked with."""
    return {name: getattr(settings, name) for name in (
        "span", "turn", "start", "cutter", "model", "empty", "ring", "camera_height", "arc", "work_px", "jobs",
        "jitter")}


# ------------------------------------------------------------------------------------------------------------- the hits


class _Search:
    """One question to many views."""

    def __init__(self, looked: _Looked, asked: Asked) -> None:
        self.looked, self.views, self.asked = looked, looked.views, asked
        self.lost = dict[int, PoseError]()
        """Poses that could not be read when they were to be hits: a file that is damaged shows only then."""

    def answer(self, picture: LikePicture | None, most: int) -> Found:
        """So many hits, best first; poses that cannot be read count as if they had never been there."""
        looked, lost = self.looked, self.lost
        count, hits = self.by_what_they_do() if picture is None else self.by_likeness(picture)
        shown = tuple(islice(hits, most))
        if lost and len(lost) == len(looked.poses):
            raise next(iter(lost.values()))
        views = len(self.views) - int(np.isin(self.views.pose, list(lost)).sum())
        left_out = looked.left_out
        if lost:
            left_out = tuple(sorted([*left_out, *((looked.poses[pose], str(error)) for pose, error in lost.items())]))
        return Found(shown, self.asked, len(looked.poses) - len(lost), views, count - len(lost) - len(shown), picture,
                     left_out)

    def by_what_they_do(self) -> tuple[int, Iterator[Hit]]:
        """How many poses do it, and these, best first: those that read from most degrees."""
        views, reads = self.views, self._reads()
        found = asks.found_in(views, self.asked, reads)
        order = sorted(found.tolist(), key=lambda row: (
            -np.nan_to_num(reads[views.pose[row]]), views.band[row], views.source[row]))
        return len(order), (hit for row in order if (hit := self._hit(row)) is not None)

    def by_likeness(self, picture: LikePicture) -> tuple[int, Iterator[Hit]]:
        """How many poses could look like the picture, and these, most alike first."""
        views = self.views
        assert views.vectors is not None
        could = ~np.isnan(views.vectors[0][:, 0]) & ~views.inferred & angles.on_arc(views.angle, self.asked.arc)
        if replace(self.asked, like=None).anything:
            could &= np.isin(views.pose, views.pose[asks.found_in(views, self.asked, self._reads())])
        which = np.flatnonzero(could)
        one, other = embed.vectors([picture.outline.polygon])
        plain, turned = views.vectors if len(which) == len(views) else (v[which] for v in views.vectors)
        near = nearest((one[0], other[0]), (plain, turned), views.pose[which], views.ring[which])
        reading = measuring.read_body(picture.outline)
        return len(near), (_laid(hit, picture, reading) for found in near
                           if (hit := self._hit(which[found.row], found)) is not None)

    def _reads(self) -> Numbers:
        """From how many degrees each pose reads, nan where it cannot be said."""
        told = [reads_of(self.views, pose, self.asked.arc)[0] for pose in range(len(self.looked.poses))]
        return np.array([np.nan if one is None else one for one in told], np.float64)

    def _hit(self, row: int, near: Near | None = None) -> Hit | None:
        """One view as a hit; None where its pose cannot be read."""
        pose = int(self.views.pose[row])
        try:
            line = self.looked.line(pose, int(row) - self.views.of_pose(pose).start)
        except PoseError as error:
            self.lost[pose] = error
            return None
        reads, counted = reads_of(self.views, pose, self.asked.arc)
        return Hit(line.pose, line.source, line.ring, line.angle, near is not None and near.mirrored,
                   None if near is None else near.likeness, reads=reads, counted=counted, band=line.band,
                   outline=line.outline)


def reads_of(views: Views, pose: int, arc: tuple[float, float] | None) -> tuple[int | None, int]:
    """From how many degrees a pose reads, None where that cannot be said, of how many that count, on the arc."""
    own = views.of_pose(pose)
    some = views.headline[own] & ~np.isnan(views.readability[own]) & ~np.isnan(views.angle[own])
    taken, which, count = np.unique(views.angle[own][some].round(3) % 360, return_inverse=True, return_counts=True)
    degrees = interpolate(taken, np.bincount(which, views.readability[own][some], len(taken)) / count)
    counted = angles.degrees_on(arc) & ~np.isnan(degrees)
    return (int((degrees[counted] >= BAND_FAIR).sum()) if counted.any() else None), int(counted.sum())


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
