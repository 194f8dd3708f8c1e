"""Results as plain data: ``result.json``, ``views.csv``, a pandas table. A measure that could not be made is null.

Kinds are for programs, the sentences beside them for people. Numbers are rounded in files only.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from silhouette.records import BlindSpot, Note, Pose, PoseRing, Ranking, Reason, RingCamera, Round, Stop, View
from silhouette.records_shoot import CheckReport, Finding
from silhouette.records_space import Armature
from silhouette.show import words, words_check, words_rings, words_space
from silhouette.texts import csv_cell, printable

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = 2
"""Of ``result.json``. 2 is 1 and more: `reasons` of a view, `causes` of a weak arc, `note_kinds` of a pose; `ring` of a
view and of a pose, whose `views` are those of all its rings, the headline's first; `rings`, `blind_spots`,
`close_ups`."""
CHECK_SCHEMA = 2
"""Of ``check.json``. 2 is 1 and more: the data a sentence is made from, `kind`, `values`, `far` and `parts`; of a pose
in several rings `rings`, each with its own `stops` and `findings`, `stops` those of all rings with their `ring`, and
`findings` those of all rings together, which count `stops` over all of them."""
ARMATURE_SCHEMA = 1
"""Of ``armature.json``."""

LENGTHS = frozenset({"eye", "lens", "over"})
"""Values of notes that are lengths in metres or statures; other numbers there are angles and counts."""


def ranking_to_dict(ranking: Ranking) -> dict[str, Any]:
    """The whole of ``result.json`` as dictionaries, lists, numbers, strings and None."""
    return {
        "schema": SCHEMA,
        "intent": ranking.intent,
        "arc": None if ranking.arc is None else [_plain(a) for a in ranking.arc],
        "poses": [pose_to_dict(pose) for pose in ranking.poses],
        "left_out": [{"name": name, "why": why} for name, why in ranking.left_out],
    }


def pose_to_dict(pose: Pose) -> dict[str, Any]:
    """One pose of ``result.json``."""
    walk, tall = pose.round, words_rings.metres(ring.camera for ring in pose.rings)
    return {
        "name": pose.name,
        "intent": pose.intent,
        "reads_degrees": walk.reads_degrees,
        "reads_degrees_low": pose.reads_low,
        "reads_degrees_high": pose.reads_high,
        "counted_degrees": walk.counted_degrees,
        "readability": _readability(walk),
        "rank": pose.rank,
        "tied_with": list(pose.tied_with),
        **_arcs(walk),
        "ring": pose.ring,
        "rings": [_ring(one) for one in pose.rings],
        "blind_spots": None if pose.blind_spots is None else [_blind_spot(spot, tall) for spot in pose.blind_spots],
        "close_ups": [{"name": one.name, "files": [printable(path.name) for path in one.files]}
                      for one in pose.close_ups],
        "flags": list(pose.flags),
        "notes": [words.note(note) for note in pose.notes],
        "note_kinds": [_note(note) for note in pose.notes],
        "views": [view_to_dict(view) for view in pose.all_views],
    }


def _readability(walk: Round) -> dict[str, Any]:
    return {"mean": _plain(walk.mean), "worst": _plain(walk.worst), "worst_angle": _plain(walk.worst_angle)}


def _arcs(walk: Round) -> dict[str, Any]:
    return {
        "weak_arcs": [
            {"from": _plain(a.start), "to": _plain(a.end), "why": _said(a.causes), "causes": _kinds(a.causes)}
            for a in walk.weak_arcs
        ],
        "missing_arcs": [{"from": _plain(a.start), "to": _plain(a.end)} for a in walk.missing_arcs],
    }


def _ring(one: PoseRing) -> dict[str, Any]:
    """One ring of a pose: what stands in the pose of its headline's ring."""
    walk = one.round
    return {
        "ring": one.ring,
        "stops": sum(not view.inferred for view in one.views),
        "reads_degrees": walk.reads_degrees,
        "reads_degrees_low": one.reads_low,
        "reads_degrees_high": one.reads_high,
        "counted_degrees": walk.counted_degrees,
        "readability": _readability(walk),
        **_arcs(walk),
        "camera": None if one.camera is None else _camera(one.camera),
    }


