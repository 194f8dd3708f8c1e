"""Hostile names of files, folders, poses and sets: no text at all, formulas, control characters, reserved, too long."""

from __future__ import annotations

import os
from pathlib import Path

from campaign import drawn, samples
from campaign.harness import Case
from hypothesis import strategies as st

KNOWN = (
    b"$a_$",
    b"$\\frac{1}{0}$",
    b"\\alpha_{",
    b"1\xc2\xb2",
    b"\xff\xfe",
    b"caf\xe9",
    b"-x",
    b"--help",
    b"-o",
    b"..a",
    b" ",
    b"a b",
    b"\n",
    b"a\nb",
    b"\x1b[2J",
    b"\x07",
    b"\t",
    b"\x7f",
    b"CON",
    b"NUL.txt",
    b"aux",
    b"LPT1",
    b"a:b",
    b"C:",
    b"a?b*",
    b"<b>&amp;\"'",
    b"<script>alert(1)</script>",
    b"]]>",
    b"{{7*7}}",
    b"%s%n",
    b"%00",
    b"=1+1",
    b"+1",
    b"@x",
    b"-1",
    "ﷺ".encode(),
    "\u202egnp".encode(),
    "e\u0301".encode(),
    "\u00e9".encode(),
    "👩‍🎨".encode(),
    "\ufeff".encode(),
    "\u2028".encode(),
    "٤٥".encode(),
    b"0" * 200,
    b"9" * 250,
    b"a" * 251,
    b"a" * 255,
    "ü".encode() * 127,
    b"045",
    b"045deg",
    b".hidden",
    b"a.",
    b"a.mask",
    b"x.partial",
    b".known",
    b"a=closed",
    b"#",
    b"~",
    b"$HOME",
    b"`id`",
    b"'",
    b'"',
    b"\\",
    b"\xed\xa0\x80",
    b"a\x00b".replace(b"\x00", b"\x01"),
    b"000",
    b"1e5",
    b"nan",
    b"_",
    b"-",
    b"silhouettes",
    b"result.json",
)
RAW = st.binary(min_size=1, max_size=40).map(lambda b: b.replace(b"/", b"_").replace(b"\0", b"0"))
NAME = st.one_of(
    st.sampled_from(KNOWN),
    st.sampled_from(KNOWN),
    RAW,
    st.text(min_size=1, max_size=20).map(
        lambda t: t.encode("utf-8", "replace").replace(b"/", b"_").replace(b"\0", b"0")
    ),
).filter(lambda b: b not in (b".", b".."))
WAYS = ("file", "folder", "stills", "rank", "out", "export", "name", "loop", "table", "intent")


def run(case: Case) -> None:
    """A block of names, each in one of the places where a name is used."""
    drawn.examples(case, st.tuples(st.sampled_from(WAYS), NAME, NAME), lambda x: _attack(case, *x), count=10)


def _attack(case: Case, way: str, first: bytes, second: bytes) -> None:  # noqa: C901 - one branch a way
    folder = case.fresh()
    read = ["--work-px", "200", "--jitter", "0"]
    short, two = first[:200], second[:200]
    out = folder / "out"

    def told(name: bytes) -> str:
        return os.fsdecode(name)

    def pose(name: bytes, *names: bytes) -> Path:
        place = folder / told(name)
        place.mkdir(parents=True, exist_ok=True)
        for i, still in enumerate(names or (b"000", b"090")):
            (place / told(still[:251] + b".jpg")).write_bytes(samples.still(90 * i))
        return place

    if way == "file":
        place = pose(b"pose", short) / (told(short) + ".jpg")
        case.attack(["score", place, *read, "-o", out, "--masks"], out=out)
    elif way == "folder":
        pose(first)
        case.attack(["score", told(first), *read, "-o", "out"], out=out, cwd=folder)
    elif way == "stills":
        case.attack(["score", pose(b"pose", short, two, b"a"), *read, "-o", out, "--masks"], out=out)
    elif way == "rank":
        pose(b"all/" + short)
        pose(b"all/" + two)
        case.attack(["rank", folder / "all", *read, "-o", out, "--masks"], out=out)
    elif way == "out":
        case.attack(["score", pose(b"pose"), *read, "-o", told(first)], out=folder / told(first), cwd=folder)
    elif way == "export":
        case.attack(["export", pose(short, two, b"b"), *read[:2], "-o", out], out=out)
    elif way == "name":
        case.attack(["export", pose(b"pose"), *read[:2], "-o", out, f"--name={told(first)}"], out=out)
    elif way == "loop":
        place = pose(b"all/one")
        for name, goal in ((short, short), (two + b".jpg", b"../one/" + two + b".jpg"), (b"up", b"..")):
            link = place / told(name)
            if not os.path.lexists(link):
                link.symlink_to(told(goal))
        case.attack(["rank", folder / "all", *read, "-o", out], out=out)
    elif way == "table":
        place = pose(b"pose", b"a", short)
        (place / "angles.csv").write_bytes(b"a.jpg,0\n" + short + b".jpg,90\n")
        case.attack(["score", place, *read, "-o", out], out=out)
    else:
        pose(b"all/" + short)
        case.attack(["rank", folder / "all", *read, f"--intent={told(first)}=closed"])
