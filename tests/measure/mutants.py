"""Do the tests notice when the code is wrong? Breaks one thing at a time and runs the tests that mirror the file.

    python tests/measure/mutants.py                      the wrongs named in WRONG, one by one
    python tests/measure/mutants.py --sample 160         so many places drawn at random from the rooms in ROOMS
    python tests/measure/mutants.py --sample 60 --rooms turn --seed 2 --show

A sampled mutant changes one number (whole: one more or less; other: double or half), one comparison (to its opposite),
one sum, difference, product or quotient (to its opposite), one ``and`` or ``or``, or drops one ``not``. Texts,
annotations and errors' sentences are left alone. Nothing is written: the wrong code is compiled in a forked child in
which the tests then run, so this needs a system that can fork. A mutant is killed if a test fails or runs on for more
than LONGEST seconds; ``--show`` prints the line that was changed for every survivor. Ctrl+C ends a sample early and
counts what was tried: the places come in random order.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib
import importlib.machinery
import io
import os
import random
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "silhouette"
LONGEST = 300
"""Seconds that the tests of one mutant may take."""
LOADED = ("numpy", "cv2", "shapely", "shapely.affinity", "scipy.stats", "scipy.spatial", "scipy.ndimage", "pytest",
          "hypothesis")
"""Loaded once, before the children are forked; the package itself never."""

TESTS = {
    "geometry": ["tests/geometry"],
    "geometry/drawn": ["tests/geometry", "tests/show/test_svg.py"],
    "geometry/perspective": ["tests/geometry/test_perspective.py", "tests/plan"],
    "shape": ["tests/shape"],
    "reading": ["tests/reading"],
    "reading/circle": ["tests/reading/test_circle.py", "tests/reading/test_resampling.py", "tests/test_steadiness.py"],
    "reading/reader": ["tests/reading/test_bells.py", "tests/reading/test_reader.py"],
    "turn": ["tests/turn"],
    "turn/angle_fit": ["tests/turn/test_angle_fit.py", "tests/turn/test_estimate.py"],
    "turn/estimate": ["tests/turn/test_without_outlines.py", "tests/turn/test_estimate.py"],
    "turn/stance": ["tests/turn/test_stance.py", "tests/turn/test_estimate.py"],
    "turn/support_function": ["tests/turn/test_support_function.py", "tests/turn/test_estimate.py"],
    "turn/steps": ["tests/turn/test_steps.py", "tests/turn/test_step_width.py"],
    "turn/respread": ["tests/turn/test_respread.py"],
    "turn/rigidity": ["tests/turn/test_rigidity.py", "tests/turn/test_hull_of_spheres.py"],
    "turn/visual_hull": ["tests/turn/test_visual_hull.py", "tests/turn/test_hull_of_spheres.py"],
    "plan": ["tests/plan"],
    "plan/warnings": ["tests/plan", "tests/show/test_words_plan.py"],
    "check": ["tests/check"],
    "export": ["tests/export/test_axis.py"],
    "cutout": ["tests/cutout"],
    "scoring": ["tests/test_steadiness.py"],
}
"""Tests that answer for a room, or for one file of it; of the test files those named after the file run first."""
ROOMS = ("shape", "reading", "turn", "plan", "geometry", "check")

WRONG = {
    "two weakest limbs read as three": ("reading/view.py", "five[:2]", "five[:3]"),
    "joint pairs sorted backwards": ("reading/view.py", "pair.sort()", "pair.sort(reverse=True)"),
    "arcs across 0 not merged": ("geometry/angles.py", "if len(merged) > 1 and merged[0][0] + n", "if False and n"),
    "open gaps at half weight": ("shape/gaps.py", "else min(1.0, depth_of", "else 0.5 * min(1.0, depth_of"),
    "smallest gap 0": ("shape/gaps.py", "SMALLEST_GAP = 0.002", "SMALLEST_GAP = 0.0"),
    "no view dropped in resampling": ("reading/circle.py", "if len(angles) > 3:", "if len(angles) > 3000:"),
    "edge jitter 0": ("scoring.py", "EDGE = 0.002", "EDGE = 0.0"),
    "interval 25-75": ("scoring.py", "[5, 95]", "[25, 75]"),
    "tie at 0.6": ("reading/ranking.py", "SURE = 0.9", "SURE = 0.6"),
    "angle fit without robust weights": ("turn/angle_fit.py", "trust = 1 / (1 + (residual / (3 * spread)) ** 2)",
                                         "trust = np.ones_like(residual)"),
    "rows worth ten times as much": ("turn/angle_fit.py", "ROWS_WORTH = 0.1", "ROWS_WORTH = 1.0"),
    "feet stand on the other side": ("turn/stance.py", "-shift if mirrored else shift",
                                     "shift if mirrored else -shift"),
    "pixels do not fall with distance": ("plan/camera.py", "long_px / frame_length(d, lens)",
                                         "long_px / frame_length(stands, lens)"),
    "closing stop dropped": ("plan/timetable.py", "(stops + 1) * hold", "stops * hold"),
    "rest does not reset the clock": ("plan/timetable.py", "_add(slots, clock, (minutes, what, kind)), 0.0",
                                      "_add(slots, clock, (minutes, what, kind)), posed"),
    "axis of opposite stops off": ("export/reference_set.py", "(here.left + there.right) / 2",
                                   "(here.left + there.left) / 2"),
    "gamma 3.5": ("cutout/edge.py", "GAMMA = 1.5", "GAMMA = 3.5"),
    "hull without room upwards": ("turn/visual_hull.py", "UPRIGHT + ROOM_STEP * up)", "UPRIGHT)"),
}
"""Deliberate wrongs that earlier tests did not notice: file, what stands there, what is put in its place."""

NEGATED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult, ast.Pow: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}


Place = tuple[tuple[str, int | None], ...]


def changed(node: ast.AST, rng: random.Random) -> ast.AST | None:
    """A wrong copy of a node, or None where there is nothing of the kind to change."""
    wrong = copy.deepcopy(node)
    if isinstance(wrong, ast.Constant):
        if isinstance(wrong.value, bool) or not isinstance(wrong.value, int | float):
            return None
        if isinstance(wrong.value, int):
            wrong.value += rng.choice((1, -1))
        else:
            wrong.value = 1.0 if wrong.value == 0 else wrong.value * rng.choice((2.0, 0.5))
        return wrong
    if isinstance(wrong, ast.Compare) and len(wrong.ops) == 1:
        wrong.ops = [NEGATED[type(wrong.ops[0])]()]
        return wrong
    if isinstance(wrong, ast.BinOp | ast.AugAssign) and type(wrong.op) in SWAPPED:
        wrong.op = SWAPPED[type(wrong.op)]()
        return wrong
    if isinstance(wrong, ast.BoolOp):
        wrong.op = ast.Or() if isinstance(wrong.op, ast.And) else ast.And()
        return wrong
    if isinstance(wrong, ast.UnaryOp) and isinstance(wrong.op, ast.Not):
        return wrong.operand
    return None


def places(node: ast.AST, path: Place = ()) -> Iterator[Place]:
    """Where in a tree something can be changed: steps of (field, position), from the root."""
    if changed(node, random.Random(0)) is not None:
        yield path
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list") or isinstance(node, ast.JoinedStr | ast.Raise):
            continue
        for at, child in enumerate(value) if isinstance(value, list) else [(None, value)]:
            if isinstance(child, ast.AST):
                yield from places(child, (*path, (name, at)))


def mutated(source: str, path: Place, rng: random.Random) -> tuple[str, int]:
    """The source with the node at ``path`` changed, and its line."""
    tree = ast.parse(source)
    *front, (name, at) = path
    parent: ast.AST = tree
    for step, k in front:
        value = getattr(parent, step)
        parent = value if k is None else value[k]
    value = getattr(parent, name)
    node = value if at is None else value[at]
    wrong = changed(node, rng)
    assert wrong is not None
    if at is None:
        setattr(parent, name, wrong)
    else:
        value[at] = wrong
    return ast.unparse(ast.fix_missing_locations(tree)), node.lineno


def tests_for(file: str) -> list[str]:
    """Test files that answer for a file of the package, those named after it first."""
    stem = file.removesuffix(".py")
    given = TESTS.get(stem) or TESTS[stem.split("/")[0]]
    found = [p for t in given for p in (sorted((ROOT / t).rglob("test_*.py")) if not t.endswith(".py") else [ROOT / t])]
    found.sort(key=lambda p: not p.stem.startswith(f"test_{Path(stem).name}"))
    return [str(p) for p in found if p.exists()]


def survives(file: str, source: str) -> bool:
    """Whether the tests pass with this source in place of the file's own."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            signal.alarm(LONGEST)
            code = _run_tests(PACKAGE / file, source, tests_for(file))
        finally:
            os._exit(code)
    return os.waitpid(child, 0)[1] == 0


