"""The sentences of the shoot, in one place: what the check found, what to do, what is said of angles, clips and sets.

``EVIDENCE`` has a sentence for each kind of :class:`~silhouette.records_shoot.Finding`, ``DO`` one where there is
something to do, ``NOTES`` one for each kind of :class:`~silhouette.records.Note`. Nothing reads a sentence back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from silhouette.records import Note, Stop
from silhouette.records_shoot import CheckReport, Finding, Told
from silhouette.settings import Ring

Say = Callable[[Finding, Sequence[Stop]], str]
NOT_TOLD = 20.0
"""Half width of an angle's 90 % interval, degrees, from which the angle is a guess and calls no stop."""
MOST_NAMED = 6
"""Stops named one by one; of more, those in a row are drawn together."""


def evidence(finding: Finding, stops: Sequence[Stop]) -> str:
    """What was found, in a sentence or two; ``stops`` are those of the whole turn."""
    if finding.parts:
        return " ".join(evidence(part, stops) for part in finding.parts)
    return EVIDENCE[finding.kind](finding, stops)


def do(finding: Finding, stops: Sequence[Stop]) -> str:
    """What to shoot again or to change; empty where there is nothing to do."""
    if finding.parts:
        return " ".join(filter(None, (do(part, stops) for part in finding.parts)))
    return DO[finding.kind](finding, stops) if finding.kind in DO else ""


def untold(findings: Iterable[Finding], stops: Sequence[Stop]) -> list[tuple[str, str]]:
    """Why questions could not be answered, and what helps, those with one reason together:
    ``("distance: The distance cannot be …", "")``."""
    asked: dict[tuple[str, str], list[str]] = {}
    for finding in findings:
        if finding.verdict == "unknown":
            asked.setdefault((evidence(finding, stops), do(finding, stops)), []).append(finding.check)
    return [(f"{', '.join(checks)}: {why}", helps) for (why, helps), checks in asked.items()]


def untold_all(told: Iterable[Told]) -> list[tuple[str, str]]:
    """The same of all rings, each reason once, with the rings that it holds for: ``low ring, high ring: distance:
    ...``."""
    found: dict[tuple[str, str], list[str]] = {}
    each: dict[Ring | None, list[Told]] = {}
    for one in told:
        each.setdefault(one[0], []).append(one)
    for ring, some in each.items():
        for reason in untold([finding for _, finding, _ in some], some[0][2]):
            found.setdefault(reason, []).extend([] if ring is None else [f"{ring} ring"])
    return [(f"{listed(rings)}, {why}" if rings else why, helps) for (why, helps), rings in found.items()]


def passed(report: CheckReport) -> list[str]:
    """What is in order: of one ring in a line; of several what is so in all of them together with what holds of all,
    then what is in each alone."""
    own = [f.check for f in report.findings if f.verdict == "pass"]
    each = {ring: [f.check for f in one.findings if f.verdict == "pass"] for ring, one in report.rings}
    shared = [check for check in next(iter(each.values()), []) if all(check in other for other in each.values())]
    lines = [", ".join([*own, *shared])]
    lines += [asked(ring, ", ".join(alone)) for ring, checks in each.items()
              if (alone := [check for check in checks if check not in shared])]
    return [line for line in lines if line]


def asked(ring: Ring | None, check: str) -> str:
    """A question with the ring that it was asked of, if there are several: ``low ring, held pose``."""
    return check if ring is None else f"{ring} ring, {check}"


def not_checked(report: CheckReport) -> str:
    """Why hardly anything could be checked, in a few words for a heading."""
    if report.why_not == "no turn":
        return "not checked: this is no turn on the spot"
    return "could not be checked" + (": the figure was not made out" if report.why_not else "")


def how_far(finding: Finding) -> str | None:
    """How far the pose moved: ``about 7 cm``, or a share of the figure's height where that is not known."""
    if finding.far is None:
        return None
    height = finding["height_m"]
    return f"about {100 * finding.far * height:.0f} cm" if height else f"about {100 * finding.far:.0f} % of its height"


def note(said: Note) -> str:
    """A note of the shoot as a sentence; ``words.note`` knows those of a score too."""
    return NOTES[said.kind](said)


