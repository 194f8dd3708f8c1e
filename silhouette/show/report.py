"""The report page: one html file that opens from disk, offline, with every figure inside it as vector drawing."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

from silhouette.records import Pose, Ranking, View
from silhouette.settings import RINGS
from silhouette.show import html, ink, ring_scale, svg, words, words_rings
from silhouette.show.advice import advice_line, advise
from silhouette.show.groups import by_intent, by_ring
from silhouette.show.trouble import neighbours_of, numbered, troubles
from silhouette.show.wheel_svg import wheel_for_page, wheel_svg
from silhouette.writing import whole_file


def write_report(ranking: Ranking, path: Path) -> Path:
    """Write the page: turn the figure, see band, reasons and parts on it, jump by the wheel, compare two poses.

    Parameters
    ----------
    ranking : Ranking
        One pose or several, best first.
    path : Path
        The html file to write.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    return whole_file(Path(path), report_html(ranking).encode())


def report_html(ranking: Ranking) -> str:
    """The page as text; under 1 MB for one pose of 24 views, with nothing fetched from anywhere."""
    groups = by_intent(ranking)
    ranking = replace(ranking, poses=tuple(pose for _, group in groups for pose in group))
    keys = [f"p{i}" for i in range(len(ranking.poses))]
    px = ink.common_px([pose.views for pose in ranking.poses])
    poses = [_pose_context(pose, key, px, ranking.arc) for pose, key in zip(ranking.poses, keys, strict=True)]
    rest = iter(poses)
    choices = [(heading, [next(rest) for _ in group]) for heading, group in groups]
    title = poses[0]["name"] if len(poses) == 1 else f"{len(poses)} candidate poses"
    data = html.script_json([_pose_data(pose, px) for pose in ranking.poses])
    shot = {one.ring for pose in ranking.poses if pose.other_rings for one in pose.rings}
    rings = [(ring, words_rings.NAMES[ring].removesuffix(" ring")) for ring in reversed(RINGS) if ring in shot]
    return html.render("report.html.j2", title=title, poses=poses, choices=choices, patterns=_patterns(), rings=rings,
                       asked=words.asked(ranking), data=data, cannot_see=words.CANNOT_SEE)


def fragment(result: Pose | Ranking) -> str:
    """A wheel and a strip of figures for each pose, as static html for a notebook: no script, nothing fetched."""
    poses, arc = (result.poses, result.arc) if isinstance(result, Ranking) else ((result,), None)
    # Several fragments may stand on one page: their figures' names must differ.
    told = "".join(f"{p.name!a}{p.round.degrees.tolist()}" for p in poses)
    mark = hashlib.sha1(told.encode()).hexdigest()[:8]
    return html.render(
        "fragment.html.j2",
        poses=[_pose_context(pose, f"s{mark}{i}", arc=arc) for i, pose in enumerate(poses)], patterns=_patterns())


def _patterns() -> Any:
    from markupsafe import Markup

    return Markup(svg.PATTERNS)


# --------------------------------------------------------------------------------------------- what the templates get

def _pose_context(pose: Pose, key: str, px: float | None = None,
                  arc: tuple[float, float] | None = None) -> dict[str, Any]:
    """Words and drawings of one pose. Drawings are markup made here from numbers; words are escaped by the template."""
    from markupsafe import Markup

    wheel = wheel_for_page(pose, arc)
    letters = {id(letter.arc): letter.letter for letter in wheel.letters}
    rings, most, viewer = by_ring(pose), ring_scale.most_px(pose, px), words.for_a_viewer(pose)
    keys, tall = _ring_keys(pose, key), words_rings.metres(ring.camera for ring in rings)
    sizes = [svg.extent(ring.views, ink.relative_heights(ring.views, most[ring.ring])) for ring in rings]
    half, high = (max(size[k] for size in sizes) for k in (0, 1))
    definitions = "".join(svg.definitions(ring, keys[ring.ring]) for ring in rings)
    return {
        "key": key, "number": key[1:], "name": pose.name, "headline": words.headline(pose),
        "sure": words.give_or_take(pose), "beside": words_rings.beside(pose),
        "rank": pose.rank, "placed": words.place_of(pose), "hint": words.closed_hint(pose),
        "remarks": words.remarks(pose), "viewer": viewer,
        "notes": [note for note in words.notes(pose) if note not in viewer],
        "definitions": Markup(definitions), "wheel": Markup(wheel_svg(pose, key, wheel)),
        "half": half, "tall": high, "box": svg.view_box(half, high),
        "nowhere": "" if pose.round.reads_degrees is None else words.nowhere_weak(arc),
        "counts": f"Only {words.from_to(*arc)} counts: the bracket on the wheel." if arc is not None else "",
        "advice": [{"text": a.text[:1].upper() + a.text[1:], "where": advice_line(a)} for a in advise(pose)],
        "rings": [_ring_context(ring, keys[ring.ring], most[ring.ring], letters, arc, tall) for ring in rings],
        "several": len(rings) > 1,
        "blind": words_rings.blind_spots(pose.blind_spots, tall),
        "close_ups": words_rings.close_ups(pose.close_ups),
    }