def _run_tests(target: Path, source: str, tests: list[str]) -> int:
    import pytest

    right = importlib.machinery.SourceFileLoader.get_code

    def get_code(self: importlib.machinery.SourceFileLoader, name: str) -> object:
        if Path(self.path) == target:
            return compile(source, self.path, "exec", dont_inherit=True)
        return right(self, name)

    importlib.machinery.SourceFileLoader.get_code = get_code  # type: ignore[method-assign,assignment]
    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        return int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-W", "ignore", *tests]))


def check_unbroken(files: list[str]) -> None:
    """Stop where tests fail as the code is: every mutant would pass for killed."""
    for tests, file in {tuple(sorted(tests_for(f))): f for f in files}.items():
        if not survives(file, (PACKAGE / file).read_text(encoding="utf-8")):
            sys.exit(f"These tests fail on the code as it is: {' '.join(tests)}")


def run_named() -> None:
    check_unbroken([file for file, _, _ in WRONG.values()])
    for name, (file, there, instead) in WRONG.items():
        source = (PACKAGE / file).read_text(encoding="utf-8")
        if source.count(there) != 1:
            print(f"{'not found':10}{name} ({file})")
            continue
        lived = survives(file, source.replace(there, instead))
        print(f"{'SURVIVED' if lived else 'killed':10}{name} ({file})", flush=True)


