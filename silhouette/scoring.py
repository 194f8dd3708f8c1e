"""The whole line: pictures in, silhouettes cut, measured and read, the round walked, the poses ranked.

Read :func:`score_pose` first; the rest of the file is its steps in order.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import in_space, measuring, turnaround
from silhouette.cutout import doubt_where
from silhouette.errors import AnglesError, FilmError, PictureError, PoseError, SettingsError, SilhouetteError
from silhouette.intake import film, rings, stills
from silhouette.known import Memory
from silhouette.reading import circle, ranking, ring_choice, view
from silhouette.records import (
    CANNOT_TELL,
    ONE_PICTURE,
    SAME_ANGLE,
    SHAPE_ALONE,
    TWO_FIGURES,
    UNREADABLE,
    Cut,
    Note,
    Pose,
    PoseRing,
    RingCamera,
    Round,
    Stop,
    View,
)
from silhouette.results import ScoredPose, ScoredRanking
from silhouette.settings import Cutter, HeightsGiven, Intent, Ring, RingsGiven, Settings, Turn
from silhouette.shape import measure
from silhouette.show import words
from silhouette.texts import printable

NOT_ONE_BODY = 0.8
"""``BodyReading.unlike`` from which to ask whether the model is alone. Of 700 rendered views as they are cut none
reaches 0.5; 95 % of pairs of figures that just touch reach it, 48 % of those that overlap by a third."""
POSE_FAULTS = (PictureError, PoseError, AnglesError, FilmError)
"""What is wrong with one pose alone; a cutter that is not at hand would fail them all."""
EDGE = 0.002
"""How far a mask's edge may be off, figure heights: a pixel on a figure of 500."""


DEFAULT = Settings()


def score_pose(
    path: str | Path,
    *,
    span: float | None = DEFAULT.span,
    turn: Turn = DEFAULT.turn,
    start: float = DEFAULT.start,
    cutter: Cutter = DEFAULT.cutter,
    model: str | None = DEFAULT.model,
    empty: str | Path | None = DEFAULT.empty,
    ring: RingsGiven = DEFAULT.ring,
    camera_height: HeightsGiven = DEFAULT.camera_height,
    seen_from: float | None = DEFAULT.seen_from,
    stands_on: float = DEFAULT.stands_on,
    intent: Intent = DEFAULT.intent,
    arc: tuple[float, float] | None = DEFAULT.arc,
    work_px: int = DEFAULT.work_px,
    jobs: int = DEFAULT.jobs,
    jitter: int = DEFAULT.jitter,
    seed: int = DEFAULT.seed,
    progress: turnaround.Progress | None = None,
    known: Memory | None = None,
) -> ScoredPose:
    """Read one pose all round.

    Parameters
    ----------
    path : path-like
        A folder of stills, one still, or a clip.
    span, turn, start, cutter, model, empty, ring, camera_height, seen_from, stands_on, intent, arc, work_px, jobs, \
    jitter, seed
        As in :class:`silhouette.settings.Settings`.
    progress : callable, optional
        Told what is being done and how far it is.
    known : Memory, optional
        Silhouettes already cut, see ``known.py``; None remembers nothing.

    Raises
    ------
    SilhouetteError
        If the place, the settings or every picture is of no use; says what to do.
    """
    chosen = Settings(
        span=span, turn=turn, start=start, cutter=cutter, model=model, empty=empty, ring=ring,
        camera_height=camera_height, seen_from=seen_from, stands_on=stands_on, intent=intent, arc=arc,
        work_px=work_px, jobs=jobs, jitter=jitter, seed=seed,
    )
    with turnaround.workers(chosen.jobs) as run:
        pose = read_useful(Path(path), chosen, run, progress or turnaround.silent, known)
    return ranking.rank([pose], chosen.intent)[0]


