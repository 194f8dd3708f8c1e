"""What the jobs of the pages do: each calls what its command calls, and gives back plain data for the page.

A job gets the folder of the pages, the places of the poses that it is about, what was asked for (plain data from the
page, so nothing in it is believed), and whom to say how far it is. What it leaves is what the command leaves, in places
that are always the same:

- ``results``: the last comparison, as ``rank`` writes it;
- ``checks/POSE``: the last check of a pose, as ``check -o`` writes it;
- ``sets/NAME``: what was kept, as ``export`` writes it;
- ``armatures/POSE``: the last armature of a pose, as ``armature`` writes it; ``armatures/POSE.tape.csv``: the lengths
  that were typed for it;
- ``mend/POSE.html``: the page to mend a pose's cut-outs on, as ``mend`` writes it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from silhouette.errors import OutputError, SettingsError, SilhouetteError
from silhouette.live.folder import ARMATURES, CHECKS, MENDED, RESULTS, SETS, clean
from silhouette.settings import SCALE, Intent, Paper
from silhouette.texts import printable

if TYPE_CHECKING:
    from silhouette.records_shoot import CheckReport, Told
    from silhouette.shoot import Checked

Tell = Callable[[str, int, int], None]
"""Called with what is being done, how many are done, and how many there are."""
Asked = Mapping[str, Any]
MOST_TAPE = 20_000
"""Letters of the lengths that are typed on the page at most."""
_FLAG = re.compile(r"\s*\(--[a-z-]+\)")
Job = Callable[[Path, Sequence[Path], Asked, Tell], dict[str, Any]]


def _for_the_page(job: Job) -> Job:
    """What goes wrong in a job, said without flags of the command line and without where the folder lies."""
    @wraps(job)
    def run(folder: Path, places: Sequence[Path], asked: Asked, tell: Tell) -> dict[str, Any]:
        try:
            return job(folder, places, asked, tell)
        except SilhouetteError as error:
            raise type(error)(_shorter(error.what, folder), path=error.path and Path(error.path.name),
                              do=_without_flags(error)) from error

    return run


def _shorter(text: str, folder: Path) -> str:
    return text.replace(f"{printable(folder)}/", "").replace(f"{printable(folder)}\\", "")


def _without_flags(error: SilhouetteError) -> str | None:
    """What to do, where it is no flag of a command; of what cannot be written, what helps on the page."""
    if error.do is None or not re.search(r"(^|\s)--?\w", error.do):
        return error.do
    if isinstance(error, OutputError):
        return "Move it away or rename it, then try again."
    return _without_commands(error.do) or None


def _without_commands(text: str) -> str:
    """Sentences less those that speak of a command's flag; where it only stands in brackets, less that."""
    kept = [part for part in re.split(r"(?<=\.)\s", _FLAG.sub("", text)) if not re.search(r"(^|\s)--?\w", part)]
    return " ".join(kept)


# ------------------------------------------------------------------------------------------------------------ the jobs


@_for_the_page
def rank(folder: Path, places: Sequence[Path], asked: Asked, tell: Tell) -> dict[str, Any]:
    """Put the poses in order and leave the results in ``results``.

    ``asked``: ``intents``, one a pose (open); ``arc``, two angles or nothing; ``paper``. Gives ``poses`` and
    ``left_out``, how many could be used and could not.

    Raises
    ------
    SilhouetteError
        What the command would say.
    """
    from silhouette import known, outputs, scoring, writing
    from silhouette.records import Ranking

    out = folder / RESULTS
    arc, paper, intents = _arc(asked), _paper(asked), _intents(asked, len(places))
    writing.refuse(out, list(places))
    memory = known.Memory(out)
    if len(places) == 1:
        pose = scoring.score_pose(places[0], intent=intents[0], arc=arc, progress=tell, known=memory)
        ranking: Ranking = Ranking((pose,), pose.intent, arc)
    else:
        names = scoring.distinct_names(list(places))
        other = {name: what for name, what in zip(names, intents, strict=True) if what != "open"}
        ranking = scoring.rank_poses(list(places), intents=other, arc=arc, progress=tell, known=memory)
    tell("writing the results", 0, 1)
    outputs.write(ranking, out, paper=paper, known=memory)
    return {"poses": len(ranking.poses), "left_out": len(ranking.left_out)}