def named(stops: Sequence[Stop], which: Iterable[int], most: int = MOST_NAMED) -> str:
    """The stops at the positions ``which``, at least one, by their angles: '135', '135 and 150'; 'all stops'.

    Past ``most``, three and more in a row are drawn together: '0, 45 to 120 and 270'. The first stop and its repeat at
    the end of the turn carry one angle, which is said once.
    """
    places = sorted(set(which))
    if len(places) == len(stops) > most:
        return "all stops"
    if len({stop.ring for stop in stops}) > 1:
        return _named_by_ring(stops, places, most)
    called = names_of(stops)
    rows: list[list[int]] = []
    for k in places:
        if rows and k == rows[-1][-1] + 1:
            rows[-1].append(k)
        else:
            rows.append([k])
    words = []
    for row in rows:
        angles = [called[k] for k in row]
        words += [f"{angles[0]} to {angles[-1]}"] if len(places) > most and len(row) > 2 else angles
    return listed(list(dict.fromkeys(words)))


def _named_by_ring(stops: Sequence[Stop], places: Sequence[int], most: int) -> str:
    """Stops of several rings: ``low 45 and 60, high 90``."""
    words = []
    for ring in dict.fromkeys(stop.ring for stop in stops):
        own = [k for k, stop in enumerate(stops) if stop.ring == ring]
        if named_here := [own.index(k) for k in places if stops[k].ring == ring]:
            words.append(f"{ring} {named([stops[k] for k in own], named_here, most)}")
    return ", ".join(words)


def angles_known(stops: Sequence[Stop]) -> bool:
    """Whether the angles of the stops are more than a guess."""
    unsure = [stop.angle_sure or 0.0 for stop in stops[1:]]
    return not unsure or bool(np.median(unsure) < NOT_TOLD)


def names_of(stops: Sequence[Stop]) -> list[str]:
    """What each stop is called: by its angle; where the angles are not known, by its time in the clip or its name."""
    if angles_known(stops):
        return [_angle(stop) for stop in stops]
    return [stop.name if stop.time is None else f"{stop.time:.1f} s" for stop in stops]


def listed(items: Sequence[str], last: str = "and") -> str:
    """``a, b and c``."""
    return f"{', '.join(items[:-1])} {last} {items[-1]}" if len(items) > 1 else "".join(items)


def _angle(stop: Stop) -> str:
    return f"{stop.angle:.0f}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


# --------------------------------------------------------------------------------------------- what was found, by kind

def _turn_closed(f: Finding, _: Sequence[Stop]) -> str:
    past = f"{f['past']:.0f} degrees past the start" if f["past"] >= 1 else "just to the start"
    return f"The turn is closed: it goes {past}."


def _stop_missing(f: Finding, stops: Sequence[Stop]) -> str:
    places = []
    for (k, j), count in zip(f.gaps, f["counts"], strict=True):
        what = "a stop is" if count == 1 else f"{count} stops are"
        places.append(f"{what} missing between {_angle(stops[k])} and {_angle(stops[j])}")
    text = "; ".join(places)
    return f"{text[0].upper()}{text[1:]}, where the usual step is {f['step']:.0f} degrees."


def _same_view_twice(f: Finding, stops: Sequence[Stop]) -> str:
    pairs = (f"{stops[k].name} and {stops[k + 1].name} (at {_angle(stops[k])})" for k in f["first"])
    return f"{'; '.join(pairs)} show the same view."


def _pose_held(f: Finding, _: Sequence[Stop]) -> str:
    yet = "" if f["far_round"] else " so far; opposite views, which show most, are still to come"
    left_out = f["left_out"]
    which = "the stops that were made out" if left_out else "all stops"
    return f"The outlines of {which} fit one figure that held still{yet}."


def _moved_how(f: Finding) -> str:
    if f["way"] == "elsewhere":
        return f"the figure has moved at {f.where} by {how_far(f)}"
    return f"the figure at {f.where} is {f['way']} than before by {how_far(f)}"


def _pose_changed(f: Finding, stops: Sequence[Stop]) -> str:
    return f"From {_angle(stops[f.stops[0]])} on {_moved_how(f)} at worst."


def _pose_moved(f: Finding, stops: Sequence[Stop]) -> str:
    return f"At {named(stops, f.stops)} {_moved_how(f)}, unlike at the other stops."