def _camera(camera: RingCamera) -> dict[str, Any]:
    """Lengths in shares of the model's stature, but for ``height_m``."""
    return {
        "from": camera.found_from, "height": _plain(camera.height, 3), "height_sure": _plain(camera.height_sure, 3),
        "tilt_deg": _plain(camera.tilt), "distance": _plain(camera.distance, 3), "waist": _plain(camera.waist, 3),
        "height_m": _plain(camera.height_m, 2), "turned_deg": _plain(camera.turned),
    }


def _blind_spot(spot: BlindSpot, stature_m: float | None = None) -> dict[str, Any]:
    """``height`` in shares of the model's stature."""
    return {
        "part": spot.part, "side": spot.side, "clear": _plain(spot.clear, 3), "ring": spot.ring,
        "angle": _plain(spot.angle), "height": _plain(spot.height, 3), "covered_by": spot.covered_by,
        "said": words_rings.blind_spot(spot, stature_m),
    }


def view_to_dict(view: View, *, exact: bool = False) -> dict[str, Any]:
    """One view of ``result.json``; also, lists joined, a row of ``views.csv``. ``exact`` leaves numbers unrounded."""
    measures, reading, body = view.measures, view.reading, view.body
    plain = _exact if exact else _plain
    return {
        "source": printable(view.stop.source.name),
        "name": view.name,
        "ring": view.stop.ring,
        "angle": plain(view.angle),
        "angle_from": view.stop.angle_from,
        "readability": plain(reading and reading.readability),
        "clear": plain(reading and reading.clear),
        "interesting": plain(reading and reading.interesting),
        "band": reading and reading.band,
        "negative_space": plain(measures and measures.negative_space, 4),
        "contour_complexity": plain(measures and measures.contour_complexity, 4),
        "limb_separation": plain(measures and measures.limb_separation, 4),
        "gaps_enclosed": None if measures is None else len(measures.gaps_enclosed),
        "gaps_open": None if measures is None else len(measures.gaps_open),
        "parts": None if measures is None else len(measures.parts),
        "tangents": None if measures is None else len(measures.tangents),
        "limb_legibility": body
        and {
            "head": plain(body.limb_legibility.head, 3),
            "arms": [plain(x, 3) for x in body.limb_legibility.arms],
            "legs": [plain(x, 3) for x in body.limb_legibility.legs],
        },
        "joints": body
        and [
            {"joint": j.joint, "x": plain(j.x, 4), "y": plain(j.y, 4), "spread": plain(j.spread, 4)}
            | ({} if j.also is None else {"or": [plain(j.also[0], 4), plain(j.also[1], 4)]})
            for j in body.joints
        ],
        "cutter": view.cutter,
        "confidence": plain(view.confidence, 4),
        "flags": list(view.flags),
        "why": _said(reading.reasons) if reading else [],
        "reasons": _kinds(reading.reasons) if reading else [],
        "problem": view.problem,
        "doubts": [{"where": d.where, "share": plain(d.share, 4), "counted": d.counted, "said": words.doubt(d)}
                   for d in view.doubts],
    }