def rank_poses(
    paths: Sequence[str | Path | Pose] | str | Path | Pose,
    *,
    intents: Mapping[str, Intent] | None = None,
    span: float | None = DEFAULT.span,
    turn: Turn = DEFAULT.turn,
    start: float = DEFAULT.start,
    cutter: Cutter = DEFAULT.cutter,
    model: str | None = DEFAULT.model,
    empty: str | Path | None = DEFAULT.empty,
    ring: RingsGiven = DEFAULT.ring,
    camera_height: HeightsGiven = DEFAULT.camera_height,
    seen_from: float | None = DEFAULT.seen_from,
    stands_on: float = DEFAULT.stands_on,
    intent: Intent = DEFAULT.intent,
    arc: tuple[float, float] | None = DEFAULT.arc,
    work_px: int = DEFAULT.work_px,
    jobs: int = DEFAULT.jobs,
    jitter: int = DEFAULT.jitter,
    seed: int = DEFAULT.seed,
    progress: turnaround.Progress | None = None,
    known: Memory | None = None,
) -> ScoredRanking:
    """Read several candidate poses and put them in order, best first; none is dropped.

    Parameters
    ----------
    paths : path-like, Pose, or several of them
        Poses as in :func:`score_pose`, or one folder that holds a folder or clip for each pose. A pose that is already
        scored keeps its views and what it is meant to be; what counts of it follows ``arc`` and ``seen_from``, like
        that of the others.
    intents : mapping, optional
        What poses are meant to be, by name, where that differs from ``intent``.
    span, turn, start, cutter, model, empty, ring, camera_height, seen_from, stands_on, intent, arc, work_px, jobs, \
    jitter, seed, progress, known
        As in :func:`score_pose`.

    Raises
    ------
    SilhouetteError
        If the settings or all poses are of no use; also where ``intents`` names no pose, or one that was scored as
        something else. A pose that cannot be used does not stop the others: ``left_out`` says why.
    """
    chosen = Settings(
        span=span, turn=turn, start=start, cutter=cutter, model=model, empty=empty, ring=ring,
        camera_height=camera_height, seen_from=seen_from, stands_on=stands_on, intent=intent, arc=arc,
        work_px=work_px, jobs=jobs, jitter=jitter, seed=seed,
    )
    given = _candidates(paths)
    if not given:
        raise PoseError("No pose was given.", do="Give a folder or clip for each pose.")
    if len(given) > 1 and chosen.ring_places:
        raise SettingsError("a ring that lies elsewhere belongs to one pose, and several are given.",
                            do="Put the rings into the folders of their poses: hauling/low, hauling/level.")
    names = distinct_names(given)
    intents = intents or {}
    if unknown := sorted(set(intents) - set(names)):
        raise SettingsError(f"No pose is called {', '.join(unknown)}.", do=f"There are: {', '.join(names)}.")
    poses, left_out, first = [], [], None
    with turnaround.workers(chosen.jobs) as run:
        for one, name in zip(given, names, strict=True):
            try:
                if isinstance(one, Pose):
                    pose = _counted(one, intents.get(name, one.intent), chosen)
                else:
                    meant = chosen.but(intent=intents.get(name, chosen.intent))
                    pose = read_pose(one, meant, run, progress or turnaround.silent, known)
                poses.append(replace(pose, name=name))
            except POSE_FAULTS as error:
                left_out.append((name, str(error)))
                first = first or error
    if first is not None and not poses:
        raise _all_left_out(first, len(given)) from first
    if not any(v.scored for pose in poses for v in pose.all_views):
        raise _useless(poses[0], poses[0].source)
    ordered = ranking.rank(ring_choice.compared(poses), chosen.intent)
    return ScoredRanking(ordered, intent=chosen.intent, arc=chosen.arc, left_out=tuple(left_out))