def _off_by(f: Finding) -> str:
    far = f.far or 0.0
    return f"{100 * far * f['height_m']:.0f} cm" if f["height_m"] else f"{100 * far:.1f} % of the figure's height"


def _camera_moved(f: Finding, stops: Sequence[Stop]) -> str:
    k, (before, after) = f.stops[0], f["times"]
    where = f"{stops[k - 1].name} and {stops[k].name}"  # their angles are not known
    if before is not None and after is not None:
        where = f"{before:.1f} and {after:.1f} s of the clip"
    return (f"Between {where} the whole figure jumps in the picture: the camera was moved. Angles and pose cannot be "
            "compared across that.")


def _distance(f: Finding, _: Sequence[Stop]) -> str:
    lens = f["told_by"] == "lens"
    source = "by the lens and the figure's height in the picture" if lens else (
        "by how the outlines of opposite stops differ")
    if f["height_m"] is None:
        source += f", taking the figure as {f['usual_m']:.1f} m high"
    return (f"The camera stood {'about' if lens else 'roughly'} {f['metres']:.1f} m away, {source}: a hand reaching "
            f"{f['reach_m']:.1f} m forward looks {_percent(f['larger'])} larger than one as far behind.")


def _lens_height(f: Finding) -> str:
    metres = f", about {f['share'] * f['height_m']:.1f} m" if f["height_m"] else ""
    return f"If it was level, the lens stood at {_percent(f['share'])} of the figure's height{metres}."


def _lens_wrong(effect: str) -> Say:
    return lambda f, _: f"{_lens_height(f)} From there a figure gets {effect}; a tilted camera may look the same."


def _large(f: Finding) -> str:
    return f"The figure is about {f['pixels']:.0f} pixels high in the original pictures."


def _edge(f: Finding) -> str:
    return f"The figure's edge is about {f['pixels']:.1f} pixels wide"


def _light_changed(f: Finding, stops: Sequence[Stop]) -> str:
    how = f"{_percent(abs(f['brighter']))} {'darker' if f['brighter'] < 0 else 'brighter'}"
    return (f"At {named(stops, f.stops)} the backdrop is up to {how} than at the other stops: the light or the "
            "exposure changed.")


# what rings of one pose tell together


BODY = {"hand end": "hand", "foot end": "toes", "crown": "head"}
"""What joints are called where they are not called what they are."""


ELSEWHERE = {"low": "well under the waist", "level": "about at the waist", "high": "well over the waist"}
"""Where cameras of these rings stand."""


def _ring(ring: str) -> str:
    return f"the {ring} ring"


def _not_compared(f: Finding, _: Sequence[Stop]) -> str:
    rings, has = listed(f["rings"]), "has" if len(f["rings"]) == 1 else "have"
    which = f"The {rings} ring {has}" if f["rings"] else "The rings have"
    return f"{which} too few clear outlines with known angles to be held against another ring: it takes 8 in each."


def _exchanged(f: Finding, stops: Sequence[Stop]) -> str:
    here, there = f.stops if stops[f.stops[1]].ring == f["looks"] else f.stops[::-1]
    return f"{_one(stops, here)} looks as if taken from {f['looks']}: swapped with {_one(stops, there)}?"


def _one(stops: Sequence[Stop], k: int) -> str:
    return named(stops, (k,))


def _joints(f: Finding) -> str:
    """``figure's left hand and left wrist``, at least one."""
    said = dict.fromkeys(f"figure's {side} {BODY.get(joint, joint)}" if side else f"the {BODY.get(joint, joint)}"
                         for joint, side in f["joints"])
    return listed(list(said))


def _another_pose(f: Finding, _: Sequence[Stop]) -> str:
    return (f"{_ring(f['ring']).capitalize()} shows another pose than {_ring(f['than'])}: {_joints(f)} lie up to "
            f"{_apart_by(f)} elsewhere.")


def _limb_elsewhere(f: Finding, _: Sequence[Stop]) -> str:
    lie = "lies" if len(f["joints"]) == 1 else "lie"
    return f"In {_ring(f['ring'])} {_joints(f)} {lie} {_apart_by(f)} elsewhere than in {_ring(f['than'])}."


def _apart_by(f: Finding) -> str:
    far, height = f.far or 0.0, f["height_m"]
    return f"about {100 * far * height:.0f} cm" if height else f"about {100 * far:.0f} % of the model's height"


