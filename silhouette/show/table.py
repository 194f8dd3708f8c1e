"""What the terminal shows: plain text, as wide as asked, 80 columns at most, nothing told by colour."""

from __future__ import annotations

import textwrap
from dataclasses import replace

from silhouette.records import CANNOT_TELL, INFERRED, NO_FIGURE, Pose, Ranking, View
from silhouette.records_find import Found, Hit
from silhouette.records_shoot import CheckReport, Told
from silhouette.show import groups, words, words_check, words_find, words_rings
from silhouette.texts import printable

COLUMNS = 80
"""Columns of a line where nothing else is asked; 40 is the least that the tables need."""
LEAST_TEXT = 20
"""Columns left beside a line's head under which the text is set below it instead."""
MOST_NOTES = 3
"""Notes on a pose that the ranking prints; the report has them all."""
BANDS = ("strong", "fair", "weak")
"""In the order in which the angles of a ring are listed."""
VERDICTS = {"retake": "RETAKE", "look": "look", "unknown": "cannot tell", "pass": "pass"}
"""How a verdict of the shoot check is printed, worst first."""


def score_table(pose: Pose, width: int = COLUMNS) -> str:
    """One pose: the verdict, a row a view, the weak arcs, the notes.

    Returns
    -------
    str
        Lines of at most ``width`` characters, no trailing newline.
    """
    sure = words.give_or_take(pose)
    meant = f", meant to be {pose.intent}" if pose.intent != "open" else ""
    hint = words.closed_hint(pose)
    lines = _title(pose.name, f"{meant}: {words.in_full(pose)}", width)
    viewer = words.for_a_viewer(pose)
    for remark in (sure, hint, *viewer):
        lines += _hang("", remark, width) if remark else []
    main, *others = groups.by_ring(pose)
    tall = words_rings.metres(ring.camera for ring in pose.rings)
    lines += ["", *_ring_head(main, tall, width)] if others else []
    lines += ["", "angle  reads            band         why"]
    # A flag that every view carries would only clutter the rows; it is explained under the table.
    shared = set.intersection(*(set(view.flags) for view in pose.views)) if pose.views else set()
    lines += [line for view in pose.views for line in _view_rows(view, shared, width)]
    lines += _weak_rows(main, width)
    for other in others:
        lines += _other_ring(other, tall, width)
    flags = dict.fromkeys(flag for view in pose.all_views for flag in view.flags)
    if flags:
        lines.append("")
        for flag in flags:
            lines += _hang(f"{flag}: ", words.flag(flag, pose), width)
    if any(view.doubts for view in pose.all_views):
        lines += [*([] if flags else [""]), *_hang("cut-outs disagree: ", words.DISAGREE, width)]
    lines += _blind_spots(pose, tall, width)
    notes = [note for note in words.notes(pose) if note not in viewer]
    if notes:
        lines += ["", *(line for note in notes for line in textwrap.wrap(note, width))]
    return _printed(lines)


def _weak_rows(pose: Pose, width: int) -> list[str]:
    """The weak arcs and what they lose, and the stretches that nothing shows."""
    lines = []
    if pose.round.weak_arcs:
        wide = max(17, *(len(words.stretch(arc.start, arc.end)) + 2 for arc in pose.round.weak_arcs))
        lines += ["", f"{'weak arc':<{wide}}why"]
        for arc in pose.round.weak_arcs:
            why = words.reasons(arc.causes) or "only just under fair"
            lines += _hang(f"{words.stretch(arc.start, arc.end):<{wide}}", why, width)
    if pose.round.missing_arcs and pose.round.reads_degrees is not None:
        missing = [words.stretch(arc.start, arc.end) for arc in pose.round.missing_arcs]
        lines += ["", *_hang(f"{'no view':<17}", words.listed(missing), width)]
    return lines


def _ring_head(pose: Pose, tall: float | None, width: int) -> list[str]:
    """A ring's name over what is told of it, and where its camera stood; ``tall``, the model's stature in metres."""
    camera = words_rings.camera(pose.camera, tall)
    return _hang("", f"{words_rings.named(pose).capitalize()}{f': {camera}' if camera else ''}", width)