def views_table(poses: Iterable[Pose], *, exact: bool = False) -> pd.DataFrame:
    """One row a view, in the order of poses and angles, with the pose's name and rank in front.

    Numbers are rounded as in ``result.json`` unless ``exact``.
    """
    import pandas as pd

    rows = []
    for pose in poses:
        for view in pose.all_views:
            row = view_to_dict(view, exact=exact)
            limbs = row.pop("limb_legibility") or {"head": None, "arms": [None, None], "legs": [None, None]}
            row.pop("joints")
            row |= {"head": limbs["head"], "arm_weaker": limbs["arms"][0], "arm_stronger": limbs["arms"][1]}
            row |= {"leg_weaker": limbs["legs"][0], "leg_stronger": limbs["legs"][1]}
            kinds = "; ".join(reason["kind"] for reason in row.pop("reasons"))
            row["doubts"] = "; ".join(doubt["where"] for doubt in row["doubts"])
            row |= {"flags": "; ".join(row["flags"]), "why": "; ".join(row["why"]), "reasons": kinds}
            rows.append({"pose": pose.name, "rank": pose.rank, **row})
    columns = {name: [row[name] for row in rows] for name in (rows[0] if rows else ())}
    # names may hold bytes that are no text, which the strings of Arrow refuse
    return pd.DataFrame({name: pd.Series(of, dtype=object if any(isinstance(v, str) for v in of) else None)
                         for name, of in columns.items()})


def views_csv(poses: Iterable[Pose]) -> str:
    """The whole of ``views.csv``: :func:`views_table`, its texts as :func:`csv_cell` has them."""
    table = views_table(poses)
    return str(table.map(csv_cell).rename(columns=csv_cell).to_csv(index=False, lineterminator="\n"))


def check_to_dict(report: CheckReport) -> dict[str, Any]:
    """The whole of ``check.json``."""
    data: dict[str, Any] = {
        "schema": CHECK_SCHEMA,
        "name": report.name,
        "stops": [_stop_row(stop) for stop in report.stops],
        "findings": [_finding_row(finding, report.stops) for finding in report.findings],
    }
    if report.rings:
        data["stops"] = [{"ring": stop.ring, **_stop_row(stop)} for stop in report.stops]
        alone = [(ring, check_to_dict(one)) for ring, one in report.rings]
        data["rings"] = [{"ring": ring, "stops": one["stops"], "findings": one["findings"]} for ring, one in alone]
    return data


def _finding_row(f: Finding, stops: Sequence[Stop]) -> dict[str, Any]:
    row: dict[str, Any] = {
        "check": f.check,
        "verdict": f.verdict,
        "kind": f.kind,
        "stops": list(f.stops),
        "values": {name: _rounded(value, 4) for name, value in f.values},
        "evidence": words_check.evidence(f, stops),
        "do": words_check.do(f, stops),
    }
    if f.check == "missing stops":
        row["after_stop"] = list(f.after_stop)
    if f.check == "held pose":
        row |= {"where": f.where, "how_far": words_check.how_far(f)}
    if f.far is not None:
        row["far"] = _plain(f.far, 4)
    if f.parts:
        row["parts"] = [_finding_row(part, stops) for part in f.parts]
    return row