def _starts_elsewhere(f: Finding, _: Sequence[Stop]) -> str:
    way, turned = ("clockwise", "left") if f["degrees"] > 0 else ("counter-clockwise", "right")
    return (f"Angle 0 of {_ring(f['ring'])} lies {abs(f['degrees']):.0f} degrees {way}, seen from above, from that of "
            f"{_ring(f['than'])}: the model began turned so far to their own {turned}.")


def _start_again(f: Finding, _: Sequence[Stop]) -> str:
    back, by = ("right", "more") if f["degrees"] > 0 else ("left", "less")
    return (f"Turn the foot marks {abs(f['degrees']):.0f} degrees back, to the model's own {back}, and retake it; or "
            f"read its angles as so many degrees {by}.")


def _other_light(f: Finding, _: Sequence[Stop]) -> str:
    how = "darker" if f["brighter"] < 0 else "brighter"
    return (f"In {_ring(f['ring'])} the {f['what']} is {_percent(abs(f['brighter']))} {how} than in "
            f"{_ring(f['than'])}.")


def _lacks(f: Finding, _: Sequence[Stop]) -> str:
    said = [f"{a:.0f}" if a == b else f"{a:.0f} to {b:.0f}" for a, b in f["stretches"]]
    return f"{_ring(f['ring']).capitalize()} lacks {listed(said)}, where another ring has stops."


def _lens_at(share: float, metres: float | None) -> str:
    return f"at {metres:.1f} m" if metres is not None else f"at about {_percent(share)} of the model's height"


def _two_lenses(f: Finding) -> str:
    (a, b), (x, y) = f["heights"], f["metres"]
    return f"{_lens_at(a, x)} in {_ring(f['rings'][0])} and {_lens_at(b, y)} in {_ring(f['rings'][1])}"


def _all_lenses(f: Finding, _: Sequence[Stop]) -> str:
    said = [f"{ring} {_lens_at(share, metres)}"
            for ring, share, metres in zip(f["rings"], f["heights"], f["metres"], strict=True)]
    return f"The camera stood {listed(said)}."


def _part(name: str, side: str) -> str:
    return f"figure's {side} {name}" if side else name


def _blind(f: Finding, _: Sequence[Stop]) -> str:
    parts = listed([_part(name, side) for name, side, *_ in f["spots"]])
    stand = "stands" if len(f["spots"]) == 1 else "stand"
    return f"{parts[0].upper()}{parts[1:]} {stand} clear in no view of any ring."


def _close_ups(f: Finding, _: Sequence[Stop]) -> str:
    each = [f"of the {_part(name, side)} from {angle:.0f} degrees, the lens "
            f"{_lens_at(height, None if f['stature_m'] is None else height * f['stature_m'])}"
            for name, side, angle, height, _ in f["spots"]]
    return f"While the model is there, take a close-up {'; '.join(each)}."


def _no_turn(f: Finding, _: Sequence[Stop]) -> str:
    return f"This does not look like a turn on the spot: {INSTEAD[f['how']]}."


INSTEAD = {
    "walks across": "the figure walks across the picture",
    "comes nearer": "the figure walks toward the camera, or away from it",
    "camera moves": "the camera moves from stop to stop",
    "never turns": "the figure looks the same at every stop",
    "moves in place": "the figure changes from stop to stop, but not as a body does that turns",
}