def _other_ring(pose: Pose, tall: float | None, width: int) -> list[str]:
    """A ring beside that of the headline, in short: how it reads, its angles by their bands, its weak arcs."""
    lines = ["", *_ring_head(pose, tall, width)]
    sure = words.give_or_take(pose)
    lines += _hang("", f"{words.headline(pose)}{f', {sure}' if sure else ''}", width)
    at: dict[str, list[str]] = {}
    for view in pose.views:
        at.setdefault(words.standing(view), []).append(words.degrees(view.angle))
    order = sorted(at, key=lambda band: (*BANDS, band.split(",")[0]).index(band.split(",")[0]))
    for band in order:
        lines += _hang(f"{band:<17}", ", ".join(at[band]), width)
    for mark, angles in _marked(pose).items():
        lines += _hang(f"{mark} at ", ", ".join(angles), width)
    for view in pose.views:
        lines += _hang("", f"{words.degrees(view.angle)}: {view.problem}", width) if view.problem else []
    return lines + _weak_rows(pose, width)


def _marked(pose: Pose) -> dict[str, list[str]]:
    """The angles that bear each flag but those that their standing tells already, and those where cut-outs differ."""
    marks: dict[str, list[str]] = {}
    for view in pose.views:
        doubted = ["cut-outs disagree"] if view.doubts else []
        for mark in [flag for flag in view.flags if flag not in {CANNOT_TELL, NO_FIGURE, INFERRED}] + doubted:
            marks.setdefault(mark, []).append(words.degrees(view.angle))
    return marks


def _blind_spots(pose: Pose, tall: float | None, width: int) -> list[str]:
    """The blind spots, each with the close-up that would show it, and the close-ups that are there."""
    told = words_rings.blind_spots(pose.blind_spots, tall)
    kept = words_rings.close_ups(pose.close_ups)
    lines = [line for sentence in told for line in _hang("", sentence, width)]
    lines += _hang("", kept, width) if kept else []
    return ["", *lines] if lines else []


def _view_rows(view: View, shared: set[str], width: int) -> list[str]:
    reading = view.reading if view.scored else None
    if reading is None:
        bar, why = "", [view.problem.rstrip(".")] if view.problem else []
    else:
        bar = ("#" * round(reading.readability / 10)).ljust(10, ".") + f" {reading.readability:3.0f}"
        told = {"strong": 0, "fair": 1, "weak": 2}[reading.band]
        why = [words.reason(reason) for reason in reading.reasons[:told]]
    why += [flag for flag in view.flags if flag not in {CANNOT_TELL, NO_FIGURE, *shared}]
    where = [*dict.fromkeys(doubt.where for doubt in view.doubts)][:2]
    why += [f"cut-outs disagree {words.listed(where)}"] if where else []
    band = words.standing(view).split(",")[0]
    return _hang(f"{words.degrees(view.angle):>5}  {bar:<14}   {band:<11}  ", "; ".join(why), width, below=7)


