"""The shoot check, while the model is still there: what to retake, and why. Sentences for the studio, worst first.

Each question has its own small function that returns one :class:`Finding`. What an outline or a picture cannot show is
answered with ``unknown``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from silhouette.check import distance, light
from silhouette.errors import PoseError
from silhouette.geometry.angles import difference
from silhouette.naming import named
from silhouette.records import CANNOT_TELL, TWO_FIGURES, Stop
from silhouette.records_shoot import CheckReport, Finding, StopLook, Verdict
from silhouette.settings import TRUST
from silhouette.turn import rigidity, steps
from silhouette.turn import stance as spot

Floats = NDArray[np.float64]

ORDER = {"retake": 0, "look": 1, "unknown": 2, "pass": 3}
LEAST_STOPS = 6
"""Fewer stops than this are no turn that could be checked."""
NEEDED = f"The check needs a whole turn: at least {LEAST_STOPS} stops in the order shot, the camera fixed."
"""What is asked of a person whose pictures are no turn."""
MOST = 0.5
"""Share of the stops from which somebody else in the picture is no mistake at single stops any more; and of those that
seem to have moved from which the frame that cuts them is the likelier cause."""
NOT_ROUND_DEG = 4.0
"""Short of a full turn by this, or a third of a step, it is open."""
SMALL_PX, TINY_PX = 200.0, 100.0
"""Figure heights in the original, pixels, under which thin gaps are lost, and under which an outline says little."""
SOFTER, BLURRED = 1.6, 2.2
"""Edge width of a stop over the usual one from which it is soft, and from which it is a retake."""
SOFT_ALL = 0.012
"""Usual edge width over the figure's height from which the whole set is soft."""
CERTAIN = 0.015
"""Share of the figure that sticks out at single stops under which a fault of the cut is as likely as a move."""
OFF_SPOT, FAR_OFF = 0.03, 0.06
"""Figure heights off the spot worth a look (5 cm), and a retake (10 cm)."""


def check_turnaround(
    name: str,
    stops: Sequence[Stop],
    looks: Sequence[StopLook],
    *,
    height_m: float | None = None,
    turned: Floats | None = None,
) -> CheckReport:
    """Answer every question of the shoot check.

    Parameters
    ----------
    name : what the turnaround is called
    stops : n stops in the order shot
    looks : n looks, one a stop, by :func:`silhouette.check.look.look_at`
    height_m : the figure's height in the room as it stands in the pose, metres, if known: turns shares into centimetres
    turned : (n,) degrees turned since the first stop, where more is known of them than the stops' angles say

    Raises
    ------
    PoseError
        No figure was found in any picture.
    """
    if not any(look.mask.any() for look in looks):
        raise PoseError("No figure was found in any of the pictures.", do="Film the model before a plain backdrop.")
    turned = turned_through(stops) if turned is None else turned
    sure = [k for k, look in enumerate(looks) if look.mask.any() and look.confidence >= TRUST]
    same_size = len({looks[k].mask.shape for k in sure}) == 1
    known = _told(stops)
    pose, moved = None, None
    if len(sure) >= 2 and same_size:
        moved = spot.jump([looks[k].mask for k in sure])
    if len(sure) >= 8 and same_size and known and moved is None:
        pose = rigidity.judge([looks[k].mask for k in sure], turned[np.asarray(sure)])
    findings = [
        *(_turn_lost() if moved is not None else _turn(stops, turned, looks)),
        held_pose(stops, turned, looks, sure, pose, height_m),
        camera_moved(stops, sure[moved]) if moved is not None else stance(stops, turned, looks, sure, height_m),
        framing(stops, looks), figure_size(stops, looks), sharpness(stops, looks),
        light.steady_light(stops, looks), light.light_direction(looks),
        distance.distance(looks, height_m, _nearness(pose, turned, looks)), distance.camera_height(looks, height_m),
    ]
    findings.sort(key=lambda f: ORDER[f.verdict])
    return CheckReport(name, tuple(stops), tuple(findings))