def _ring_keys(pose: Pose, key: str) -> dict[str, str]:
    """What the figures of each ring are called on the page: those of the headline's as those of a pose of one ring."""
    return {one.ring: key if one.ring == pose.ring else f"{key}{one.ring}" for one in pose.rings}


def _ring_context(pose: Pose, key: str, most: float | None, letters: dict[int, str],
                  arc: tuple[float, float] | None, stature_m: float | None) -> dict[str, Any]:
    """One ring of a pose, given as a pose of its own."""
    heights, camera = ink.relative_heights(pose.views, most), words_rings.camera(pose.camera, stature_m)
    return {
        "ring": pose.ring, "name": words_rings.named(pose).capitalize(), "key": key, "headline": words.headline(pose),
        "sure": words.give_or_take(pose), "camera": camera[:1].upper() + camera[1:],
        "arcs": [{"letter": letters.get(id(weak), ""), "where": words.stretch(weak.start, weak.end),
                  "why": words.reasons(weak.causes), "to": round(weak.start + weak.width / 2) % 360}
                 for weak in pose.round.weak_arcs],
        "nowhere": "" if pose.round.reads_degrees is None else words.nowhere_weak(arc),
        "missing": [words.stretch(hole.start, hole.end) for hole in pose.round.missing_arcs],
        "views": [_view_context(view, pose, i, heights.get(i, 1.0)) for i, view in enumerate(pose.views)],
    }


def _view_context(view: View, pose: Pose, index: int, height: float) -> dict[str, Any]:
    reading = view.reading if view.scored else None
    return {
        "i": index, "angle": words.degrees(view.angle), "told": words.stop_angle(view, pose.views),
        "standing": words.standing(view),
        "band": reading.band if reading is not None else "none", "class": svg.figure_class(view),
        "drawn": view.outline is not None, "place": f"translate(0 {svg.UNIT * (1 - height):.0f}) scale({height:.4f})",
        "reads": "–" if reading is None else f"{reading.readability:.0f}",
        "clear": "–" if reading is None else f"{reading.clear:.0f}",
        "interest": "–" if reading is None else f"{reading.interesting:.0f}",
        "why": words.reasons(reading.reasons) if reading is not None else view.problem or "",
    }


def _pose_data(pose: Pose, px: float | None) -> dict[str, Any]:
    """What the page's script needs besides the drawings: a row a view, and what can be laid over its outline; of
    several rings, these of each, the highest first, where they are not the headline's."""
    most = ring_scale.most_px(pose, px)
    main, *others = by_ring(pose)
    data: dict[str, Any] = {"name": pose.name, "views": _views_data(main, most[pose.ring])}
    if others:
        data["rings"] = [
            {"ring": one.ring, "name": words_rings.NAMES[one.ring], "key": _ring_keys(pose, "")[one.ring]}
            | ({} if one is main else {"views": _views_data(one, most[one.ring])})
            for one in sorted((main, *others), key=lambda one: -RINGS.index(one.ring))]
    return data


def _views_data(pose: Pose, most: float | None) -> list[dict[str, Any]]:
    heights = ink.relative_heights(pose.views, most)
    return [_view_data(v, pose, heights.get(i, 1.0)) for i, v in enumerate(pose.views)]


def _view_data(view: View, pose: Pose, height: float) -> dict[str, Any]:
    reading = view.reading if view.scored else None
    marks = numbered(troubles(view, neighbours_of(view, pose.views)))
    numbers = {t.cause: n for n, t in marks}
    causes = list(dict.fromkeys([*(reading.reasons if reading is not None else ()), *numbers]))
    why: list[list[Any]] = [[words.told(cause), numbers.get(cause)] for cause in causes]
    if reading is None and view.problem:
        why = [[view.problem, None]]
    told: dict[str, Any] = {
        "a": round(view.angle, 1), "side": words.side_of(view.angle), "s": words.standing(view),
        "b": reading.band if reading is not None else "none", "h": round(height, 4), "c": svg.figure_class(view),
        "r": None if reading is None else [round(n) for n in (reading.readability, reading.clear, reading.interesting)],
        "why": why,
        "flags": [*(words.flag(flag, pose) for flag in view.flags), *map(words.doubt, view.doubts)],
        "marks": [[round(svg.UNIT * n) for n in (t.x, t.y, t.half_width, t.half_height)] + [n] for n, t in marks],
    }
    if view.measures is not None and view.outline is not None:
        told["gaps"] = [[svg.path_d(g.polygon), g.kind] for g in view.measures.gaps]
        told["parts"] = [svg.path_d(p.polygon) for p in view.measures.parts]
        told["wrap"] = svg.path_d(view.outline.drawn.convex_hull)  # type: ignore[arg-type]
    return told
