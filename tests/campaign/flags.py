"""Every flag of every command, with what nobody should type; flags and choices are read from the commands' own help."""

from __future__ import annotations

import os
import re
from functools import cache
from pathlib import Path

from campaign import drawn, samples
from campaign.harness import Case, run_here
from hypothesis import strategies as st

COMMANDS = ("score", "rank", "demo", "plan", "check", "export", "armature", "mend")
NUMBERS = (
    "nan",
    "inf",
    "-inf",
    "-0",
    "0",
    "-1",
    "1",
    "0.5",
    "1e308",
    "-1e308",
    "1e-320",
    "1e999",
    "360",
    "361",
    "179.99",
    "99999999999999999999",
    "2147483648",
    "1_0",
    "0x10",
    "٣",
    "²",
    " 5 ",
    "5,5",
    "1" * 5000,
    "1e5",
    "64",
    "100000",
)
WORDS = (
    "",
    " ",
    "x" * 5000,
    "\n",
    "\t\x1b[31m",
    "open",
    "closed=",
    "=closed",
    "a=b=relief",
    "300-60",
    "0-0",
    "nan-5",
    "..",
    "1:4",
    "1:nan",
    "1:0",
    "4:1",
    "1:1e308",
    "0,45",
    ",",
    "nan,0",
    "a4",
    "A4",
    "left",
    "auto",
    "-",
    "--",
    "-5",
    ".",
    "/dev/null",
    "/dev/zero",
    "$a_$",
    "𝕊",
    "\udcff",
    "u2netp",
    "isnet-general-use",
    "../../x",
    "a/b",
    "CON",
    "a" * 300,
)


@cache
def flags(command: str) -> dict[str, tuple[int, tuple[str, ...]]]:
    """Flag to how many words it takes and which of them are known, as ``--help`` tells it."""
    told = " ".join(run_here([command, "--help"]).out.split("options:")[1].split())
    found = {}
    for flag, words in re.findall(r"(?<!\S)(--[a-z-]+|-o)((?: \{[^}]*\}| \[?[A-Z][A-Z0-9,:=\[\]-]*)*)(?=[\s,])", told):
        known = re.findall(r"[\w ]+", words) if "{" in words else ()
        found[flag] = (len(words.split()) if "{" not in words else 1, tuple(k for k in known if k.strip()))
    found.pop("--help", None)
    return found


def _words(command: str, files: tuple[str, ...]) -> st.SearchStrategy[list[str]]:
    """Some flags with something behind each."""
    value = st.one_of(
        st.sampled_from(NUMBERS),
        st.sampled_from(WORDS),
        st.sampled_from(files),
        st.floats().map(repr),
        st.text(max_size=12).filter(lambda t: "\0" not in t),
    )

    def one(flag: str) -> st.SearchStrategy[list[str]]:
        count, known = flags(command)[flag]
        word = st.one_of(st.sampled_from(known), value) if known else value
        if flag == "--jobs":  # true ones would only start processes
            word = st.sampled_from(("1", "2", *(n for n in NUMBERS if n not in ("64",)), *WORDS))
        return st.one_of(
            st.lists(word, min_size=count, max_size=count).map(lambda w: [flag, *w]),
            st.lists(word, max_size=2).map(lambda w: [flag, *w]) if count else st.just([flag]),
            word.map(lambda w: [f"{flag}={w}"]),
        )

    some = [f for f in flags(command) if f not in ("-o", "--out")]
    return st.lists(st.sampled_from(some).flatmap(one), max_size=4).map(lambda parts: [w for p in parts for w in p])


def run(case: Case) -> None:
    """A block of command lines of one command."""
    command = COMMANDS[case.number % len(COMMANDS)]
    files = ("a.jpg", "pose", "pipe", "empty.onnx", "a.jpg/b", "loop", "no.onnx")
    quick = (
        []
        if command == "plan"
        else ["--work-px", "200"] + ([] if command in ("check", "export", "armature", "mend") else ["--jitter", "0"])
    ) + (["--height", "1.7"] if command == "armature" else [])
    targets = {"demo": [[]], "plan": [[]]}.get(
        command, [["pose"], ["pose"], ["a.jpg"], ["pose", "a.jpg"], ["pipe"], [""]]
    )
    line = st.tuples(
        st.sampled_from(targets),
        _words(command, files),
        st.booleans(),
        st.sampled_from(("out", "", "x" * 300, "a.jpg")),
    )

    def attack(drawn_line: tuple[list[str], list[str], bool, str]) -> None:
        target, words, with_out, name = drawn_line
        folder = case.fresh()
        samples.pose(folder / "pose")
        (folder / "a.jpg").write_bytes(samples.still())
        (folder / "empty.onnx").touch()
        (folder / "loop").symlink_to("loop")
        os.mkfifo(folder / "pipe")
        name = {"plan": f"{name}.pdf", "mend": f"{name}.html", "demo": name or "out"}.get(command, name)
        out = ["-o", name] if with_out or command in ("demo", "export", "armature", "mend") else []
        codes = (0, 1, 2) if command == "check" else (0, 2)
        case.attack([command, *target, *quick, *words, *out], codes=codes, out=folder / Path(name), cwd=folder)

    drawn.examples(case, line, attack, count=8 if command == "demo" else drawn.EXAMPLES)