def find_poses(paths: Sequence[str | Path], *, beside: Path | None = None) -> list[Path]:
    """The poses meant by the paths: each path itself, or, for one folder that holds poses, what lies in it.

    Results of an earlier run that lie in that folder are no poses, and pictures called empty are none anywhere: they
    show the room without the model. ``beside`` is a picture that may lie beside the poses and is none either.

    Raises
    ------
    PoseError
        If a path does not exist, nothing in it can be a pose, or loose pictures lie beside the poses.
    """
    places = [Path(p) for p in paths]
    for place in places:
        turnaround.refuse_missing(place)
    if len(places) != 1:  # a shell's star names the empty picture beside the poses too
        return [p for p in places if p.is_dir() or not stills.is_empty_room(p)] or places
    if not places[0].is_dir() or stills.written_by_us(places[0]):
        return places
    try:
        inside = sorted(places[0].iterdir(), key=lambda p: (stills.natural_key(p.name), p.name))
    except OSError as error:
        raise stills.cannot_open(places[0], error) from None
    apart = None if beside is None else turnaround.whole_path(beside)
    loose = [p.name for p in inside if stills.is_still(p) and not p.is_dir() and turnaround.whole_path(p) != apart]
    poses = [p for p in inside if not p.name.startswith(".") and _is_pose(p) and not rings.is_close_ups(p)
             and (apart is None or turnaround.whole_path(p) != apart)]
    if poses and all(map(rings.ring_called, poses)):
        return places  # the rings of one pose
    if loose and not poses:
        return places
    if loose:
        raise PoseError(
            f"holds loose pictures ({printable(loose[0])}) beside poses ({printable(poses[0].name)}).",
            path=places[0],
            do="Move the pictures into a folder of their own, or name the poses one by one.",
        )
    if not poses:
        raise PoseError(
            "holds neither pictures nor folders of pictures.",
            path=places[0],
            do="Give one folder or clip for each pose.",
        )
    return poses


# ------------------------------------------------------------------------------------------------- one pose, in steps


def read_useful(
    place: Path, settings: Settings, run: turnaround.Run, tell: turnaround.Progress = turnaround.silent,
    known: Memory | None = None,
) -> ScoredPose:
    """One pose, read all round, not ranked.

    Raises
    ------
    SilhouetteError
        If the place or every picture is of no use; says what to do.
    """
    pose = read_pose(place, settings, run, tell, known)
    if not any(v.scored for v in pose.all_views):
        raise _useless(pose, place)
    return pose


def read_pose(
    place: Path, settings: Settings, run: turnaround.Run, tell: turnaround.Progress, known: Memory | None
) -> ScoredPose:
    begun = Begun(run, settings.intent)
    shot = turnaround.ingest_rings(place, settings, run=run, tell=tell, known=known, ahead=begun.begin)
    together = in_space.in_space(shot) if shot.several else in_space.InSpace()
    read = [_read_ring(one, settings, begun, together.cameras.get(one.ring)) for one in shot.all]
    main, wanted = ring_choice.headline(read, settings)
    notes = [*shot.notes, *together.notes, *wanted]
    for one, ring in zip(shot.all, read, strict=True):
        told = [*one.notes, *([] if any(v.scored for v in ring.views) else [_nothing_read(ring.views)]),
                *_not_alone(ring.views)]
        notes += [Note.of("of ring", ring=one.ring, note=n.plain) for n in told] if shot.several else told
    return ScoredPose(
        name=shot.name,
        source=place,
        views=main.views,
        round=main.round,
        reads_low=main.reads_low,
        reads_high=main.reads_high,
        flags=(ONE_PICTURE,) if sum(len(one.stops) for one in shot.all) == 1 else (),
        notes=tuple(notes),
        intent=settings.intent,
        samples=main.samples,
        ring=main.ring,
        camera=main.camera,
        other_rings=tuple(ring for ring in read if ring is not main),
        blind_spots=together.blind_spots,
        close_ups=shot.close_ups,
    )


class Begun:
    """Views that are being measured and read while the angles of their stops are found."""

    def __init__(self, run: turnaround.Run, intent: Intent) -> None:
        self._run, self._read = run, partial(_read_view, intent=intent)
        self._views: dict[Ring, Iterator[View]] = {}

    def begin(self, ring: Ring, stops: Sequence[Stop], cuts: Sequence[Cut | None]) -> None:
        """Give the stops of a ring to the processes."""
        self._views[ring] = self._run(self._read, stops, cuts)

    def views(self, shot: turnaround.Turnaround) -> list[View]:
        """The views of a ring that was begun, once its stops have their angles."""
        return [
            self._read(stop, None) if cut is None else replace(view, stop=stop)  # its name may lack an angle
            for view, stop, cut in zip(self._views[shot.ring], shot.stops, shot.cuts, strict=True)
        ]


