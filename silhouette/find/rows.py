"""The views of one pose as one Parquet file, and back: plain columns that any program can read.

The same views always give the same bytes. What holds for the pose as a whole stands in the file's own metadata, as
JSON.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from functools import cache
from typing import Any

import numpy as np
import shapely
from shapely.errors import ShapelyError

from silhouette.find.embed import SIZE
from silhouette.records import Joint, LimbLegibility
from silhouette.records_find import ViewLine
from silhouette.settings import Ring
from silhouette.texts import printable

ABOUT = b"silhouette"
"""Name of the file's metadata that holds the pose's own data, JSON."""
PLAIN = ("pose", "source", "ring", "angle", "angle_from", "name", "readability", "clear", "interesting", "band",
         "confidence", "flags", "reasons", "gaps")
"""Columns that are fields of a :class:`ViewLine` as they are."""
MEASURES = ("negative_space", "contour_complexity", "limb_separation", "solidity", "circularity", "convexity",
            "symmetry")
VECTORS = ("vector", "mirror_vector")
HEADLINE = "headline"
"""Column that says of a view whether it is of the ring that the pose's headline is of."""
FOUND_BY = ("pose", "source", "ring", HEADLINE, "angle", "readability", "band", "flags", "gaps", "joints", *VECTORS)
"""Columns that say whether a pose is what somebody looks for."""
MOST_ROWS = 100_000
"""Of one row group: more is no file of ours, and nothing that is to be unpacked."""
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
    with opened(data) as held:
        table = held.read(use_threads=False)  # small
        vectors = zip(*(_vectors(table.column(name)) for name in VECTORS), strict=True)
        rows = table.drop_columns(list(VECTORS)).to_pylist()
        lines = [_line(row, *own) for row, own in zip(rows, vectors, strict=True)]
        return lines, about_in(table.schema.metadata)


def about(data: bytes) -> dict[str, Any]:
    """What a file says of the whole pose; its views are not unpacked.

    Raises
    ------
    ValueError
        If it is no such file.
    """
    with opened(data) as held:
        return about_in(held.schema_arrow.metadata)


def found_by(data: bytes, columns: Sequence[str] = FOUND_BY) -> Any:
    """An Arrow table of these columns of a file, of :func:`found_by_schema`; nothing is made of single rows.

    Raises
    ------
    ValueError
        If it is no such file.
    """
    with opened(data) as held:
        table = held.read(columns=[name for name in columns if name != HEADLINE], use_threads=False)
        return _found_by(table, about_in(table.schema.metadata)["ring"], columns)


def found_by_of(lines: Sequence[ViewLine], ring: Ring, columns: Sequence[str] = FOUND_BY) -> Any:
    """The same of the views of one pose, whose headline is of this ring."""
    import pyarrow as pa

    return _found_by(pa.Table.from_pylist([_row(line) for line in lines], schema=_schema()), ring, columns)


def _found_by(table: Any, ring: Ring, columns: Sequence[str]) -> Any:
    import pyarrow.compute as pc

    whole = table.append_column(HEADLINE, pc.fill_null(pc.equal(table.column("ring"), ring), False))
    return whole.select(list(columns)).replace_schema_metadata(None).cast(found_by_schema(columns))


def found_by_schema(columns: Sequence[str] = FOUND_BY) -> Any:
    """The Arrow types of these columns, as in the files of the poses."""
    import pyarrow as pa

    headline = pa.field(HEADLINE, pa.bool_())
    return pa.schema([headline if name == HEADLINE else _schema().field(name) for name in columns])


def joined(tables: Sequence[Any]) -> Any:
    """Several tables of the same columns as one."""
    import pyarrow as pa

    return pa.concat_tables(tables).combine_chunks()


@contextmanager
def opened(data: Any) -> Iterator[Any]:
    """A Parquet file, as bytes or open, to be read within; all that may be wrong with it is a ValueError."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        held = pq.ParquetFile(pa.BufferReader(data) if isinstance(data, bytes) else data)
        if held.metadata.num_rows > max(1, held.metadata.num_row_groups) * MOST_ROWS:
            raise ValueError("says that it holds more views than there can be")
        yield held
    except (pa.ArrowException, ShapelyError, OSError, KeyError, TypeError, RecursionError) as error:
        raise ValueError(" ".join(str(error).split())) from error


def about_in(metadata: Any) -> dict[str, Any]:
    """What the metadata of a file says, JSON. Raises a ValueError where it says nothing."""
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


def _line(row: dict[str, Any], vector: Any, mirror_vector: Any) -> ViewLine:
    limbs: list[Any] = [row[name] for name in LIMBS]
    plain = {name: row[name] for name in PLAIN}
    lists = {name: tuple(plain[name]) for name in ("flags", "reasons", "gaps")}
    shown = {name: printable(plain[name]) for name in ("pose", "source", "name")}
    outline = row["outline"]
    return ViewLine(
        **plain | lists | shown | {"angle": np.nan if row["angle"] is None else row["angle"]},
        measures={name: row[name] for name in MEASURES if row[name] is not None},
        limbs=None if limbs[0] is None else LimbLegibility(limbs[0], (limbs[1], limbs[2]), (limbs[3], limbs[4])),
        joints=tuple(_joint(joint) for joint in row["joints"]),
        outline=None if outline is None else shapely.from_wkb(outline),
        vector=vector,
        mirror_vector=mirror_vector,
    )


def _joint(row: dict[str, Any]) -> Joint:
    also = None if row["or_x"] is None else (row["or_x"], row["or_y"])
    return Joint(row["joint"], row["x"], row["y"], row["spread"], row["sure"], also)


def _vectors(column: Any) -> list[Any]:
    """The vector of every row, None where there is none."""
    array = column.combine_chunks()
    there = array.is_valid().to_numpy(zero_copy_only=False)
    values = iter(array.flatten().to_numpy(zero_copy_only=False).astype(np.float32).reshape(-1, SIZE))
    return [next(values) if one else None for one in there]