EVIDENCE: dict[str, Say] = {
    # any question
    "too few made out": lambda f, s: (
        f"The figure could not be made out at {f['unseen'] if f['unseen'] < f['count'] else 'any'} of {f['count']} "
        "stops: too few to answer this."),
    "no turn": _no_turn,
    # full turn, missing stops, doubled stops
    "turn not known": lambda f, s: "The camera was moved on the way: how far the model turned is not known.",
    "too few stops": lambda f, s: "Too few stops for a turn.",
    "angles spread": lambda f, s: "The stops have no angles of their own: they were spread evenly.",
    "angles not told": lambda f, s: "The outlines do not show how far the model turned.",
    "ends not made out": lambda f, s: (
        f"The figure could not be made out at {named(s, f.stops)}, where the turn begins or ends: whether it is closed "
        "is not known."),
    "stretch not made out": lambda f, s: (
        f"The figure could not be made out at {named(s, f.stops)}: whether a stop is missing there is not known."),
    "turn closed": _turn_closed,
    "turn all round": lambda f, s: (
        "The stops go all round; the first was not repeated, so nothing shows whether the pose was held to the end."),
    "turn open": lambda f, s: (
        f"The turn is open: it ends at {f['ends_at']:.0f}, {f['short_by']:.0f} degrees short of the start."),
    "steps not known": lambda f, s: "The steps between the stops are not known.",
    "steps even": lambda f, s: f"The steps are about {f['step']:.0f} degrees all round.",
    "stop missing": _stop_missing,
    "no view twice": lambda f, s: "No two stops in a row show the same view.",
    "same view twice": _same_view_twice,
    # held pose
    "too few outlines": lambda f, s: "Too few clear outlines with known angles to compare the stops: it takes 8.",
    "outlines do not fit": lambda f, s: (
        "The outlines do not fit together from the start: the camera moved between stops, the angles are wrong, or the "
        "pose never settled."),
    "pose held": _pose_held,
    "pose cut by the frame": lambda f, s: (
        "The frame cuts the figure, so the rest of it does not tell whether the pose was held."),
    "pose changed": _pose_changed,
    "pose moved": _pose_moved,
    # stance
    "stance not known": lambda f, s: "Too few outlines with known angles to tell where the model stood.",
    "on the spot": lambda f, s: f"The feet stay on their spot, within {_off_by(f)} sideways.",
    "off the spot": lambda f, s: (
        f"At {named(s, f.stops)} the model stands up to {_off_by(f)} off their spot, or the camera was moved."),
    "camera moved": _camera_moved,
    # framing
    "no figure anywhere": lambda f, s: "No figure found.",
    "whole and alone": lambda f, s: (
        f"The whole figure is in every picture, {_percent(f['room'])} clear of the edge."),
    "cut by the frame": lambda f, s: (
        f"At {named(s, f.stops)} the figure is cut by the frame ({', '.join(f['edges'])})."),
    "no figure": lambda f, s: f"No figure found at {named(s, f.stops)}.",
    "two people": lambda f, s: "Two people stand in the picture; only the model may.",
    "second figure": lambda f, s: f"At {named(s, f.stops)} a second figure stands in the picture.",
    "figure unclear": lambda f, s: (
        f"The figure could not be made out at {named(s, f.stops)}; the other answers leave "
        f"{'it' if len(f.stops) == 1 else 'them'} out."),
    # figure size, sharpness
    "no figure to measure": lambda f, s: "No figure found.",
    "figure tiny": lambda f, s: f"{_large(f)} That is too small for its outline.",
    "figure small": lambda f, s: f"{_large(f)} Thin gaps get lost.",
    "figure large enough": lambda f, s: _large(f),
    "edges too faint": lambda f, s: "The figure stands out too little from the backdrop to judge it.",
    "stops blurred": lambda f, s: f"{_edge(f)}; at {named(s, f.stops)} up to {f['times']:.1f} times that: blurred.",
    "soft everywhere": lambda f, s: f"{_edge(f)} at every stop, much for a figure of this size: soft.",
    "sharp": lambda f, s: f"{_edge(f)} at every stop.",
    # steady light, light direction
    "too little backdrop": lambda f, s: "There is too little backdrop to compare the light by.",
    "light changed": _light_changed,
    "light changed a little": lambda f, s: (
        f"At {named(s, f.stops)} the backdrop's brightness differs by up to {_percent(f['by'])}."),
    "colour changed": lambda f, s: (
        f"At {named(s, f.stops)} the colour of the backdrop changes: the white balance was not locked."),
    "light steady": lambda f, s: (
        f"The backdrop keeps its brightness within {_percent(max(0.01, f['by']))} at every stop."),
    "no figure in the light": lambda f, s: "No figure found to read the light from.",
    "back light": lambda f, s: (
        f"Even the figure's brightest parts have {_percent(f['share'])} of the backdrop's brightness: back light, or "
        "everything worn is dark. Outlines come out well, form does not."),
    "filled in": lambda f, s: "The figure is one even dark tone, as in a drawing filled in: it shows no light.",
    "too few stops for the lamp": lambda f, s: "Too few stops to tell the lamp from the clothes.",
    "flat light": lambda f, s: (
        "Over the turn neither side of the figure is brighter: flat frontal light, or even light from all round."),
    "key light": lambda f, s: (
        f"The key comes from {f['side']}: that side is {_percent(f['brighter'])} brighter over the turn."),
    # distance, camera height
    "distance not known": lambda f, s: (
        "The distance cannot be found without "
        f"{'the height of the model' if f['lacking'] == 'height' else 'a focal length in the files'}."),
    "far enough": _distance,
    "too close": _distance,
    "far too close": _distance,
    "no whole figure": lambda f, s: "No whole figure found to tell the camera's height by.",
    "lens at a good height": lambda f, s: _lens_height(f),
    "lens low": _lens_wrong("big feet and a small head"),
    "lens high": _lens_wrong("a big head and small feet"),
    # several rings: right ring, same pose, same start
    "rings not compared": _not_compared,
    "stops in their rings": lambda f, s: "Every stop fits the ring that it lies in.",
    "from another ring": lambda f, s: f"{_one(s, f.stops[0])} looks as if taken from {f['looks']}.",
    "stops exchanged": _exchanged,
    "another pose": _another_pose,
    "limb elsewhere": _limb_elsewhere,
    "outside the others": lambda f, s: (
        f"At {named(s, f.stops)} the outline sticks out of what all rings together leave of the figure."),
    "one pose": lambda f, s: f"Joints and outlines of the {listed(f['compared'])} ring fit one figure.",
    "starts elsewhere": _starts_elsewhere,
    "one start": lambda f, s: (
        f"Angle 0 of every ring shows the figure from the same side, within {max(1.0, f['within']):.0f} degrees."),
    # same light, same stops
    "light not compared": lambda f, s: "The light of the rings could not be compared.",
    "other light": _other_light,
    "key from the other side": lambda f, s: (
        f"In {_ring(f['ring'])} the key comes from {f['side']}, in {_ring(f['than'])} from the other side."),
    "one light": lambda f, s: f"The light is alike in the {listed(f['rings'])} ring.",
    "ring angles not known": lambda f, s: "The angles of the rings are not known, so their stops cannot be compared.",
    "ring lacks stops": _lacks,
    "stops alike": lambda f, s: "Every ring has stops wherever the others have some.",
    # ring heights, blind spots
    "heights not known": lambda f, s: "The heights at which the cameras stood could not be found.",
    "one height": lambda f, s: f"The cameras stood at one height: {_two_lenses(f)}.",
    "heights against names": lambda f, s: f"The heights are not those that the rings' names say: {_two_lenses(f)}.",
    "camera elsewhere": lambda f, s: (
        f"The camera of {_ring(f['ring'])} stood where that of {_ring(f['looks'])} would: "
        f"{ELSEWHERE[f['looks']]}."),
    "heights as named": _all_lenses,
    "blind spots not known": lambda f, s: "Which parts of the body stand clear in no view could not be found.",
    "nothing blind": lambda f, s: (
        "Every part of the body stands clear in some view" + (" or in a close-up." if f["covered"] else ".")),
    "blind spots": _blind,
}


