"""The views of one pose as one Parquet file, and back: plain columns that any program can read.

The same views always give the same bytes. What holds for the pose as a whole stands in the file's own metadata, as
JSON.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from functools import cache
from typing import Any

import numpy as np
import shapely

from silhouette.find.embed import SIZE
from silhouette.records import Joint, LimbLegibility
from silhouette.records_find import ViewLine

ABOUT = b"silhouette"
"""Name of the file's metadata that holds the pose's own data, JSON."""
PLAIN = ("pose", "source", "ring", "angle", "angle_from", "name", "readability", "clear", "interesting", "band",
         "confidence", "flags", "reasons", "gaps")
"""Columns that are fields of a :class:`ViewLine` as they are."""
MEASURES = ("negative_space", "contour_complexity", "limb_separation", "solidity", "circularity", "convexity",
            "symmetry")
LIMBS = ("head", "arm_weaker", "arm_stronger", "leg_weaker", "leg_stronger")


@cache
def _schema() -> Any:
    """The columns of every file."""
    import pyarrow as pa

    text, number = pa.string(), pa.float64()
    reason = pa.struct([("kind", text), ("limb", text), ("zone", text), ("side", text), ("severity", number)])
    joint = pa.struct([("joint", text), *((name, number) for name in ("x", "y", "spread", "sure", "or_x", "or_y"))])
    vector = pa.list_(pa.float32(), SIZE)
    special = {"flags": pa.list_(text), "reasons": pa.list_(reason), "gaps": pa.list_(number)}
    numbers = {"angle", "readability", "clear", "interesting", "confidence"}
    plain = [(name, special.get(name, number if name in numbers else text)) for name in PLAIN]
    return pa.schema([
        *plain, *((name, number) for name in (*MEASURES, *LIMBS)), ("joints", pa.list_(joint)),
        ("outline", pa.binary()), ("vector", vector), ("mirror_vector", vector),
    ])


def to_parquet(lines: Sequence[ViewLine], about: dict[str, Any]) -> bytes:
    """The file of one pose. ``about`` is plain data of the whole pose, which JSON can hold."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    told = json.dumps(about, ensure_ascii=True, sort_keys=True, allow_nan=False).encode()
    table = pa.Table.from_pylist([_row(line) for line in lines], schema=_schema().with_metadata({ABOUT: told}))
    held = pa.BufferOutputStream()
    pq.write_table(table, held, compression="zstd")
    return bytes(held.getvalue())


def from_parquet(data: bytes) -> tuple[list[ViewLine], dict[str, Any]]:
    """The views of one file, and what it says of the whole pose.

    Raises
    ------
    ValueError
        If it is no such file.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        table = pq.ParquetFile(pa.BufferReader(data)).read(use_threads=False)  # a file is too small to share out
        return [_line(row) for row in table.to_pylist()], _about_in(table.schema.metadata)
    except (pa.ArrowException, OSError, KeyError, TypeError) as error:
        raise ValueError(str(error)) from error


def about(data: bytes) -> dict[str, Any]:
    """What a file says of the whole pose; its views are not unpacked.

    Raises
    ------
    ValueError
        If it is no such file.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        return _about_in(pq.read_schema(pa.BufferReader(data)).metadata)
    except (pa.ArrowException, OSError) as error:
        raise ValueError(str(error)) from error


def _about_in(metadata: Any) -> dict[str, Any]:
    told = json.loads((metadata or {}).get(ABOUT, b"null"))
    if not isinstance(told, dict):
        raise ValueError("says nothing of a pose")
    return told


def _row(line: ViewLine) -> dict[str, Any]:
    limbs = line.limbs
    split = (None,) * 5 if limbs is None else (limbs.head, *limbs.arms, *limbs.legs)
    return {
        **{name: getattr(line, name) for name in PLAIN},
        "angle": None if np.isnan(line.angle) else line.angle,
        **{name: line.measures.get(name) for name in MEASURES},
        **dict(zip(LIMBS, split, strict=True)),
        "joints": [_joint_row(joint) for joint in line.joints],
        "outline": None if line.outline is None else shapely.to_wkb(line.outline, byte_order=1),
        "vector": line.vector,
        "mirror_vector": line.mirror_vector,
    }


def _joint_row(joint: Joint) -> dict[str, Any]:
    row = asdict(joint)
    row["or_x"], row["or_y"] = row.pop("also") or (None, None)
    return row


def _line(row: dict[str, Any]) -> ViewLine:
    limbs = [row[name] for name in LIMBS]
    measures = {name: row[name] for name in MEASURES if row[name] is not None}
    return ViewLine(
        **{name: row[name] for name in PLAIN} | {
            "angle": np.nan if row["angle"] is None else row["angle"],
            "flags": tuple(row["flags"]), "reasons": tuple(row["reasons"]), "gaps": tuple(row["gaps"]),
        },
        measures=measures,
        limbs=None if limbs[0] is None else LimbLegibility(limbs[0], (limbs[1], limbs[2]), (limbs[3], limbs[4])),
        joints=tuple(_joint(joint) for joint in row["joints"]),
        outline=None if row["outline"] is None else shapely.from_wkb(row["outline"]),
        vector=_vector(row["vector"]),
        mirror_vector=_vector(row["mirror_vector"]),
    )


def _joint(row: dict[str, Any]) -> Joint:
    also = None if row["or_x"] is None else (row["or_x"], row["or_y"])
    return Joint(row["joint"], row["x"], row["y"], row["spread"], row["sure"], also)


def _vector(values: Any) -> Any:
    return None if values is None else np.asarray(values, np.float32)
