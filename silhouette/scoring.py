"""The whole line: pictures in, silhouettes cut, measured and read, the round walked, the poses ranked.

Read :func:`score_pose` first; the rest of the file is its steps in order.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from silhouette import turnaround
from silhouette.errors import AnglesError, FilmError, PictureError, PoseError, SettingsError, SilhouetteError
from silhouette.intake import film, stills
from silhouette.known import Memory
from silhouette.naming import named
from silhouette.reading import circle, ranking, view
from silhouette.records import (
    CANNOT_TELL,
    ONE_PICTURE,
    SAME_ANGLE,
    SHAPE_ALONE,
    TWO_FIGURES,
    UNREADABLE,
    BodyReading,
    Cut,
    Mask,
    Measures,
    Outline,
    Pose,
    Ranking,
    Reading,
    Round,
    Stop,
    View,
)
from silhouette.settings import Intent, Settings
from silhouette.shape import measure, outline
from silhouette.texts import printable

NOT_ONE_BODY = 0.8
"""``BodyReading.unlike`` from which to ask whether the model is alone. Of 700 rendered views as they are cut none
reaches 0.5; 95 % of pairs of figures that just touch reach it, 48 % of those that overlap by a third."""
POSE_FAULTS = (PictureError, PoseError, AnglesError, FilmError)
"""What is wrong with one pose alone; a cutter that is not at hand would fail them all."""
EDGE = 0.002
"""How far a mask's edge may be off, figure heights: a pixel on a figure of 500."""


def score_pose(
    path: str | Path, *, progress: turnaround.Progress | None = None, known: Memory | None = None, **settings: Any
) -> Pose:
    """Read one pose all round.

    Parameters
    ----------
    path : path-like
        A folder of stills, one still, or a clip.
    progress : callable, optional
        Told what is being done and how far it is.
    known : Memory, optional
        Silhouettes already cut, see ``known.py``; None remembers nothing.
    **settings
        Fields of :class:`silhouette.settings.Settings`.

    Raises
    ------
    SilhouetteError
        If the place, the settings or every picture is of no use; says what to do.
    """
    chosen = Settings().but(**settings)
    with turnaround.workers(chosen.jobs) as run:
        pose = read_pose(Path(path), chosen, run, progress or turnaround.silent, known)
    if not any(v.scored for v in pose.views):
        raise _useless(pose, path)
    return ranking.rank([pose], chosen.intent)[0]


def rank_poses(
    paths: Sequence[str | Path] | str | Path,
    *,
    progress: turnaround.Progress | None = None,
    known: Memory | None = None,
    intents: Mapping[str, Intent] | None = None,
    **settings: Any,
) -> Ranking:
    """Read several candidate poses and put them in order, best first; none is dropped.

    ``paths`` are poses as in :func:`score_pose`, or one folder that holds a folder or clip for each pose. ``intents``
    says for poses by name what they are meant to be where that differs from the setting ``intent``. A pose that cannot
    be used at all does not stop the others: ``left_out`` tells it.

    Raises
    ------
    SilhouetteError
        If the settings or all poses are of no use; says what to do.
    """
    chosen = Settings().but(**settings)
    places = find_poses([paths] if isinstance(paths, str | Path) else paths)
    names = _distinct_names(places)
    if unknown := sorted(set(intents or ()) - set(names)):
        raise SettingsError(f"No pose is called {', '.join(unknown)}.", do=f"There are: {', '.join(names)}.")
    poses, left_out, first = [], [], None
    with turnaround.workers(chosen.jobs) as run:
        for place, name in zip(places, names, strict=True):
            meant = chosen.but(intent=(intents or {}).get(name, chosen.intent))
            try:
                poses.append(replace(read_pose(place, meant, run, progress or turnaround.silent, known), name=name))
            except POSE_FAULTS as error:
                left_out.append((name, str(error)))
                first = first or error
    if first is not None and not poses:
        raise _all_left_out(first, len(places)) from first
    if not any(v.scored for pose in poses for v in pose.views):
        raise _useless(poses[0], poses[0].source)
    ordered = ranking.rank(poses, chosen.intent)
    return Ranking(ordered, intent=chosen.intent, arc=chosen.arc, left_out=tuple(left_out))


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
        turnaround.refuse_missing(place)
    if len(places) != 1 or not places[0].is_dir() or stills.written_by_us(places[0]):
        return places
    try:
        inside = sorted(places[0].iterdir(), key=lambda p: (stills.natural_key(p.name), p.name))
    except OSError as error:
        raise stills.cannot_open(places[0], error) from None
    loose = [p.name for p in inside if stills.is_still(p) and not p.is_dir()]
    poses = [p for p in inside if not p.name.startswith(".") and _is_pose(p)]
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


def placed(result: Ranking) -> Ranking:
    """The same without the views whose angle is not known: they have no place on a wheel or a sheet."""
    poses = [replace(p, views=tuple(v for v in p.views if not np.isnan(v.angle))) for p in result.poses]
    return replace(result, poses=tuple(poses))