def armature_to_dict(made: Armature) -> dict[str, Any]:
    """The whole of ``armature.json``: metres, litres and degrees; lengths at scale in millimetres as built."""
    sizes = made.sizes
    return {
        "schema": ARMATURE_SCHEMA,
        "name": made.name,
        "height_m": _plain(sizes.height_m, 4),
        "pose_height_m": _plain(sizes.pose_height_m, 4),
        "height_from": sizes.height_from,
        "scale": _plain(sizes.scale, 4),
        "shrinkage_percent": _plain(sizes.shrinkage, 3),
        "built_mm_per_m": _plain(sizes.built, 4),
        "finished_mm_per_m": _plain(sizes.finished, 4),
        "joints": [
            {"joint": j.joint, "side": j.side}
            | dict(zip("xyz", (None,) * 3 if j.at is None else (_plain(v, 4) for v in j.at), strict=True))
            | {"within": _plain(j.within, 4), "sure": j.sure,
               "reason": None if j.reason is None else words_space.note(j.reason)}
            for j in made.skeleton.joints
        ],
        "segments": [
            {"name": s.name, "side": s.side, "from": s.start, "to": s.end, "length_m": _plain(s.length_m, 4)}
            | {"at_scale_mm": _times(s.length_m, sizes.built), "within_mm": _times(s.within_m, sizes.built)}
            | {"finished_mm": _times(s.length_m, sizes.finished), "tilt_deg": _plain(s.tilt_deg),
               "heading_deg": _plain(s.heading_deg)}
            for s in made.segments
        ],
        "wires": [
            {"name": w.name, "route": list(w.route), "cut_mm": _plain(w.cut_mm, 1),
             "bends": [{"at": b.at, "mark_mm": _plain(b.mark_mm, 1), "angle_deg": _plain(b.angle_deg),
                        "turn_deg": _plain(b.turn_deg)} for b in w.bends]}
            for w in made.wires
        ],
        "volume_l": _plain(made.volume_l, 3),
        "centre": [_plain(v, 4) for v in made.centre],
        "sections": [
            {"z": _plain(s.z, 4), "area_m2": _plain(s.area_m2, 6), "width_m": _plain(s.width_m, 4),
             "depth_m": _plain(s.depth_m, 4)}
            for s in made.sections
        ],
        "tape": [
            {"from": t.start, "to": t.end, "tape_mm": _plain(t.tape_mm), "found_mm": _plain(t.found_mm),
             "within_mm": _plain(t.within_mm)}
            for t in made.tape
        ],
        "stops": list(made.stops),
        "angles_from": made.angles_from,
        "outlines_agree": [_plain(v, 4) for v in made.agreement],
        **_gain(made),
        "notes": [words_space.note(note) for note in made.notes],
        "note_kinds": [_note(note) for note in made.notes],
    }


def _gain(made: Armature) -> dict[str, Any]:
    """What the rings of a pose told together; nothing of a pose that was shot in one."""
    if not made.rings:
        return {}
    gain = made.gain
    return {
        "rings": list(made.rings),
        "gain": None if gain is None else {
            "ring": gain.ring, "volume_l": _plain(gain.volume_l, 3), "within": _plain(gain.within_m, 4),
            "within_all": _plain(gain.within_all_m, 4),
        },
    }


def _times(length: float | None, factor: float) -> float | None:
    return None if length is None else _plain(length * factor, 2)


def to_json(data: dict[str, Any]) -> str:
    """JSON text of plain data, UTF-8, indented for reading."""
    text = json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    # Bytes of a file name that are no text are surrogates in Python; so written, JSON reads them back.
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _stop_row(stop: Stop) -> dict[str, Any]:
    return {
        "index": stop.index,
        "time": _plain(stop.time, 3),
        "angle": _plain(stop.angle),
        "angle_sure": _plain(stop.angle_sure),
        "source": printable(stop.source.name),
        "name": stop.name,
    }


def _said(found: Sequence[Reason]) -> list[str]:
    return [words.reason(reason) for reason in found]


def _kinds(found: Sequence[Reason]) -> list[dict[str, Any]]:
    return [
        {"kind": r.kind.value, "limb": r.limb, "zone": r.zone, "side": r.side, "severity": _plain(r.severity, 3)}
        for r in found
    ]


def _note(note: Note) -> dict[str, Any]:
    """A note's kind and values; numbers rounded, what is not a number null."""
    return {name: _rounded(value, 2 if name in LENGTHS else 1) for name, value in note.plain.items()}


def _rounded(value: Any, digits: int = 1) -> Any:
    if isinstance(value, tuple):
        return [_rounded(v, digits) for v in value]
    if isinstance(value, dict):  # a note within a note
        return {name: _rounded(v, digits) for name, v in value.items()}
    return _plain(value, digits) if isinstance(value, float) else value


def _plain(value: Any, digits: int = 1) -> float | None:
    """A rounded Python float, or None for what is missing or not a number."""
    number = _exact(value)
    return None if number is None else round(number, digits)


def _exact(value: Any, digits: int = 1) -> float | None:
    """A Python float as it is, whatever ``digits``; None for what is missing or not a number."""
    return None if value is None or math.isnan(value) else float(value)