def _turn(stops: Sequence[Stop], turned: Floats, looks: Sequence[StopLook]) -> list[Finding]:
    return [full_turn(stops, turned), missing_stops(stops, turned), doubled_stops(stops, turned, looks)]


def _turn_lost() -> list[Finding]:
    """The answers about the turn where the camera was moved on the way."""
    text = "The camera was moved on the way: how far the model turned is not known."
    return [Finding(check, "unknown", (), text, "") for check in ("full turn", "missing stops", "doubled stops")]


def _told(stops: Sequence[Stop]) -> bool:
    """Whether anything but an even spread says how far the model turned."""
    return any(s.angle_from != "spread" or s.angle_sure is not None for s in stops)


def turned_through(stops: Sequence[Stop]) -> Floats:
    """(n,) degrees turned since the first stop, past 360 if need be; negative where the model turned to its right."""
    angles = np.asarray([s.angle for s in stops], dtype=np.float64)
    steps = difference(angles[1:], angles[:-1])
    if len(steps) and np.median(steps) < 0:
        steps = np.where(steps > 90, steps - 360, steps)
    elif len(steps):
        steps = np.where(steps < -90, steps + 360, steps)
    return np.concatenate([[0.0], np.cumsum(steps)])[: len(stops)]


def full_turn(stops: Sequence[Stop], turned: Floats) -> Finding:
    """Did the model come back to where it started, and how far past it?"""
    if len(stops) < LEAST_STOPS:
        return Finding("full turn", "unknown", (), "Too few stops to speak of a turn.", NEEDED)
    if not _told(stops):
        text = "The stops have no angles of their own: they were spread evenly."
        return Finding("full turn", "unknown", (), text, NEEDED)
    total, step = abs(float(turned[-1])), steps.usual_step(turned)
    last = len(stops) - 1
    slack = max(NOT_ROUND_DEG, step / 3)
    if total >= 360 - slack:
        past = total - 360
        overlap = f"{past:.0f} degrees past the start" if past >= 1 else "just to the start"
        return Finding("full turn", "pass", (), f"The turn is closed: it goes {overlap}.", "")
    if total + step >= 360 - slack:
        text = "The stops go all round; the first was not repeated, so nothing shows the pose come full circle."
        return Finding("full turn", "pass", (), text, "Next time turn one stop past the start.")
    lacking = 360 - total
    return Finding(
        "full turn", "retake", (last,),
        f"The turn is open: it ends at {stops[last].angle:.0f}, {lacking:.0f} degrees short of the start.",
        f"Go on turning from {stops[last].angle:.0f}, past the start by one stop.",
    )


def missing_stops(stops: Sequence[Stop], turned: Floats) -> Finding:
    """Is a step so much larger than the others that a stop was skipped?"""
    if len(stops) < 5 or not _told(stops):
        return Finding("missing stops", "unknown", (), "The steps between the stops are not known.", "")
    usual, wide = steps.usual_step(turned), steps.skipped(turned)
    if not wide:
        return Finding("missing stops", "pass", (), f"The steps are about {usual:.0f} degrees all round.", "")
    places = []
    for k in wide:
        count = max(1, round(abs(float(turned[k + 1] - turned[k])) / usual) - 1)
        what = "a stop is" if count == 1 else f"{count} stops are"
        places.append(f"{what} missing between {stops[k].angle:.0f} and {stops[k + 1].angle:.0f}")
    text = "; ".join(places)
    return Finding(
        "missing stops", "retake", tuple(sorted({j for k in wide for j in (k, k + 1)})),
        f"{text[0].upper()}{text[1:]}, where the usual step is {usual:.0f} degrees.",
        "Shoot what is missing there.", after_stop=tuple(wide),
    )