@_for_the_page
def read(folder: Path, places: Sequence[Path], asked: Asked, tell: Tell) -> dict[str, Any]:
    """Read one pose all round and leave nothing: ``report`` is its report page. ``asked`` as for :func:`rank`."""
    from silhouette import known, results, scoring
    from silhouette.records import Ranking
    from silhouette.show import report

    arc, intent, memory = _arc(asked), _intents(asked, 1)[0], known.Memory(folder / RESULTS)
    pose = scoring.score_pose(_only(places), intent=intent, arc=arc, progress=tell, known=memory)
    return {"report": report.report_html(results.placed(Ranking((pose,), pose.intent, arc)))}


@_for_the_page
def check(folder: Path, places: Sequence[Path], asked: Asked, tell: Tell) -> dict[str, Any]:
    """Check one turn and leave the check in ``checks``; ``asked``: ``height`` in metres or nothing, ``paper``.

    Gives what :func:`check_told` does.
    """
    from silhouette import known, shoot, writing

    place, height, paper = _only(places), _number(asked, "height"), _paper(asked)
    out = folder / CHECKS / place.name
    writing.refuse(out, [place], kind="check")
    memory = known.Memory(out, folder / RESULTS)
    checked = shoot.check_turnaround(place, height_m=height, progress=tell, known=memory)
    tell("writing the check", 0, 1)
    shoot.write_check(checked, out, paper, memory)
    return check_told(checked)


@_for_the_page
def export(folder: Path, places: Sequence[Path], asked: Asked, tell: Tell) -> dict[str, Any]:
    """Keep one turn as a set in ``sets/NAME``.

    ``asked``: ``name`` (the pose's own), ``height``, ``pose_height`` and ``head`` in metres or nothing, ``scale`` (4
    for 1:4) or nothing, ``photographs`` (no), ``overwrite`` (no), ``paper``. Gives ``name``, ``stops``, ``photographs``
    and ``notes`` in sentences.
    """
    from silhouette import known, shoot, turnaround
    from silhouette.show import words

    place = _only(places)
    name = set_name(asked.get("name") or turnaround.name_of(place))
    out, photographs, overwrite = folder / SETS / name, asked.get("photographs") is True, asked.get("overwrite") is True
    if out.exists() and not overwrite:
        raise OutputError(f"A set is called {name} already.",
                          do="Give another name, or choose that it may be replaced.")
    layout = shoot.export_set(
        place, out, name=name, height_m=_number(asked, "height"), pose_height_m=_number(asked, "pose_height"),
        head_m=_number(asked, "head"), print_scale=_number(asked, "scale"), silhouettes_only=not photographs,
        paper=_paper(asked), overwrite=overwrite, progress=tell,
        known=known.Memory(folder / CHECKS / place.name, folder / RESULTS),
    )
    return {"name": name, "stops": len(layout.views), "photographs": photographs,
            "notes": [_FLAG.sub("", text) for text in words.said_once(layout.notes, len(layout.rings))]}


@_for_the_page
def armature(folder: Path, places: Sequence[Path], asked: Asked, tell: Tell) -> dict[str, Any]:
    """Make massing model, sheets and armature of one turn in ``armatures``.

    ``asked``: ``height`` in metres, ``pose_height`` or nothing, ``scale`` (4 for 1:4), ``shrinkage`` in per cent or
    nothing, ``tape``, lengths measured on the model as text, ``fit_to_tape`` (no), ``paper``. Gives ``said``, what is
    to be known of it, in sentences.
    """
    from silhouette import armature as making
    from silhouette import known, writing
    from silhouette.show import armature_told

    place, height, paper = _only(places), _number(asked, "height"), _paper(asked)
    if height is None:
        raise SettingsError("An armature needs the height of the model.", do="Give it in metres: 1.72.")
    scale, shrinkage = _number(asked, "scale"), _number(asked, "shrinkage")
    out = folder / ARMATURES / place.name
    writing.refuse(out, [place], kind="armature")
    tape = _tape(out.with_name(f"{place.name}.tape.csv"), asked)
    made = making.armature_of(
        place, height_m=height, pose_height_m=_number(asked, "pose_height"), scale=SCALE if scale is None else scale,
        shrinkage=shrinkage or 0.0, tape=tape, fit_to_tape=tape is not None and asked.get("fit_to_tape") is True,
        progress=tell, known=known.Memory(folder / CHECKS / place.name, folder / RESULTS),
    )
    tell("writing the sheets", 0, 1)
    making.write_armature(made, out, paper=paper, sources=[place])
    return {"said": [_without_commands(sentence) for sentence in armature_told.in_short(made)]}


