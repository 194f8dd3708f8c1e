"""The whole line: pictures in, silhouettes cut, measured and read, the round walked, the poses ranked.

Read :func:`score_pose` first; the rest of the file is its steps in order.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import measuring, turnaround
from silhouette.errors import PoseError, SettingsError
from silhouette.intake import filenames, film, stills
from silhouette.known import Memory, Taken
from silhouette.reading import circle, ranking, view
from silhouette.records import (
    CANNOT_TELL,
    ONE_PICTURE,
    SAME_ANGLE,
    SHAPE_ALONE,
    TWO_FIGURES,
    UNREADABLE,
    BodyReading,
    Measures,
    Note,
    Outline,
    Pose,
    Reading,
    Round,
    View,
)
from silhouette.results import ScoredPose, ScoredRanking
from silhouette.settings import TRUST, Cutter, Intent, Settings, Turn
from silhouette.shape import measure
from silhouette.show import words

RESULTS = ("result.json", "check.json")
"""What a folder of our own results holds: its charts and sheets are no pictures of a pose."""
NOT_ONE_BODY = 0.8
"""``BodyReading.unlike`` from which to ask whether the model is alone. Of 700 rendered views as they are cut none
reaches 0.5; 95 % of pairs of figures that just touch reach it, 48 % of those that overlap by a third."""
EDGE = 0.002
"""How far a mask's edge may be off, figure heights: a pixel on a figure of 500."""


DEFAULT = Settings()


def score_pose(
    path: str | Path,
    *,
    span: float = DEFAULT.span,
    turn: Turn = DEFAULT.turn,
    start: float = DEFAULT.start,
    cutter: Cutter = DEFAULT.cutter,
    model: str | None = DEFAULT.model,
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
    span, turn, start, cutter, model, intent, arc, work_px, jobs, jitter, seed
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
        span=span, turn=turn, start=start, cutter=cutter, model=model, intent=intent, arc=arc, work_px=work_px,
        jobs=jobs, jitter=jitter, seed=seed,
    )
    with turnaround.workers(chosen.jobs) as run:
        pose = read_pose(Path(path), chosen, run, progress or silent, known)
    if not any(v.scored for v in pose.views):
        raise _useless(pose, path)
    return ranking.rank([pose], chosen.intent)[0]