def doubled_stops(stops: Sequence[Stop], turned: Floats, looks: Sequence[StopLook]) -> Finding:
    """Were two stops shot at one angle?"""
    if len(stops) < 5 or not _told(stops):
        return Finding("doubled stops", "unknown", (), "The steps between the stops are not known.", "")
    twice = steps.repeated(turned, [look.mask for look in looks])
    if not twice:
        return Finding("doubled stops", "pass", (), "No two stops in a row show the same view.", "")
    pairs = "; ".join(f"{stops[k].name} and {stops[k + 1].name} (at {stops[k].angle:.0f})" for k in twice)
    return Finding(
        "doubled stops", "look", tuple(sorted({j for k in twice for j in (k, k + 1)})),
        f"{pairs} show the same view.", "Keep the better one of each pair.",
    )


def _nearness(pose: rigidity.Held | None, turned: Floats, looks: Sequence[StopLook]) -> float | None:
    """Only whole outlines of a whole turn tell how near the camera stood."""
    whole = pose is not None and not pose.unfit and abs(float(turned[-1])) >= 300
    return pose.nearness if pose is not None and whole and not any(look.edges for look in looks) else None


def held_pose(
    stops: Sequence[Stop], turned: Floats, looks: Sequence[StopLook], sure: Sequence[int], pose: rigidity.Held | None,
    height_m: float | None,
) -> Finding:
    """Do all outlines belong to one rigid figure? The pose is not blamed for what the frame cuts."""
    if pose is None:
        text = "Too few outlines that can be trusted and compared to hold one stop against the others."
        return Finding("held pose", "unknown", (), text, "")
    if pose.unfit:
        text = (
            "The outlines do not fit together from the start: the camera moved between stops, the angles are wrong, or "
            "the pose never settled."
        )
        return Finding("held pose", "unknown", (), text, "Put the camera on a tripod and check the angles.")
    if not pose.moved:
        reach = "" if abs(float(turned[-1])) >= 270 else " so far; opposite views, which show most, are still to come"
        return Finding("held pose", "pass", (), f"The outlines of all stops fit one figure that held still{reach}.", "")
    which = [sure[k] for k in pose.moved]
    if sum(bool(looks[k].edges) for k in which) > MOST * len(which):
        text = "The frame cuts the figure, so the rest of it does not tell whether the pose was held."
        return Finding("held pose", "unknown", (), text, "")
    far = f"about {100 * pose.far * height_m:.0f} cm" if height_m else f"about {100 * pose.far:.0f} % of its height"
    way = "lower than before" if pose.sank > 0.01 else "higher than before" if pose.sank < -0.01 else "elsewhere"
    if pose.drifting:
        text = f"From {stops[which[0]].angle:.0f} on the figure at {pose.where} is {way} by {far} at worst."
        do = f"Let the model rest, take up the pose again and retake from {stops[which[0]].angle:.0f} on."
        return Finding("held pose", "retake", tuple(which), text, do, where=pose.where, how_far=far)
    clear = [sure[k] for k in pose.moved if pose.share[k] >= CERTAIN]
    told, doubtful = clear or which, [k for k in which if clear and k not in clear]
    text = f"At {named(stops, told)} the figure at {pose.where} is {way} by {far}, unlike at the other stops."
    if not clear:
        do = f"Look at {named(stops, told)}: retake if it moved; the cut may also be wrong there."
        return Finding("held pose", "look", tuple(told), text, do, where=pose.where, how_far=far)
    do = f"Retake {named(stops, told)}."
    if doubtful:
        do += f" Look at {named(stops, doubtful)} too: it sticks out a little there, or the cut is wrong."
    return Finding("held pose", "retake", tuple(told), text, do, where=pose.where, how_far=far)