def as_html(result: Ranking) -> str:
    """How a result shows itself in a notebook: wheels and strips of black shapes, as inline SVG."""
    from silhouette.show import report

    return report.fragment(placed(result))


def measure_mask(mask: Mask, intent: Intent = "open") -> tuple[Outline, Measures, BodyReading | None, Reading] | None:
    """Outline, measures, the reader's reading (None where it stood aside) and the verdict; None for an empty mask."""
    line = outline.outline_of(mask)
    if line is None:
        return None
    measures = measure.measure_outline(line.polygon)
    body = _read_body(line)
    return line, measures, body, view.read_view(measures, line, intent, body)


def _read_body(line: Outline) -> BodyReading | None:
    """The reader's reading; None where it stands aside or cannot be run."""
    from silhouette.reading import reader

    body = _read_any(line)
    return body if body is not None and body.unlike < reader.UNLIKE else None


def _read_any(line: Outline) -> BodyReading | None:
    """As :func:`_read_body`, however unlike a body the outline is."""
    from silhouette.reading import reader

    try:
        return reader.read_body(line)
    except SilhouetteError:
        return None

# ------------------------------------------------------------------------------------------------- one pose, in steps


def read_pose(
    place: Path, settings: Settings, run: turnaround.Run, tell: turnaround.Progress, known: Memory | None
) -> Pose:
    shot = turnaround.ingest(place, settings, run=run, tell=tell, known=known)
    views = list(run(partial(_read_view, intent=settings.intent), shot.stops, shot.cuts))
    views = _flag_same_angles(views)
    views.sort(key=lambda v: (np.isnan(v.angle), v.angle, v.stop.index))
    views = circle.infer_far_side(views)
    walk = circle.walk_round(views, settings.arc)
    samples = circle.resample(views, settings.arc, _edge_sd(views, settings), settings.seed)
    low, high = _interval(samples, walk)
    notes = list(shot.notes)
    if not any(v.scored for v in views):
        notes.append(f"Not read: {_nothing_read(views)}")
    notes += _not_alone(views)
    return Pose(
        name=shot.name,
        source=place,
        views=tuple(views),
        round=walk,
        reads_low=low,
        reads_high=high,
        flags=(ONE_PICTURE,) if len(shot.stops) == 1 else (),
        notes=tuple(notes),
        intent=settings.intent,
        samples=samples,
    )


def _read_view(stop: Stop, cut: Cut | None, intent: Intent) -> View:
    """Measure and read one stop; without a trusted cut its outline is kept alone."""
    found = None if cut is None or not cut.mask.any() else measure_mask(cut.mask, intent)
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
        mask_bits=None if cut is None else np.packbits(cut.mask),
    )


def _flag_same_angles(views: list[View]) -> list[View]:
    """Flag views that share an angle, the closing stop of an even spread excepted."""
    told = [v for v in views if v.stop.angle_from in ("name", "csv") and not np.isnan(v.angle)]
    count = {v.angle: sum(o.angle == v.angle for o in told) for v in told}
    return [replace(v, flags=(*v.flags, SAME_ANGLE)) if count.get(v.angle, 0) > 1 else v for v in views]


def _not_alone(views: Sequence[View]) -> list[str]:
    """A question where scored outlines are far from any one body's: two people who touch are cut out as one figure."""
    asked = []
    for v in views:
        if v.scored and not v.inferred and SHAPE_ALONE in v.flags and v.outline is not None:
            body = _read_any(v.outline)
            asked += [v.stop] if body is not None and body.unlike >= NOT_ONE_BODY else []
    if not asked:
        return []
    where = "The outline" if len(views) == 1 else f"At {named(asked, range(len(asked)))} the outline"
    return [
        f"{where} is unlike one body. Does somebody, or something large, touch the model? Then take the pictures again "
        "without; if not, look whether the figure was cut out right."
    ]


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
    return view.read_view(measure.measure_outline(polygon), line, intent, _read_body(line)).readability


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
        return stills.written_by_us(place) is None and any(map(stills.is_still, place.iterdir()))
    except OSError:
        return False


def _distinct_names(places: Sequence[Path]) -> list[str]:
    names = [turnaround.name_of(p) for p in places]
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
    return PoseError(_nothing_read(pose.views), path=None if named else path, do=_what_then(pose))


def _nothing_read(views: Sequence[View]) -> str:
    problems = [v.problem for v in views if v.problem]
    if problems and len(problems) == len(views):
        if len(problems) == 1:
            return problems[0]
        return f"none of its {len(problems)} pictures can be read. The first: {problems[0]}"
    if all(v.outline is None for v in views):
        return "no figure was found." if len(views) == 1 else f"no figure was found in its {len(views)} pictures."
    if all(TWO_FIGURES in v.flags for v in views if v.outline is not None):
        return "two people stand in it, and it cannot be told which of them is meant."
    return "the figure could not be told from the background well enough to score it."


def _what_then(pose: Pose) -> str | None:
    if all(v.problem for v in pose.views):
        return None  # each problem says it
    return "Use a plain backdrop with even light, try --cutter neural, or put a mask beside the still (045.mask.png)."