@_for_the_page
def mend(folder: Path, places: Sequence[Path], asked: Asked, tell: Tell) -> dict[str, Any]:
    """Make the page on which the cut-outs of one pose are mended, in ``mend``.

    Gives ``name`` of the page, ``stills`` and ``doubted``, how many cut-outs it holds and how many are not trusted.
    """
    from silhouette import mending, writing

    place = _only(places)
    page = folder / MENDED / f"{place.name}.html"
    writing.refuse_file(page.parent / page.name, [place]) if page.parent.is_dir() else page.parent.mkdir(mode=0o700)
    made = mending.write_mend_page(place, page, progress=tell)
    return {"name": page.name, "stills": made.stills, "doubted": made.doubted}


WORK: dict[str, Job] = {"rank": rank, "read": read, "check": check, "export": export, "armature": armature,
                        "mend": mend}
"""The jobs by what a page asks for."""


# ------------------------------------------------------------------------------------------- what a check is to a page


def check_told(checked: Checked) -> dict[str, Any]:
    """A check as the page shows it: plain data, silhouettes as SVG paths in thousandths of the tallest figure.

    ``verdict`` and ``rests_on`` in a few words; ``findings`` worst first, each with ``verdict``, ``check``, ``said``,
    ``do``, its ``stops`` by number and the ``gaps`` in the turn as pairs of stops; ``passed``, what is in order, in
    lines; ``unanswered`` like ``findings``; ``stops`` with ``ring``, ``name``, ``called`` (angle, time or name),
    ``angle`` (None where no angles are known), ``mark`` (retake, look, pass), ``unclear``, ``path`` and ``height``, its
    share of the tallest; ``half``, half the width of the widest; ``notes``; ``again``, by ring: ``ring``, ``wanted``,
    what is to be taken again in sentences, and ``want``, the same for the address of the live page. A ring is empty
    where the pose has one alone.
    """
    from silhouette.live import wanted
    from silhouette.show import check_page, words, words_check

    report = checked.report
    verdict, rests_on = check_page.headline(report)
    asked = {ring: wanted.wanted(one) for ring, one in wanted.by_ring(report).items()}
    return {
        "verdict": verdict, "rests_on": rests_on, "exit_code": report.exit_code,
        "findings": [_finding(one, report) for one in report.told if one[1].verdict != "unknown"],
        "passed": words_check.passed(report),
        "unanswered": [{"said": why, "do": helps} for why, helps in words_check.untold_all(report.told)],
        "stops": _stops_told(checked), "half": _half_width(checked),
        "notes": [_FLAG.sub("", text) for text in words.said_once(checked.all_notes, len(checked.rings))],
        "again": [{"ring": ring, "wanted": [one.words for one in these],
                   "want": wanted.to_query([stop for one in these for stop in one.stops])}
                  for ring, these in asked.items() if these],
    }


def _stops_told(checked: Checked) -> list[dict[str, Any]]:
    """Every stop of a check, ring by ring."""
    from silhouette.show import check_page, svg, words_check

    report, lines = checked.report, checked.outlines
    tallest = max((line.height_px for line in lines if line is not None), default=1.0)
    parts = [(f"{ring} ", one) for ring, one in report.rings] or [("", report)]
    named: list[tuple[str, bool]] = []
    for mark, one in parts:
        known = words_check.angles_known(one.stops) and one.why_not != "no turn"
        named += [(f"{mark}{called}", known) for called in words_check.names_of(one.stops)]
    return [{
        "ring": stop.ring if report.rings else "", "name": printable(stop.name), "called": printable(called),
        "angle": round(stop.angle, 1) if known and not math.isnan(stop.angle) else None,
        "mark": check_page.verdict_of(report, k), "unclear": k in report.unclear,
        "path": None if line is None else svg.path_d(line.drawn),
        "height": round(1.0 if line is None else line.height_px / tallest, 4),
    } for k, (stop, (called, known), line) in enumerate(zip(report.stops, named, lines, strict=True))]