def stance(
    stops: Sequence[Stop], turned: Floats, looks: Sequence[StopLook], sure: Sequence[int], height_m: float | None
) -> Finding:
    """Did the model stay on its spot, and the camera on its own?"""
    shift = None
    same_size, known = len({looks[k].mask.shape for k in sure}) == 1, any(s.angle_from != "spread" for s in stops)
    if len(sure) >= 8 and same_size and known:
        shift = spot.sideways([looks[k].mask for k in sure], turned[np.asarray(sure)])
    if shift is None:
        return Finding("stance", "unknown", (), "Too few outlines with known angles to tell where the model stood.", "")
    size = np.abs(shift)
    far = f"{100 * size.max() * height_m:.0f} cm" if height_m else f"{100 * size.max():.1f} % of its height"
    off = np.flatnonzero(size > OFF_SPOT)
    if not len(off):
        return Finding("stance", "pass", (), f"The feet stay on their spot, within {far} sideways.", "")
    which = tuple(sure[int(k)] for k in off)
    text = f"At {named(stops, which)} the model stands up to {far} off its spot, or the camera was moved."
    retake = bool(size.max() > FAR_OFF)
    do = f"Step back on the foot marks and retake {named(stops, which)}." if retake else "Mind the foot marks."
    return Finding("stance", "retake" if retake else "look", which, text, do)


def camera_moved(stops: Sequence[Stop], stop: int) -> Finding:
    """The answer to the stance where the whole picture shifted."""
    before, after = stops[stop - 1], stops[stop]  # their angles are not known
    where = f"{before.name} and {after.name}"
    if before.time is not None and after.time is not None:
        where = f"{before.time:.1f} and {after.time:.1f} s of the clip"
    return Finding(
        "stance", "retake", (stop,),
        f"Between {where} the whole figure jumps in the picture: the camera was moved. Angles and pose cannot be "
        "compared across that.",
        "Fix the tripod and shoot the whole turn again.",
    )


def framing(stops: Sequence[Stop], looks: Sequence[StopLook]) -> Finding:
    """Is the model in every picture, whole and alone?

    All that is wrong is said, gravest first; the stops named are those of the gravest verdict.
    """
    if not any(look.mask.any() for look in looks):
        return Finding("framing", "unknown", (), "No figure was found.", "")
    wrong = [f for f in (_cut_off(stops, looks), _no_figure(stops, looks), _two_people(stops, looks),
                         _not_made_out(stops, looks)) if f is not None]
    if wrong:
        wrong.sort(key=lambda f: ORDER[f.verdict])
        worst = wrong[0].verdict
        which = sorted({k for f in wrong if f.verdict == worst for k in f.stops})
        evidence, do = " ".join(f.evidence for f in wrong), " ".join(f.do for f in wrong)
        return Finding("framing", worst, tuple(which), evidence, do)
    room = min(_margin(look) for look in looks)
    text = f"The whole figure is in every picture, {100 * room:.0f} % clear of the edge."
    return Finding("framing", "pass", (), text, "")


def _cut_off(stops: Sequence[Stop], looks: Sequence[StopLook]) -> Finding | None:
    """The figure reaches the picture's edge."""
    cut = [k for k, look in enumerate(looks) if look.edges]
    if not cut:
        return None
    sides = {edge for k in cut for edge in looks[k].edges}
    # held upright, a camera sees more above and below, and less at the sides
    wide = all(looks[k].full_size[0] > looks[k].full_size[1] for k in cut)
    turn = " or turn the camera upright" if wide and sides <= {"top", "bottom"} else ""
    return Finding(
        "framing", "retake", tuple(cut),
        f"At {named(stops, cut)} the figure is cut by the frame ({', '.join(sorted(sides))}).",
        f"Step back{turn}, and retake {named(stops, cut)}.",
    )


def _no_figure(stops: Sequence[Stop], looks: Sequence[StopLook]) -> Finding | None:
    """Nothing was cut out: whatever the reason, no outline is to be had from that stop."""
    empty = [k for k, look in enumerate(looks) if not look.mask.any()]
    if not empty:
        return None
    text = f"The figure could not be made out at {named(stops, empty)}: nothing that could be one was found."
    return Finding("framing", "retake", tuple(empty), text, f"Retake {named(stops, empty)}.")