def difference(right: str, wrong: str, around: int = 40) -> str:
    """Where two sources differ, with some characters on either side."""
    one, other = ast.unparse(ast.parse(right)), ast.unparse(ast.parse(wrong))
    start = next((k for k, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), 0)
    begin = max(one.rfind("\n", 0, start) + 1, start - around)
    told = (text[begin : start + around].split("\n")[0].strip() for text in (one, other))
    return "   ->   ".join(told)


def run_sample(count: int, rooms: list[str], seed: int, show: bool) -> None:
    rng = random.Random(seed)
    files = [p.relative_to(PACKAGE).as_posix() for room in rooms for p in sorted((PACKAGE / room).glob("*.py"))]
    sources = {f: (PACKAGE / f).read_text(encoding="utf-8") for f in files}
    every = [(f, path) for f, source in sources.items() for path in places(ast.parse(source))]
    check_unbroken(list(sources))
    killed, met = Counter[str](), Counter[str]()
    begun = time.monotonic()
    try:
        for file, path in rng.sample(every, min(count, len(every))):
            source, line = mutated(sources[file], path, rng)
            lived = survives(file, source)
            met[file] += 1
            killed[file] += not lived
            if show and met.total() % 20 == 0:
                print(f"... {met.total()} after {time.monotonic() - begun:.0f} s", flush=True)
            if lived and show:
                print(f"survived  {file}:{line}   {difference(sources[file], source)}", flush=True)
    except KeyboardInterrupt:
        print(f"stopped after {met.total()} of {count}")
    print(f"\n{len(every)} places in {len(sources)} files; {time.monotonic() - begun:.0f} s")
    for room in rooms:
        told = [f for f in met if f.startswith(f"{room}/")]
        print(f"{room:12}{sum(killed[f] for f in told):4} of {sum(met[f] for f in told):4} killed")
    print(f"{'all':12}{killed.total():4} of {met.total():4} killed, {killed.total() / max(met.total(), 1):.0%}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sample", type=int, metavar="COUNT", help="how many mutants to draw")
    parser.add_argument("--rooms", nargs="+", default=list(ROOMS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--show", action="store_true", help="print the survivors' lines")
    args = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    sys.dont_write_bytecode = True
    for name in LOADED:
        importlib.import_module(name)
    if args.sample is None:
        run_named()
    else:
        run_sample(args.sample, args.rooms, args.seed, args.show)


if __name__ == "__main__":
    main()