# ------------------------------------------------------------------------------------------------- what to do, by kind

def _whole_turn(f: Finding, _: Sequence[Stop]) -> str:
    return f"The check needs a whole turn: at least {f['least']} stops in the order shot, the camera fixed."


def _pose_again(f: Finding, stops: Sequence[Stop]) -> str:
    told = named(stops, f.stops)
    if f.verdict == "look":
        return f"Look at {told}: retake if it moved; the cut may also be wrong there."
    if not f["doubtful"]:
        return f"Retake {told}."
    return (f"Retake {told}. Look at {named(stops, f['doubtful'])} too: it sticks out a little there, or the cut is "
            "wrong.")


def _on_the_marks(f: Finding, stops: Sequence[Stop]) -> str:
    if f.verdict == "look":
        return "Stay on the foot marks."
    return f"Step back on the foot marks and retake {named(stops, f.stops)}."


def _whole_in_frame(f: Finding, stops: Sequence[Stop]) -> str:
    turn = " or turn the camera upright" if f["upright_helps"] else ""
    return f"Step back{turn}, and retake {named(stops, f.stops)}."


def _sharp_again(f: Finding, stops: Sequence[Stop]) -> str:
    return f"Retake {named(stops, f.stops)}, at 1/125 s or faster." if f.verdict == "retake" else "Look at it enlarged."