def rank_table(ranking: Ranking, width: int = COLUMNS) -> str:
    """Several poses, best first: the verdict, its range, the worst view, and where it is too close to call.

    Returns
    -------
    str
        Lines of at most ``width`` characters, no trailing newline.
    """
    wide = min(max([len(pose.name) for pose in ranking.poses] + [4]), 24)
    lines = _row(f"rank  {'pose':<{wide}}", "reads from    range       worst view", width)
    for heading, pose in groups.in_a_row(ranking):
        lines += ["", *_hang("", f"{heading}:", width)] if heading else []
        rank = "-" if pose.rank is None else pose.rank
        round_ = pose.round
        worst = "-" if round_.worst is None or round_.worst_angle is None else (
            f"{words.degrees(round_.worst_angle):>3} ({round_.worst:.0f})")
        reads = ("not read  " if words.unread(pose) else "too few   ") if round_.reads_degrees is None else (
            f"{round_.reads_degrees:>3} of {round_.counted_degrees:<3}")
        between = "-" if pose.reads_low is None else f"{pose.reads_low}-{pose.reads_high}"
        lines += _row(f"{rank:>4}  {_cut(pose.name, wide):<{wide}}", f"{reads}    {between:<10}  {worst}", width)
        if words.unread(pose):
            lines += _hang(" " * 6, words.headline(pose), width)
        if pose.other_rings:
            lines += _hang(" " * 6, words_rings.in_a_line(pose), width)
        if words.remarks(pose):
            lines += _hang(" " * 6, words.remarks(pose), width)
        if round_.weak_arcs:
            arc = max(round_.weak_arcs, key=lambda a: a.width)
            lines += _hang(" " * 6, f"weak {words.stretch(arc.start, arc.end)}"
                           + (f": {words.reasons(arc.causes[:2])}" if arc.causes else ""), width)
        if words.closed_hint(pose):
            lines += _hang(" " * 6, words.closed_hint(pose), width)
        if words_rings.blind_in_short(pose.blind_spots):
            lines += _hang(" " * 6, words_rings.blind_in_short(pose.blind_spots), width)
        lines += [line for note in _asks(pose) for line in _hang(" " * 6, note, width)]
    for name, why in ranking.left_out:
        lines += _hang("   -  ", f"{name}, left out: {why}", width)
    nothing = "Nothing else" if ranking.left_out else "Nothing"
    lines += ["", *_hang("", f"{words.asked(ranking)}. {nothing} was dropped; the choice is yours.", width)]
    lines += _shared_notes(ranking, width)
    return _printed(lines)


def _asks(pose: Pose) -> list[str]:
    """The notes that ask for something; where angles come from and why a pose was not read is told anyway."""
    asking = tuple(note for note in pose.notes if words.of_itself(note).kind not in words.ASKS_NOTHING)
    asks = [words_rings.wanted_in_short(note) for note in asking if note.kind == "ring wanted"]
    asks += words.notes(replace(pose, notes=tuple(note for note in asking if note.kind != "ring wanted")))
    more = len(asks) - MOST_NOTES
    return asks if more <= 0 else [*asks[:MOST_NOTES], f"{counted(more, 'more note')} in the report"]


def _shared_notes(ranking: Ranking, width: int) -> list[str]:
    """What poses share, a line each: how angles that nobody gave were found, which empty picture was used."""
    how: dict[tuple[str, str], list[str]] = {}
    for pose in ranking.poses:
        for note in pose.notes:
            if (told := words.in_short(note)) is not None:
                how.setdefault(told, []).append(pose.name)
    lines = []
    for (what, line), all_names in how.items():
        names = list(dict.fromkeys(all_names))  # a pose has it once for each of its rings
        whose = "all poses" if len(names) == len(ranking.poses) > 1 else words.listed(names)
        lines += _hang("", f"{what} of {whose}: {line}", width)
    kinds = {note.kind for pose in ranking.poses for note in pose.notes}
    return lines + (_hang("", words_rings.LIFE_SIZE, width) if kinds & {"ring counts", "ring wanted"} else [])


def check_list(report: CheckReport, width: int = COLUMNS) -> str:
    """The shoot check, worst first: what to retake, what to look at, what passed in one line. Of several rings each
    line says which ring it is of; one that is of all of them together says none.

    Returns
    -------
    str
        Lines of at most ``width`` characters, no trailing newline.
    """
    by_verdict = {verdict: [one for one in report.told if one[1].verdict == verdict] for verdict in VERDICTS}
    retakes, looks = len(by_verdict["retake"]), len(by_verdict["look"])
    verdict = counted(retakes, "thing") + " to retake" if retakes else "nothing needs a retake"
    if report.exit_code == 2:
        verdict = words_check.not_checked(report)
    elif looks and not retakes:  # what was not made out may yet have to be shot again: no all-clear
        verdict = counted(looks, "thing") + " to look at, no sure retake"
    if looks and (retakes or report.exit_code == 2):
        verdict += f", {looks} to look at"
    found = [row for v in ("retake", "look") for one in by_verdict[v] for row in _finding_rows(one, width)]
    lost = []
    for why, helps in words_check.untold_all(by_verdict["unknown"]):
        lost += _hang(f"{VERDICTS['unknown']:<12}", why, width)
        lost += _hang(" " * 12 + "> ", helps, width) if helps else []
    rings = f"{len(report.rings)} rings, " if report.rings else ""
    lines = [*_title(report.name, f": {rings}{counted(len(report.stops), 'stop')}, {verdict}", width), ""]
    lines += lost + found if report.exit_code == 2 else found + lost
    for k, passed in enumerate(words_check.passed(report)):
        lines += _hang(f"{VERDICTS['pass'] if k == 0 else '':<12}", passed, width)
    return _printed(lines).rstrip()


