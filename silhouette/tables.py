"""Results as plain data: ``result.json``, ``views.csv``, a pandas table. A measure that could not be made is null."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from silhouette.records import Pose, Ranking, Stop, View
from silhouette.records_shoot import CheckReport, Finding
from silhouette.show import words_check

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = 1
CHECK_SCHEMA = 2
"""2 has beside every sentence of 1 the data it is made from: ``kind``, ``values``, ``far`` and ``parts``."""


def ranking_to_dict(ranking: Ranking) -> dict[str, Any]:
    """The whole of ``result.json`` as dictionaries, lists, numbers, strings and None."""
    return {
        "schema": SCHEMA,
        "intent": ranking.intent,
        "arc": None if ranking.arc is None else [_plain(a) for a in ranking.arc],
        "poses": [pose_to_dict(pose) for pose in ranking.poses],
    }


def pose_to_dict(pose: Pose) -> dict[str, Any]:
    """One pose of ``result.json``."""
    walk = pose.round
    return {
        "name": pose.name,
        "intent": pose.intent,
        "reads_degrees": walk.reads_degrees,
        "reads_degrees_low": pose.reads_low,
        "reads_degrees_high": pose.reads_high,
        "counted_degrees": walk.counted_degrees,
        "readability": {
            "mean": _plain(walk.mean),
            "worst": _plain(walk.worst),
            "worst_angle": _plain(walk.worst_angle),
        },
        "rank": pose.rank,
        "tied_with": list(pose.tied_with),
        "weak_arcs": [{"from": _plain(a.start), "to": _plain(a.end), "why": list(a.why)} for a in walk.weak_arcs],
        "missing_arcs": [{"from": _plain(a.start), "to": _plain(a.end)} for a in walk.missing_arcs],
        "flags": list(pose.flags),
        "notes": list(pose.notes),
        "views": [view_to_dict(view) for view in pose.views],
    }


def view_to_dict(view: View) -> dict[str, Any]:
    """One view of ``result.json``; also, lists joined, a row of ``views.csv``."""
    measures, reading, body = view.measures, view.reading, view.body
    return {
        "source": view.stop.source.name,
        "name": view.name,
        "angle": _plain(view.angle),
        "angle_from": view.stop.angle_from,
        "readability": _plain(reading and reading.readability),
        "clear": _plain(reading and reading.clear),
        "interesting": _plain(reading and reading.interesting),
        "band": reading and reading.band,
        "negative_space": _plain(measures and measures.negative_space, 4),
        "contour_complexity": _plain(measures and measures.contour_complexity, 4),
        "limb_separation": _plain(measures and measures.limb_separation, 4),
        "gaps_enclosed": None if measures is None else len(measures.gaps_enclosed),
        "gaps_open": None if measures is None else len(measures.gaps_open),
        "parts": None if measures is None else len(measures.parts),
        "tangents": None if measures is None else len(measures.tangents),
        "limb_legibility": body
        and {
            "head": _plain(body.limb_legibility.head, 3),
            "arms": [_plain(x, 3) for x in body.limb_legibility.arms],
            "legs": [_plain(x, 3) for x in body.limb_legibility.legs],
        },
        "joints": body
        and [
            {"joint": j.joint, "x": _plain(j.x, 4), "y": _plain(j.y, 4), "spread": _plain(j.spread, 4)}
            | ({} if j.also is None else {"or": [_plain(j.also[0], 4), _plain(j.also[1], 4)]})
            for j in body.joints
        ],
        "cutter": view.cutter,
        "confidence": _plain(view.confidence, 4),
        "flags": list(view.flags),
        "why": list(reading.why) if reading else [],
        "problem": view.problem,
    }


def views_table(poses: Iterable[Pose]) -> pd.DataFrame:
    """One row a view, in the order of poses and angles, with the pose's name and rank in front."""
    import pandas as pd

    rows = []
    for pose in poses:
        for view in pose.views:
            row = view_to_dict(view)
            limbs = row.pop("limb_legibility") or {"head": None, "arms": [None, None], "legs": [None, None]}
            row.pop("joints")
            row |= {"head": limbs["head"], "arm_weaker": limbs["arms"][0], "arm_stronger": limbs["arms"][1]}
            row |= {"leg_weaker": limbs["legs"][0], "leg_stronger": limbs["legs"][1]}
            row |= {"flags": "; ".join(row["flags"]), "why": "; ".join(row["why"])}
            rows.append({"pose": pose.name, "rank": pose.rank, **row})
    return pd.DataFrame(rows)


def check_to_dict(report: CheckReport) -> dict[str, Any]:
    """The whole of ``check.json``."""
    return {
        "schema": CHECK_SCHEMA,
        "name": report.name,
        "stops": [_stop_row(stop) for stop in report.stops],
        "findings": [_finding_row(finding, report.stops) for finding in report.findings],
    }


def _finding_row(f: Finding, stops: Sequence[Stop]) -> dict[str, Any]:
    row: dict[str, Any] = {
        "check": f.check,
        "verdict": f.verdict,
        "kind": f.kind,
        "stops": list(f.stops),
        "values": {name: _rounded(value) for name, value in f.values},
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


def _rounded(value: Any) -> Any:
    """Plain data with its floats rounded, for JSON."""
    if isinstance(value, tuple | list):
        return [_rounded(one) for one in value]
    return _plain(value, 4) if isinstance(value, float) else value


def to_json(data: dict[str, Any]) -> str:
    """JSON text of plain data, UTF-8, indented for reading."""
    return json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _stop_row(stop: Stop) -> dict[str, Any]:
    return {
        "index": stop.index,
        "time": _plain(stop.time, 3),
        "angle": _plain(stop.angle),
        "angle_sure": _plain(stop.angle_sure),
        "source": stop.source.name,
        "name": stop.name,
    }


def _plain(value: Any, digits: int = 1) -> float | None:
    """A rounded Python float, or None for what is missing or not a number."""
    if value is None:
        return None
    number = float(value)
    return None if math.isnan(number) else round(number, digits)
