"""Attack the program's promises: a campaign that can be run again, case by case.

Run it from the checkout, against the package that the interpreter finds::

    python tests/campaign --short                 three minutes on two slow cores; .ci/run does this
    python tests/campaign --long --jobs 4         100,000 stills through the reader, and so on
    python tests/campaign --long --kind clips     one kind
    python tests/campaign --kind clips --case 17  one case again, with all that it says; --seed as it was
    python -m tests.campaign --short              the same, against the checkout itself

What is attacked: pictures, clips, tables, masks made by hand, pictures of the empty room, turns and tapes that are
none, archives, flags, names, places, signals, kill -9 at random moments, full disks, poisoned memories of earlier
cuts, closed streams, and whatever can be sent to the local pages. What every single run is held to: no traceback and
no crash; an end within 20 seconds; a fitting exit code; every file that was there the same to the byte, with its
rights and its time; nothing left behind, neither beside the results nor in the folder for temporary files; results
that nobody else can read and that their own readers accept; one sentence on the error stream; less than 1.5 GB of
memory.

Cases run in processes of their own that say what they are about to do: a crash of a decoder is put down to its case,
and the rest goes on. The table at the end counts broken promises, by kind; the exit code is 1 if there is one. Each is
written to ``FOUND/findings.jsonl`` with what runs it again. `RESULTS.md` keeps the table of the last long run.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from campaign import workers
from campaign.harness import COLUMNS
from campaign.kinds import KINDS, SHARED

SHORT_MINUTES = 2.4
"""The short form begins no new case after so long, however slow the machine."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the campaign, print the table, return 1 if a promise was broken."""
    args = _parser().parse_args(argv)
    if args.worker:
        return workers.work(args.worker, args.first, args.last, args.seed, args.lab, prepare=args.prepare)
    if args.case is not None:
        return _again(args)
    if not (args.short or args.long):
        _parser().error("say --short or --long, or --kind and --case")
    names = args.kind or list(KINDS)
    lab = Path(tempfile.mkdtemp(prefix="campaign-"))
    args.found.mkdir(parents=True, exist_ok=True)
    began = time.monotonic()
    minutes = args.minutes or (SHORT_MINUTES if args.short else None)
    until = began + 60 * minutes if minutes else None
    try:
        with ThreadPoolExecutor(args.jobs) as pool, workers.ended_with_us():
            pieces = [p for n in sorted({SHARED.get(n, n) for n in names}) for p in workers.parts(n, lab)]
            list(pool.map(lambda p: workers.prepare(*p, args.seed, lab), pieces))
            tasks = [(n, a, b) for n in names for a, b in _parts(_count(n, args), args.jobs)]
            tasks.sort(key=lambda t: list(KINDS).index(t[0]), reverse=True)
            clock = workers.Clock(tasks, args.jobs, until)
            sums = list(pool.map(lambda t: workers.attack(*t, args.seed, lab, clock.begin(t)), tasks))
    finally:
        shutil.rmtree(lab, ignore_errors=True)
    totals = {n: workers.Sum.of([s for s, t in zip(sums, tasks, strict=True) if t[0] == n]) for n in names}
    print(_table(totals))
    if cut := [n for n, one in totals.items() if one.ended < _count(n, args)]:
        print(f"Out of time: not every case ran of {', '.join(cut)}.")
    found = _write_down(totals, args)
    print(
        f"{(time.monotonic() - began) / 60:.1f} minutes, {args.jobs} at a time, seed {args.seed}; "
        f"{found} broken promises{f', written to {args.found}' if found else ''}."
    )
    return 1 if found else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="campaign", description="Attack the program's promises.")
    add = parser.add_argument
    add("--short", action="store_true", help="the short form")
    add("--long", action="store_true", help="the long form")
    add("--kind", action="append", choices=list(KINDS), help="only this kind; may be repeated")
    add("--case", type=int, help="run one case of one kind again")
    add("--cases", type=int, help="so many cases of each kind")
    add("--seed", type=int, default=1)
    add("--jobs", type=int, default=max(1, min(2, os.cpu_count() or 1)), help="processes (%(default)s)")
    add("--minutes", type=float, help="begin no new case after so long; the table says how many ran")
    add("--found", type=Path, default=Path("out_campaign"), help="folder for what is found (%(default)s)")
    add("--worker", help=argparse.SUPPRESS)
    add("--prepare", action="store_true", help=argparse.SUPPRESS)
    for name in ("--first", "--last"):
        add(name, type=int, default=0, help=argparse.SUPPRESS)
    add("--lab", type=Path, help=argparse.SUPPRESS)
    return parser


def _count(name: str, args: argparse.Namespace) -> int:
    return args.cases or KINDS[name][0 if args.short else 1]


def _parts(count: int, jobs: int) -> list[tuple[int, int]]:
    """Cases 0 to ``count`` in runs of neighbours; many cases in so many runs that all processes stay busy."""
    step = count if count < 400 else -(-count // (4 * jobs))
    return [(a, min(a + step, count)) for a in range(0, count, step)]


def _again(args: argparse.Namespace) -> int:
    if not args.kind or len(args.kind) != 1:
        _parser().error("--case goes with one --kind")
    lab = Path(tempfile.mkdtemp(prefix="campaign-"))
    for piece in workers.parts(SHARED.get(args.kind[0], args.kind[0]), lab):
        workers.prepare(*piece, args.seed, lab)
    done = workers.attack(args.kind[0], args.case, args.case + 1, args.seed, lab, None, loud=True)
    for row in done.found:
        print(f"\n{row['what']}: {row['message']}")
    print(f"\n{len(done.found)} broken promises; what the case worked on lies in {lab}")
    return 1 if done.found else 0


def _table(totals: dict[str, workers.Sum]) -> str:
    heads = ("kind", "cases", "runs", *COLUMNS, "peak MB", "minutes")
    rows = [heads, tuple("---" for _ in heads)]
    for name, one in totals.items():
        counts = Counter(row["what"] for row in one.found)
        figures = (one.ended, one.runs, *(counts[c] for c in COLUMNS), round(one.peak_mb), f"{one.seconds / 60:.1f}")
        rows.append((name, *(str(f) for f in figures)))
    wide = [max(len(row[i]) for row in rows) for i in range(len(heads))]
    return "\n".join("| " + " | ".join(c.ljust(w) for c, w in zip(row, wide, strict=True)) + " |" for row in rows)


def _write_down(totals: dict[str, workers.Sum], args: argparse.Namespace) -> int:
    """``findings.jsonl``, and on the screen each sort of finding once, with the case that shows it."""
    rows = [row for one in totals.values() for row in one.found]
    if rows:
        text = "".join(json.dumps(row) + "\n" for row in rows)
        (args.found / "findings.jsonl").write_text(text, encoding="utf-8")
    sorts = Counter((row["kind"], row["sign"]) for row in rows)
    first = {(row["kind"], row["sign"]): row for row in reversed(rows)}
    for (kind, sign), count in sorted(sorts.items()):
        row = first[kind, sign]
        print(f"{count:6d} x {sign}\n         --kind {kind} --case {row['case']} --seed {row['seed']}")
    return len(rows)


if __name__ == "__main__":
    sys.exit(main())