def _half_width(checked: Checked) -> float:
    """Half the width of the widest figure, in heights of the tallest."""
    tallest = max((line.height_px for line in checked.outlines if line is not None), default=1.0)
    half = 0.2
    for line in checked.outlines:
        if line is not None:
            left, _, right, _ = line.polygon.bounds
            share = line.height_px / tallest
            half = max(half, -left * share, right * share)
    return round(half, 3)


def _finding(told: Told, report: CheckReport) -> dict[str, Any]:
    """A finding; of a ring among several its stops are counted over all of them."""
    from silhouette.show import words_check

    ring, finding, stops = told
    first = 0 if ring is None else next(k for k, stop in enumerate(report.stops) if stop.ring == ring)
    concerned = sorted({*finding.stops, *(k for pair in finding.gaps for k in pair)})
    return {"verdict": finding.verdict, "check": words_check.asked(ring, finding.check),
            "said": words_check.evidence(finding, stops), "do": words_check.do(finding, stops),
            "stops": [first + k for k in concerned],
            "gaps": [[first + k for k in pair] for part in (finding, *finding.parts) for pair in part.gaps]}


# ------------------------------------------------------------------------------------------------ what a page asks for


def set_name(text: Any) -> str:
    """A name that a person gave to a set, as one that a folder may bear on any system.

    Raises
    ------
    SettingsError
        If it is no text, or there is no letter and no digit in it.
    """
    if not isinstance(text, str) or not any(map(str.isalnum, text)):
        raise SettingsError("The name of the set has no letter and no digit in it.", do="Give another name.")
    return clean(text)


def _only(places: Sequence[Path]) -> Path:
    if len(places) != 1:
        raise SettingsError("This is done for one pose at a time.")
    return places[0]


def _number(asked: Asked, name: str) -> float | None:
    value = asked.get(name)
    if value in (None, ""):
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise SettingsError(f"The {name.replace('_', ' ')} is not a number.")
    return float(value)


def _tape(place: Path, asked: Asked) -> Path | None:
    """The lengths that were typed, as a table at ``place``; None where there are none.

    Raises
    ------
    SettingsError
        If they are no text, or too much of it.
    """
    from silhouette import writing

    given = asked.get("tape") or ""
    if not isinstance(given, str) or len(given) > MOST_TAPE:
        raise SettingsError("The lengths are no table that can be read.", do="Write a line for each length.")
    if given.strip().casefold() in ("", "from,to,mm"):  # what the page offers to begin with
        return None
    place.parent.mkdir(mode=0o700, exist_ok=True)
    return writing.whole_file(place, given.encode("utf-8", "replace"), ours=True)


def _arc(asked: Asked) -> tuple[float, float] | None:
    given = asked.get("arc")
    if not given:
        return None
    if not isinstance(given, list | tuple) or len(given) != 2:
        raise SettingsError("An arc is two angles: from where, clockwise to where.")
    start, end = (_number({"angle of the arc": angle}, "angle of the arc") for angle in given)
    if start is None or end is None:
        raise SettingsError("An arc is two angles: from where, clockwise to where.")
    return start, end


def _paper(asked: Asked) -> Paper:
    paper = asked.get("paper", "a4")
    if paper not in get_args(Paper):
        raise SettingsError(f"The paper can be {', '.join(get_args(Paper))}.")
    return paper  # type: ignore[no-any-return]


def _intents(asked: Asked, count: int) -> list[Intent]:
    given = asked.get("intents") or ["open"] * count
    if not isinstance(given, list | tuple) or len(given) != count or not all(one in get_args(Intent) for one in given):
        raise SettingsError(f"Each pose is meant to be {', '.join(get_args(Intent))}.")
    return list(given)