def _read_ring(
    shot: turnaround.Turnaround, settings: Settings, begun: Begun, camera: RingCamera | None
) -> PoseRing:
    """One ring, read all round."""
    views = _flag_same_angles(begun.views(shot))
    views.sort(key=lambda v: (np.isnan(v.angle), v.angle, v.stop.index))
    views = circle.infer_far_side(views)
    walk, samples, low, high = _walk(views, settings)
    return PoseRing(shot.ring, tuple(views), walk, low, high, camera, samples)


def _walk(views: Sequence[View], settings: Settings) -> tuple[Round, Any, int | None, int | None]:
    """The round of these views, its resamplings, and the range of degrees that read."""
    walk = circle.walk_round(views, settings.arc)
    samples = circle.resample(views, settings.arc, _edge_sd(views, settings), settings.seed)
    return walk, samples, *_interval(samples, walk)


def _counted(pose: Pose, intent: Intent | str, settings: Settings) -> Pose:
    """A pose scored earlier, counted on the arc and for the viewer that are asked for now."""
    if intent != pose.intent:
        raise SettingsError(f"{pose.name} was scored as {pose.intent}, not as {intent}.",
                            do=f"Score it again with intent={intent!r}, or give its folder.")
    settings, again = settings.but(intent=pose.intent), []
    for ring in pose.rings:
        walk, samples, low, high = _walk(ring.views, settings)
        again.append(replace(ring, round=walk, samples=samples, reads_low=low, reads_high=high))
    main, told = ring_choice.headline(again, settings)
    kept = [note for note in pose.notes if note.kind not in ring_choice.ABOUT_SITE]
    return replace(
        pose, views=main.views, round=main.round, samples=main.samples, reads_low=main.reads_low,
        reads_high=main.reads_high, ring=main.ring, camera=main.camera, notes=(*told, *kept),
        other_rings=tuple(ring for ring in again if ring is not main))


def _read_view(stop: Stop, cut: Cut | None, intent: Intent) -> View:
    """Measure and read one stop; without a trusted cut its outline is kept alone."""
    found = None if cut is None or not cut.mask.any() else measuring.measure_mask(cut.mask, intent)
    line, measures, body, reading = found or (None, None, None, None)
    flags = [UNREADABLE] if cut is None else [*cut.flags, *([SHAPE_ALONE] if found and body is None else [])]
    trusted = CANNOT_TELL not in flags
    return View(
        stop=stop,
        confidence=0.0 if cut is None else cut.confidence,
        cutter="" if cut is None else cut.cutter,
        flags=tuple(flags),
        outline=line,
        measures=measures if trusted else None,
        body=body if trusted else None,
        reading=reading if trusted else None,
        full_size=stop.full_size,
        focal_35mm=stop.focal_35mm,
        problem=stop.problem,
        doubts=() if cut is None or cut.doubt is None else doubt_where.where(cut.mask, cut.doubt),
        mask_bits=None if cut is None else np.packbits(cut.mask),
    )


def _flag_same_angles(views: list[View]) -> list[View]:
    """Flag views that share an angle, the closing stop of an even spread excepted."""
    told = [v for v in views if v.stop.angle_from in ("name", "csv") and not np.isnan(v.angle)]
    count = {v.angle: sum(o.angle == v.angle for o in told) for v in told}
    return [replace(v, flags=(*v.flags, SAME_ANGLE)) if count.get(v.angle, 0) > 1 else v for v in views]


def _not_alone(views: Sequence[View]) -> list[Note]:
    """A question where scored outlines are far from any one body's: two people who touch are cut out as one figure."""
    asked = []
    for v in views:
        if v.scored and not v.inferred and SHAPE_ALONE in v.flags and v.outline is not None:
            body = measuring.read_any(v.outline)
            asked += [v.angle] if body is not None and body.unlike >= NOT_ONE_BODY else []
    taken = sum(not v.inferred for v in views)
    return [Note.of("unlike one body", angles=asked, views=taken)] if asked else []