def _two_people(stops: Sequence[Stop], looks: Sequence[StopLook]) -> Finding | None:
    """Somebody beside the model: in most pictures a mistake of the set-up, in a few perhaps a stand or a shadow."""
    both = [k for k, look in enumerate(looks) if TWO_FIGURES in look.flags]
    if not both:
        return None
    if len(both) > MOST * len(looks):
        return Finding(
            "framing", "retake", tuple(both), "Two people stand in the picture; only the model may.",
            f"Clear the picture of everybody else and retake {named(stops, both)}.",
        )
    return Finding(
        "framing", "look", tuple(both), f"At {named(stops, both)} a second figure stands in the picture.",
        f"Look at {named(stops, both)}: retake if somebody stood beside the model.",
    )


def _not_made_out(stops: Sequence[Stop], looks: Sequence[StopLook]) -> Finding | None:
    """A figure was cut out, but the cut is not trusted; a second person, already named, explains it."""
    faint = [k for k, look in enumerate(looks)
             if CANNOT_TELL in look.flags and TWO_FIGURES not in look.flags and look.mask.any()]
    if not faint:
        return None
    return Finding(
        "framing", "look", tuple(faint), f"The figure could not be made out at {named(stops, faint)}.",
        f"Look at {named(stops, faint)}: backdrop plain, nobody else in it, figure whole, light even?",
    )


def _margin(look: StopLook) -> float:
    """Least distance of the figure from the picture's edge over the picture's longer side."""
    rows, columns = np.flatnonzero(look.mask.any(axis=1)), np.flatnonzero(look.mask.any(axis=0))
    height, width = look.mask.shape
    return float(min(rows[0], height - 1 - rows[-1], columns[0], width - 1 - columns[-1]) / max(height, width))


def figure_size(stops: Sequence[Stop], looks: Sequence[StopLook]) -> Finding:
    """Is the figure large enough in the original pictures?"""
    heights = np.asarray([look.height_px for look in looks if look.height_px > 0])
    if not len(heights):
        return Finding("figure size", "unknown", (), "No figure was found.", "")
    usual = float(np.median(heights))
    text = f"The figure is about {usual:.0f} pixels high in the original pictures."
    if usual < TINY_PX:
        do = "Use a longer lens or the full resolution: 600 pixels serve well."
        return Finding("figure size", "retake", (), text, do)
    if usual < SMALL_PX:
        do = "Use a longer lens or a higher resolution."
        return Finding("figure size", "look", (), f"{text} Thin gaps get lost.", do)
    return Finding("figure size", "pass", (), text, "")


def sharpness(stops: Sequence[Stop], looks: Sequence[StopLook]) -> Finding:
    """Is a stop blurred, against the others or altogether?"""
    widths = np.asarray([np.nan if look.edge_width is None else look.edge_width for look in looks])
    heights = [look.height_px for look in looks if look.height_px > 0]
    if np.isfinite(widths).sum() < 3 or not heights:
        text = "The figure stands out too little from the backdrop to judge it."
        return Finding("sharpness", "unknown", (), text, "")
    usual = float(np.nanmedian(widths))
    text = f"The figure's edge is about {usual:.1f} pixels wide"
    soft = np.flatnonzero(widths > SOFTER * usual)
    if len(soft):
        worst = float(np.nanmax(widths) / usual)
        which = tuple(int(k) for k in soft)
        verdict: Verdict = "retake" if worst > BLURRED else "look"
        return Finding(
            "sharpness", verdict, which, f"{text}; at {named(stops, which)} up to {worst:.1f} times that: blurred.",
            f"Retake {named(stops, which)}, at 1/125 s or faster." if verdict == "retake" else "Look at it enlarged.",
        )
    if usual / float(np.median(heights)) > SOFT_ALL:
        return Finding(
            "sharpness", "look", (), f"{text} at every stop, much for a figure of this size: soft.",
            "Lock the focus on the model; clean the lens.",
        )
    return Finding("sharpness", "pass", (), f"{text} at every stop.", "")
