"""Archives of folders as strangers keep them: made, the folders or the archive itself spoilt, and made again."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

from campaign import kills, mutate, samples
from campaign.harness import Case

QUICK = ("--work-px", 200, "--jitter", 0)
DEEP = ("", "2019", "2020/spring", "..x", "=1+1", "Füße", "a\nb")
ODD = ("broken", "words", "loop", "gone", "loose", "nothing", "clip", "fine")


def run(case: Case) -> None:
    """One archive, twice; what is spoilt in between is told, and nothing else is touched."""
    home, dice = case.fresh(), case.dice
    roots = [home / name for name in dice.sample(("turns", "school", "-o", "ä b"), dice.choice((1, 1, 2)))]
    for root in roots:
        for i in range(dice.randint(1, 3)):
            _lay(root / dice.choice(DEEP) / f"pose {i}", dice)
        root.mkdir(exist_ok=True)
    out = dice.choice((*[home / "out"] * 5, *[home / "deep/out"] * 3, roots[0] / "out", home))
    words = ["archive", *QUICK, "-o", out, *dice.choice(((), (), ("--cutter", "backdrop"))), "--", *roots]
    first = case.attack(words, codes=(0, 2), out=out, originals=roots)
    if first.code != 0:
        return
    before = kills.content(out)
    way = dice.choice(("as it was", "a pose", "a file of it", "something else in it"))
    if way == "a pose":
        _lay(dice.choice(roots) / "new", dice)
    elif way == "a file of it":
        file = dice.choice(sorted(p for p in out.rglob("*") if p.is_file()))
        file.write_bytes(mutate.mutate(dice, file.read_bytes(), [file.read_bytes()]))
    elif way == "something else in it":
        name = dice.choice(("letter.txt", "a.parquet", ".hidden"))
        dice.choice((out, out / "poses")).joinpath(name).write_text("dear")
    spoilt = kills.content(out)
    again = case.attack(words, codes=(0, 2), out=out, originals=roots)
    if way == "as it was" and (again.code != 0 or kills.content(out) != before):
        case.find("other", "made again of the same, it is another one")
    if again.code == 2 and kills.content(out) != spoilt:
        case.find("originals changed", "refused, but the archive is not as it was")
    if way == "something else in it" and again.code == 0:
        case.find("wrong exit codes", "went on in a folder that holds something else")


def _lay(place: Path, dice: random.Random) -> None:
    """One pose, or what somebody took for one."""
    way = dice.choice((*ODD, "fine", "fine"))
    place.parent.mkdir(parents=True, exist_ok=True)
    if place.exists():
        shutil.rmtree(place)
    if way in ("loop", "gone"):
        place.symlink_to(place.name if way == "loop" else "nowhere")
        return
    if way == "clip":
        place.with_suffix(".mp4").write_bytes(samples.clip("phone.mp4"))
        return
    if way == "nothing":
        place.mkdir()
        return
    samples.pose(place, (0, 90, 180)[: dice.randint(1, 3)])
    first = next(place.iterdir())
    if way == "broken":
        first.write_bytes(mutate.mutate(dice, first.read_bytes(), [first.read_bytes()]))
    elif way == "words":
        (place / "angles.csv").write_text("000.jpg,ninety\n;;;\n", encoding="utf-8")
    elif way == "loose":
        shutil.copyfile(first, place.parent / "loose.jpg")