def _edge_sd(views: Sequence[View], settings: Settings) -> float:
    """Standard deviation of readability when a mask's edge moves by ``EDGE``, out and in by turns, over a few views."""
    scored = [v for v in views if v.scored and not v.inferred]
    if not scored or settings.jitter == 0:
        return 0.0
    picks = scored[:: max(1, len(scored) // settings.jitter)][: settings.jitter]
    moved = []
    for v, distance in zip(picks, itertools.cycle((EDGE, -EDGE)), strict=False):
        if (value := _readability_moved(v, distance, settings.intent)) is not None and v.reading is not None:
            moved.append(value - v.reading.readability)
    return float(np.sqrt(np.mean(np.square(moved)))) if moved else 0.0


def _readability_moved(v: View, distance: float, intent: Intent) -> float | None:
    if v.outline is None:
        return None
    polygon = v.outline.polygon.buffer(distance, join_style="mitre")
    if polygon.geom_type != "Polygon":
        polygon = max(polygon.geoms, key=lambda p: p.area)
    if polygon.is_empty:
        return None
    line = replace(v.outline, polygon=polygon)
    return view.read_view(measure.measure_outline(polygon), line, intent, measuring.read_body(line)).readability


def _interval(samples: Any, walk: Round) -> tuple[int | None, int | None]:
    if samples is None or walk.reads_degrees is None:
        return None, None
    low, high = np.percentile(samples[:, 0], [5, 95]) * walk.counted_degrees
    return min(round(low), walk.reads_degrees), max(round(high), walk.reads_degrees)


# ------------------------------------------------------------------------------------------------------ small helpers


def _is_pose(place: Path) -> bool:
    """Whether a clip or a folder of pictures lies there that this program did not write itself."""
    try:
        if not place.is_dir():
            return film.is_clip(place)
        own = stills.written_by_us(place) is None
        return own and (rings.holds_rings(place) or any(map(stills.is_still, place.iterdir())))
    except OSError:
        return False


def _candidates(paths: Sequence[str | Path | Pose] | str | Path | Pose) -> list[Path | Pose]:
    """What is to be ranked: places, and poses already scored."""
    given = [paths] if isinstance(paths, str | Path | Pose) else list(paths)
    if any(isinstance(one, Pose) for one in given):
        return [one if isinstance(one, Pose) else Path(one) for one in given]
    return list(find_poses([one for one in given if not isinstance(one, Pose)]))


def distinct_names(given: Sequence[Path | Pose]) -> list[str]:
    """What each candidate is called in a ranking of them all: its name, its folder before it where two share one."""
    names = [one.name if isinstance(one, Pose) else turnaround.name_of(one) for one in given]
    places = [one.source if isinstance(one, Pose) else one for one in given]
    return [
        name if names.count(name) == 1 else f"{printable(turnaround.whole_path(place).parent.name)}-{name}"
        for name, place in zip(names, places, strict=True)
    ]


def _all_left_out(first: SilhouetteError, count: int) -> SilhouetteError:
    """Why no pose can be used: the first one's own sentence, or for several a :class:`PoseError` that tells it."""
    return first if count == 1 else PoseError(f"None of the {count} poses can be used. The first: {first}")


def _useless(pose: Pose, path: str | Path) -> PoseError:
    """Why no picture of the pose could be scored, and what to do; a single picture's own problem names it already."""
    named = len(pose.views) == 1 and pose.views[0].problem
    return PoseError(words.not_read(_nothing_read(pose.views)), path=None if named else path, do=_what_then(pose))


def _nothing_read(views: Sequence[View]) -> Note:
    """Why none of the views could be scored."""
    problems = [v.problem for v in views if v.problem]
    if problems and len(problems) == len(views):
        cause = "problem" if len(problems) == 1 else "problems"
    elif all(v.outline is None for v in views):
        cause = "no figure"
    elif all(TWO_FIGURES in v.flags for v in views if v.outline is not None):
        cause = "two people"
    else:
        cause = "not trusted"
    return Note.of("not read", cause=cause, count=len(views), first=problems[0] if problems else None)


def _what_then(pose: Pose) -> str | None:
    if all(v.problem for v in pose.views):
        return None  # each problem says it
    return ("Add a picture of the same room without the model (empty.jpg), use a plain backdrop with even light, try "
            "--cutter neural, or put a mask beside the still (045.mask.png).")