def rank_poses(
    paths: Sequence[str | Path | Pose] | str | Path | Pose,
    *,
    intents: Mapping[str, Intent] | None = None,
    span: float = DEFAULT.span,
    turn: Turn = DEFAULT.turn,
    start: float = DEFAULT.start,
    cutter: Cutter = DEFAULT.cutter,
    model: str | None = DEFAULT.model,
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
        scored keeps its views and what it is meant to be; what counts of it follows ``arc``, like that of the others.
    intents : mapping, optional
        What poses are meant to be, by name, where that differs from ``intent``.
    span, turn, start, cutter, model, intent, arc, work_px, jobs, jitter, seed, progress, known
        As in :func:`score_pose`.

    Raises
    ------
    SilhouetteError
        As :func:`score_pose`; also where ``intents`` names no pose, or one that was scored as something else.
    """
    chosen = Settings(
        span=span, turn=turn, start=start, cutter=cutter, model=model, intent=intent, arc=arc, work_px=work_px,
        jobs=jobs, jitter=jitter, seed=seed,
    )
    given = _candidates(paths)
    if not given:
        raise PoseError("No pose was given.", do="Give a folder or clip for each pose.")
    names = _distinct_names(given)
    intents = intents or {}
    if unknown := sorted(set(intents) - set(names)):
        raise SettingsError(f"No pose is called {', '.join(unknown)}.", do=f"There are: {', '.join(names)}.")
    poses = []
    with turnaround.workers(chosen.jobs) as run:
        for one, name in zip(given, names, strict=True):
            if isinstance(one, Pose):
                pose = _counted(one, intents.get(name, one.intent), chosen)
            else:
                meant = chosen.but(intent=intents.get(name, chosen.intent))
                pose = read_pose(one, meant, run, progress or silent, known)
            poses.append(replace(pose, name=name))
    if not any(v.scored for pose in poses for v in pose.views):
        raise _useless(poses[0], poses[0].source)
    return ScoredRanking(ranking.rank(poses, chosen.intent), intent=chosen.intent, arc=chosen.arc)


def find_poses(paths: Sequence[str | Path]) -> list[Path]:
    """The poses meant by the paths: each path itself, or, for one folder that holds poses, what lies in it.

    Results of an earlier run that lie in that folder are no poses.

    Raises
    ------
    PoseError
        If a path does not exist, nothing in it can be a pose, or loose pictures lie beside the poses.
    """
    places = [Path(p) for p in paths]
    for place in places:
        if not place.exists():
            raise PoseError("does not exist.", path=place, do="Check the name, or drag the folder onto the terminal.")
    if len(places) != 1 or not places[0].is_dir():
        return places
    inside = sorted(places[0].iterdir(), key=lambda p: stills.natural_key(p.name))
    loose = [p.name for p in inside if stills.is_still(p)]
    poses = [p for p in inside if not p.name.startswith(".") and (film.is_clip(p) or _holds_stills(p))]
    if loose and not poses:
        return places
    if loose:
        raise PoseError(
            f"holds loose pictures ({loose[0]}) beside poses ({poses[0].name}).",
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


@dataclass(frozen=True)
class _Measured:
    """One picture after measuring; everything but the cut is None where there was no figure."""

    taken: Taken
    outline: Outline | None = None
    measures: Measures | None = None
    body: BodyReading | None = None
    reading: Reading | None = None


def read_pose(
    place: Path, settings: Settings, run: turnaround.Run, tell: turnaround.Progress, known: Memory | None
) -> ScoredPose:
    gathered = turnaround.gather(place, settings, run, tell, known)
    measured = list(run(partial(_measure, settings=settings), gathered.taken))
    measured, notes = _give_angles(measured, gathered, settings)
    views = _flag_same_angles([_to_view(m) for m in measured])
    views.sort(key=lambda v: (np.isnan(v.angle), v.angle, v.stop.index))
    views = circle.infer_far_side(views)
    if not any(v.scored for v in views):
        notes.append(_nothing_read(views))
    notes += _not_alone(views)
    walk, samples, low, high = _walk(views, settings)
    return ScoredPose(
        name=gathered.name,
        source=place,
        views=tuple(views),
        round=walk,
        reads_low=low,
        reads_high=high,
        flags=(ONE_PICTURE,) if len(gathered.taken) == 1 else (),
        notes=(*gathered.notes, *notes),
        intent=settings.intent,
        samples=samples,
    )


def _walk(views: Sequence[View], settings: Settings) -> tuple[Round, Any, int | None, int | None]:
    """The round of these views, its resamplings, and the range of degrees that read."""
    walk = circle.walk_round(views, settings.arc)
    samples = circle.resample(views, settings.arc, _edge_sd(views, settings), settings.seed)
    return walk, samples, *_interval(samples, walk)


def _counted(pose: Pose, intent: Intent | str, settings: Settings) -> Pose:
    """A pose scored earlier, counted on the arc that is asked for now."""
    if intent != pose.intent:
        raise SettingsError(f"{pose.name} was scored as {pose.intent}, not as {intent}.",
                            do=f"Score it again with intent={intent!r}, or give its folder.")
    walk, samples, low, high = _walk(pose.views, settings.but(intent=pose.intent))
    return replace(pose, round=walk, samples=samples, reads_low=low, reads_high=high)


def _measure(taken: Taken, settings: Settings) -> _Measured:
    if taken.cut is None or not taken.cut.mask.any():
        return _Measured(taken)
    found = measuring.measure_mask(taken.cut.mask, settings.intent)
    return _Measured(taken) if found is None else _Measured(taken, *found)


def _give_angles(
    measured: list[_Measured], gathered: turnaround.Gathered, settings: Settings
) -> tuple[list[_Measured], list[Note]]:
    """Spread the angles of stills that do not state one, now that it can be seen whether the last repeats the first."""
    if gathered.angled:
        return measured, []
    outlines = [m.outline for m in measured]
    repeats = circle.ends_where_it_began(outlines, settings.span)
    given = filenames.spread(len(measured), settings.span, start=settings.start, turn=settings.turn, repeats=repeats)
    last = None if settings.span not in (180, 360) else "repeats" if repeats else "one short"
    note = Note.of("angles spread", count=len(measured), span=settings.span, last=last)
    with_angles = [
        replace(m, taken=replace(m.taken, stop=replace(m.taken.stop, angle=a)))
        for m, a in zip(measured, given, strict=True)
    ]
    return with_angles, [note] if len(measured) > 1 else []


def _to_view(m: _Measured) -> View:
    cut = m.taken.cut
    flags = list(cut.flags) if cut is not None else [UNREADABLE]
    if cut is not None and m.outline is not None:
        if cut.confidence < TRUST and cut.cutter != "given" and CANNOT_TELL not in flags:
            flags.append(CANNOT_TELL)
        if m.body is None:
            flags.append(SHAPE_ALONE)
    trusted = CANNOT_TELL not in flags
    return View(
        stop=m.taken.stop,
        confidence=0.0 if cut is None else cut.confidence,
        cutter="" if cut is None else cut.cutter,
        flags=tuple(flags),
        outline=m.outline,
        measures=m.measures if trusted else None,
        body=m.body if trusted else None,
        reading=m.reading if trusted else None,
        full_size=m.taken.full_size,
        focal_35mm=m.taken.focal_35mm,
        problem=m.taken.problem,
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


def silent(what: str, done: int, total: int) -> None:
    """No one is watching the progress."""


def _holds_stills(folder: Path) -> bool:
    try:
        if not folder.is_dir() or any((folder / name).is_file() for name in RESULTS):
            return False
        return any(stills.is_still(p) for p in folder.iterdir())
    except OSError:
        return False


def _candidates(paths: Sequence[str | Path | Pose] | str | Path | Pose) -> list[Path | Pose]:
    """What is to be ranked: places, and poses already scored."""
    given = [paths] if isinstance(paths, str | Path | Pose) else list(paths)
    if any(isinstance(one, Pose) for one in given):
        return [one if isinstance(one, Pose) else Path(one) for one in given]
    return list(find_poses([one for one in given if not isinstance(one, Pose)]))


def _distinct_names(given: Sequence[Path | Pose]) -> list[str]:
    names = [one.name if isinstance(one, Pose) else turnaround.name_of(one) for one in given]
    places = [one.source if isinstance(one, Pose) else one for one in given]
    return [
        name if names.count(name) == 1 else f"{place.resolve().parent.name}-{name}"
        for name, place in zip(names, places, strict=True)
    ]


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
    return "Use a plain backdrop with even light, try --cutter neural, or put a mask beside the still (045.mask.png)."