def counted(number: int, what: str) -> str:
    """``1 stop``, ``24 stops``."""
    return f"{number} {what}{'' if number == 1 else 's'}"


def _finding_rows(told: Told, width: int) -> list[str]:
    ring, finding, stops = told
    seen, do = words_check.evidence(finding, stops), words_check.do(finding, stops)
    rows = _hang(f"{VERDICTS[finding.verdict]:<12}", f"{words_check.asked(ring, finding.check)}: {seen}", width)
    return rows + (_hang(" " * 12 + "> ", do, width) if do else [])


def _row(head: str, rest: str, width: int) -> list[str]:
    """A row of a table, on two lines where one is too narrow."""
    whole = f"{head}  {rest}"
    return [whole.rstrip()] if len(whole) <= width else [head.rstrip(), f"    {rest}".rstrip()]


def found_table(found: Found, width: int = COLUMNS) -> str:
    """What was found, best first: pose, angle, how alike and where it differs, or from how far round it reads.

    Returns
    -------
    str
        Lines of at most ``width`` characters, no trailing newline.
    """
    lines = textwrap.wrap(words_find.title(found), width)
    for said in words_find.picture(found.picture) if found.picture is not None else ():
        lines += textwrap.wrap(said, width)
    lines.append("")
    several = words_find.several_rings(found)
    for place, hit in enumerate(found.hits, 1):
        lines += _hit_rows(place, hit, several, width)
    if not found.hits:
        lines.append(words_find.NOTHING)
    lines += ["", *textwrap.wrap(words_find.looked_in(found), width)]
    if any(hit.mirrored for hit in found.hits):
        lines += textwrap.wrap(words_find.NO_SIDES, width)
    for said in words_find.left_out(found):
        lines += textwrap.wrap(said, width)
    return _printed(lines)


def _hit_rows(place: int, hit: Hit, several: bool, width: int) -> list[str]:
    head = f"{place:>2}  "
    like = words_find.likeness(hit)
    first = f"{words_find.called(hit)} {words_find.seen(hit, several)}; {like or words_find.reads(hit)}"
    rows = _hang(head, first, width)
    if like:
        second = f"differs: {words_find.differences(hit)}" if hit.differs else words_find.NO_DIFFERENCE
        return [*rows, *_hang(" " * len(head), second, width)]
    return [*rows, *_hang(" " * len(head), f"this view is {words_find.band(hit)}", width)]


def _hang(head: str, text: str, width: int, below: int = 2) -> list[str]:
    """``head`` followed by ``text``, its further lines set under its first; below the head, ``below`` columns in, where
    too little room is left beside it."""
    if head.strip() and text and width - len(head) < LEAST_TEXT:
        start = " " * below
        return [head.rstrip(), *textwrap.wrap(text, width, initial_indent=start, subsequent_indent=start)]
    return textwrap.wrap(text, width, initial_indent=head, subsequent_indent=" " * len(head)) or [head.rstrip()]


def _title(name: str, text: str, width: int) -> list[str]:
    """A heading: the name cut where both are too long for the widest terminal, broken where it is so for a narrow
    one."""
    return textwrap.wrap(_cut(printable(name), max(COLUMNS - len(text), LEAST_TEXT)) + text, width)


def _printed(lines: list[str]) -> str:
    """The lines as one text, none of them broken or coloured by what a name holds."""
    return "\n".join(map(printable, lines))


def _cut(text: str, wide: int = COLUMNS) -> str:
    return text if len(text) <= wide else text[:wide - 3] + "..."