def _one_spot(f: Finding, _: Sequence[Stop]) -> str:
    camera = "Put the camera on a tripod, and let the model turn once round on one spot."
    return camera if f["how"] == "camera moves" else (
        "If it is meant to be a turn: let the model hold the pose and turn once round on one spot, the camera fixed.")


def _back_in_place(f: Finding, stops: Sequence[Stop]) -> str:
    return (f"Look at both: exchange the pictures if they were mixed up, else retake {_one(stops, f.stops[0])} and "
            f"{_one(stops, f.stops[1])}.")


def _look_there(f: Finding, stops: Sequence[Stop]) -> str:
    return f"Look at {named(stops, f.stops)}: retake unless you know that no step was left out."


DO: dict[str, Say] = {
    "too few made out": lambda f, s: (
        "Add a picture of the same room without the model, called empty.jpg; or take a plainer backdrop; or correct "
        "the masks by hand with silhouette mend."),
    "no turn": _one_spot,
    "ends not made out": _look_there,
    "stretch not made out": _look_there,
    "too few stops": _whole_turn,
    "angles spread": _whole_turn,
    "turn all round": lambda f, s: "Next time turn one stop past the start.",
    "turn open": lambda f, s: f"Go on turning from {f['ends_at']:.0f}, past the start by one stop.",
    "stop missing": lambda f, s: "Shoot the missing stops.",
    "same view twice": lambda f, s: "Keep the better one of each pair.",
    "outlines do not fit": lambda f, s: "Put the camera on a tripod and check the angles.",
    "pose changed": lambda f, s: (
        f"Let the model rest, take up the pose again and retake from {_angle(s[f.stops[0]])} on."),
    "pose moved": _pose_again,
    "off the spot": _on_the_marks,
    "camera moved": lambda f, s: "Fix the tripod and retake the whole turn.",
    "cut by the frame": _whole_in_frame,
    "no figure": lambda f, s: f"Retake {named(s, f.stops)}.",
    "two people": lambda f, s: f"Ask everybody else to leave the picture and retake {named(s, f.stops)}.",
    "second figure": lambda f, s: f"Look at {named(s, f.stops)}: retake if somebody stood beside the model.",
    "figure unclear": lambda f, s: (
        f"Look at {named(s, f.stops)}: backdrop plain, nobody else in it, figure whole, light even? A picture of the "
        "room without the model helps: empty.jpg."),
    "figure tiny": lambda f, s: "Use a longer lens or the full resolution: 600 pixels serve well.",
    "figure small": lambda f, s: "Use a longer lens or a higher resolution.",
    "stops blurred": _sharp_again,
    "soft everywhere": lambda f, s: "Lock the focus on the model; clean the lens.",
    "light changed": lambda f, s: f"Lock exposure and lamps, and retake {named(s, f.stops)}.",
    "light changed a little": lambda f, s: (
        f"Lock the exposure; look at {named(s, f.stops)}: does the change matter to you?"),
    "colour changed": lambda f, s: "Lock the white balance.",
    "back light": lambda f, s: "If the pictures are to show form, move a key light to the front, at three-quarters.",
    "flat light": lambda f, s: "If the pictures are to show form, move the key to one side, at three-quarters.",
    "too close": lambda f, s: "Step back to 4 m if the room allows it.",
    "far too close": lambda f, s: "Step back to 4 m and use a longer lens, or crop later.",
    "lens low": lambda f, s: "Put the lens at waist height and level, with the figure in the middle of the frame.",
    "lens high": lambda f, s: "Put the lens at waist height and level, with the figure in the middle of the frame.",
    "rings not compared": lambda f, s: "Shoot at least 8 stops all round in each ring.",
    "from another ring": lambda f, s: (
        f"Move it to the {f['looks']} ring if it is one of its stops; retake it from the height of its own ring."),
    "stops exchanged": _back_in_place,
    "another pose": lambda f, s: (
        f"Take up the pose of {_ring(f['than'])} again and retake {_ring(f['ring'])}; or keep it as another pose."),
    "limb elsewhere": lambda f, s: (
        f"Take up the pose of {_ring(f['than'])} again and retake {_ring(f['ring'])}." if f.verdict == "retake" else
        f"Compare the two rings: retake {_ring(f['ring'])} if it moved."),
    "outside the others": lambda f, s: (
        f"Look at {named(s, f.stops)}: retake if the model moved; the cut may also be wrong there."),
    "starts elsewhere": _start_again,
    "other light": lambda f, s: "Lock lamps and exposure for all rings; from another height a wall may look different.",
    "key from the other side": lambda f, s: "Leave the lamps where they are while the camera goes up or down.",
    "ring lacks stops": lambda f, s: f"Shoot them from {f['ring']} while the model is there.",
    "one height": lambda f, s: "Put the camera lower or higher for one of them, and retake that ring.",
    "heights against names": lambda f, s: "Look whether the rings were mixed up; if so, exchange their names.",
    "camera elsewhere": lambda f, s: (
        f"Shoot it from {f['ring']} while the model is there; or call it the {f['looks']} ring if there is none."),
    "blind spots": _close_ups,
}


