"""Tables of angles and of live turns, as a person, a spreadsheet or a stranger might write them."""

from __future__ import annotations

import traceback
from pathlib import Path

from campaign import drawn, samples
from campaign.harness import LIMIT_S, Case, caught, within
from hypothesis import strategies as st

NAMES = ("IMG_1.jpg", "IMG_2.jpg", "IMG_3.jpg")
ODD = (
    "",
    " ",
    "=1+1",
    '"',
    '""',
    "'",
    "\0",
    "a" * 200_000,
    "1e999",
    "nan",
    "inf",
    "-0",
    "٤٥",
    "²",
    "45°",
    "360.0001",
    "\ufeff",
    "\r",
    "\u2028",
    "-9999999999",
    "0x10",
    "22,5",
    "1.234,5",
    "picture",
    "Winkel",
    "9" * 5000,
    "../IMG_1.jpg",
)
CELL = st.one_of(
    st.sampled_from(NAMES),
    st.sampled_from([Path(n).stem for n in NAMES]),
    st.sampled_from(ODD),
    st.integers(-400, 800).map(str),
    st.floats().map(str),
    st.text(max_size=8),
)
MARK = st.sampled_from(",;\t|, ;")
ENCODING = st.sampled_from(("utf-8", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1", "cp437", "utf-32"))
TABLE = st.builds(
    lambda rows, mark, end, encoding: end.join(mark.join(r) for r in rows).encode(encoding, "replace"),
    st.lists(st.lists(CELL, min_size=1, max_size=4), max_size=6),
    MARK,
    st.sampled_from(("\n", "\r\n", "\r", "\n\n")),
    ENCODING,
)
GOOD = st.builds(
    lambda mark, ends, heading: (
        heading + "".join(f"{n}{mark}{e}\n" for n, e in zip(NAMES, ends, strict=True))
    ).encode(),
    st.sampled_from((";", "\t")),
    st.tuples(*[st.sampled_from(("0", "22,5", "22.5", "90", "-45", "359,9"))] * 3),
    st.sampled_from(("", "file;angle\n")),
)
TURN = st.builds(
    lambda head, rows, mark, end, encoding: end.join([head, *map(mark.join, rows)]).encode(encoding, "replace"),
    st.sampled_from(("still,seconds,moved", "Still;Seconds;Moved", "still\tseconds\tmoved\tnote", "still,seconds", "")),
    st.lists(st.lists(CELL, min_size=1, max_size=4), max_size=6),
    MARK,
    st.sampled_from(("\n", "\r\n", "\r", "\n\n")),
    ENCODING,
)


def run(case: Case) -> None:
    """A block of tables: most straight to the reader, some beside pictures through the command."""
    if case.number % 4 == 2:
        drawn.examples(case, st.one_of(TURN, TABLE, st.binary(max_size=200)), lambda data: _read_turn(case, data))
    elif case.number % 4:
        drawn.examples(case, st.one_of(TABLE, TABLE, st.binary(max_size=200), GOOD), lambda data: _read(case, data))
    else:
        drawn.examples(case, st.one_of(TABLE, GOOD), lambda data: _score(case, data), count=6)


def _read(case: Case, data: bytes) -> None:
    from silhouette.errors import SilhouetteError
    from silhouette.intake.filenames import angles_from_csv

    path = Path("angles.csv").resolve()
    path.write_bytes(data)
    case.note(["angles_from_csv", data[:300]])
    with within(LIMIT_S), caught() as said:
        try:
            angles = angles_from_csv(path, list(NAMES))
        except SilhouetteError:
            angles = None
        except BaseException:
            case.find("tracebacks", traceback.format_exc())
            angles = None
        noise = "".join(said())
    if noise:
        case.find("other", f"a library speaks: {noise}")
    if angles is not None and not all(a is None or 0 <= a < 360 for a in angles):
        case.find("other", f"cannot be angles: {angles}")
    if path.read_bytes() != data:
        case.find("originals changed", str(path))


def _read_turn(case: Case, data: bytes) -> None:
    from silhouette.errors import SilhouetteError
    from silhouette.intake.turn_table import live_turn

    path = Path("turn.csv").resolve()
    path.write_bytes(data)
    case.note(["live_turn", data[:300]])
    stills = [path.with_name(name) for name in NAMES]
    with within(LIMIT_S), caught() as said:
        try:
            turn = live_turn(path.parent, stills)
            motion = None if turn is None else turn.motion(turn.files)
        except SilhouetteError:
            turn = motion = None
        except BaseException:
            case.find("tracebacks", traceback.format_exc())
            turn = motion = None
        noise = "".join(said())
    if noise:
        case.find("other", f"a library speaks: {noise}")
    if turn is not None and sorted(turn.files) != sorted(stills):
        case.find("other", f"not the stills that are there: {turn.files}")
    if motion is not None and not (all(0 <= m <= 1 for m in motion) and abs(sum(motion) - 1) < 1e-6):
        case.find("other", f"cannot be shares: {motion}")
    if path.read_bytes() != data:
        case.find("originals changed", str(path))


def _score(case: Case, data: bytes) -> None:
    folder = case.fresh()
    place = folder / "pose"
    place.mkdir()
    for name in NAMES:
        (place / name).write_bytes(samples.still())
    (place / "angles.csv").write_bytes(data)
    good = samples.pose(folder / "good", (0,))
    read = ("--work-px", 200, "--jitter", 0)
    if case.number % 8:
        case.attack(["score", place, *read])
    else:
        case.attack(["rank", good, place, *read], codes=(0,))