# ------------------------------------------------------------------------------------- notes on angles, clips and sets

def _not_told(n: Note) -> str:
    how = "evenly" if n["spread"] == "evenly" else "by how much the picture moved"
    return (f"The outlines did not tell the angles: they are spread {how} over one full turn, give or take "
            f"{n['sure']:.0f} degrees.")


def _without_outline(n: Note) -> str:
    if n["count"] == 1:
        return "1 stop has no clear outline: its angle lies between those of its neighbours."
    return f"{n['count']} stops have no clear outline: their angles lie between those of their neighbours."


def _shapeless(n: Note) -> str:
    if n["count"] == 1:
        return "1 stop has no figure that could be cut out: there is no silhouette of it."
    return f"{n['count']} stops have no figure that could be cut out: there are no silhouettes of them."


def _breaks_off(n: Note) -> str:
    of = f" of {n['length']:.0f} s" if n["length"] > n["read"] else ""
    what = "The clip breaks off" if n.kind == "clip breaks off" else "The picture changes its size"
    return f"{what} after {n['read']:.0f} s{of}: what is there was used."


NOTES: dict[str, Callable[[Note], str]] = {
    "angles found": lambda n: (
        f"The angles were found from the outlines, give or take {n['usual']:.0f} degrees ({n['worst']:.0f} at worst); "
        "the first stop was taken as given."),
    "angles not told": _not_told,
    "stops without outline": _without_outline,
    "camera moved": lambda n: (
        f"The camera was moved before stop {n['before'] + 1} of {n['count']}: the angles cannot be trusted."),
    "no pauses": lambda n: f"The clip has no pauses: {n['count']} stills were taken evenly from it.",
    "nothing turns": lambda n: "Nothing turns in this clip: it counts as one view.",
    "clip breaks off": _breaks_off,
    "clip changes size": _breaks_off,
    "hdr": lambda n: "An HDR clip: its colours look washed out in the stills; the outlines are not affected.",
    "no common camera": lambda n: (
        "The pictures do not share one camera: each figure is set to its own height and ground."),
    "stops without figure": _shapeless,
    "no common camera in rings": lambda n: (
        f"The pictures of the {listed(n['rings'])} {'ring do' if len(n['rings']) == 1 else 'rings do'} not share one "
        "camera: each figure of them is set to its own height and ground."),
    "rings on one scale": lambda n: (
        "All rings are drawn at one scale, which follows from where their cameras stood as the outlines tell it. It "
        "holds at the turning axis, half way up the figure."),
    "rings on their own scales": lambda n: (
        "Each ring is drawn at a scale of its own, the pose equally high in all: do not compare sizes between rings."),
    "level ring to scale": lambda n: (
        "Only the level ring is drawn to scale: seen from a low or high camera, heights and widths do not hold."),
    "no ring to scale": lambda n: (
        "Nothing is drawn to scale: there is no level ring, and from a low or high camera heights and widths do not "
        "hold."),
    "close-up unread": lambda n: f"Of the close-up {n['name']} a picture was left out: {n['file']} {n['why']}",
    "pose at full height": lambda n: (
        f"The pose is taken to be {n['height_m']:.2f} m high, the model's full height. If the model stoops, sits or "
        "reaches up, give the height read off the stick (--pose-height)."),
}
