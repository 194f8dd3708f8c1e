"""Places for results that are none, or that are somebody else's: nothing that the program did not write is touched.

No place outside the case's own folder is ever given: a program that keeps its promises would refuse the root of the
disk, but the campaign is there for those that do not.
"""

from __future__ import annotations

import os
import shutil
import stat
import sys
from collections.abc import Callable
from pathlib import Path

from campaign import samples, trees
from campaign.disks import small_disk
from campaign.harness import COMMAND, Case

QUICK = ("--work-px", 200)
READ = (*QUICK, "--jitter", 0)
WRITERS = (
    ("score", *READ),
    ("rank", *READ),
    ("export", *QUICK),
    ("check", *QUICK),
    ("score", *READ, "--masks"),
    ("score", *READ, "--photos"),
    ("export", *QUICK, "--overwrite"),
    ("export", *QUICK, "--overwrite", "--originals"),
)


class Scene:
    """A home with trials in it, and a command that writes."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.home = case.fresh()
        self.trials = self.home / "trials"
        self.pose = samples.pose(self.trials / "crouch", (0, 90))
        (self.pose / "notes.txt").write_text("not ours", encoding="utf-8")
        self.command = case.dice.choice(WRITERS)

    def run(
        self, source: Path, out: Path | str, codes: set[int], command: tuple[object, ...] = (), cwd: Path | None = None
    ) -> int:
        """The command on ``source``, with results to ``out``; nothing in ``source`` may change, whatever it says."""
        command = command or self.command
        codes = codes | ({1, 2} if 0 in codes and command[0] == "check" else set())  # two stops cannot be checked
        where = (cwd or self.home) / out
        argv = [command[0], source, *command[1:], "-o", out]
        return self.case.attack(argv, codes=codes, out=where, originals=[source], cwd=cwd).code

    def made(self, out: Path, command: tuple[object, ...] = ()) -> Path:
        """Results of an earlier run at ``out``."""
        self.run(self.pose, out, {0}, command)
        return out


def _equal(s: Scene) -> None:
    s.run(s.pose, s.pose, {2})


def _inside(s: Scene) -> None:
    s.run(s.pose, s.pose / "results", {2})


def _deep_inside(s: Scene) -> None:
    s.run(s.pose, s.pose / "a" / "b" / ".." / "c", {2})


def _holds(s: Scene) -> None:
    s.run(s.pose, s.case.dice.choice((s.home, s.trials)), {2})


def _here(s: Scene) -> None:
    name = s.case.dice.choice((".", "", "./", "../crouch", "x/..", "./."))
    s.run(s.pose, name, {2}, cwd=s.pose)


def _linked(s: Scene) -> None:
    link = s.home / "link"
    link.symlink_to(s.case.dice.choice((s.pose, Path("trials/crouch"), s.trials, s.home)))
    s.run(s.pose, link, {2})


def _below_a_link(s: Scene) -> None:
    (s.home / "link").symlink_to("trials/crouch")
    s.run(s.pose, s.home / "link" / "out", {2})


def _source_by_link(s: Scene) -> None:
    (s.home / "link").symlink_to("trials/crouch")
    s.run(s.home / "link", s.case.dice.choice((s.pose, s.pose / "out", s.trials)), {2})


def _among_poses(s: Scene) -> None:
    samples.pose(s.trials / "stand", (0, 90))
    s.run(s.trials, s.case.dice.choice((s.pose, s.trials / "out", s.trials / "stand" / "out")), {2}, ("rank", *READ))


def _among_other_poses(s: Scene) -> None:
    other = samples.pose(s.home / "others" / "stand", (0, 90))
    argv = ["rank", s.pose, other, *READ, "-o", s.case.dice.choice((other, other / "out", s.pose, s.home / "others"))]
    s.case.attack(argv, codes=(2,), originals=[s.home])


def _results_are_no_pose(s: Scene) -> None:
    """Results and sets that lie among poses are not read as poses themselves."""
    out = s.made(s.trials / "made")
    told = s.case.attack(["rank", s.trials, *READ], codes=(0,), originals=[out])
    if told.code == 0 and "made" in told.out.replace(str(s.home), ""):
        s.case.find("wrong exit codes", f"results among poses are ranked: {told.out[:600]}")


def _file(s: Scene) -> None:
    out = s.home / "taken.txt"
    out.write_text("mine", encoding="utf-8")
    s.run(s.pose, s.case.dice.choice((out, out / "below")), {2})


def _picture(s: Scene) -> None:
    s.run(s.pose, s.pose / "000.jpg", {2})


def _single(s: Scene) -> None:
    """A single picture: its folder holds more than results, and it is no folder itself."""
    still = s.pose / "000.jpg"
    s.run(still, s.case.dice.choice((still, s.pose, s.pose / "000.jpg" / "x", s.home)), {2})


def _beside_a_single(s: Scene) -> None:
    s.run(s.pose / "000.jpg", s.home / "beside", {0})


def _pipe(s: Scene) -> None:
    os.mkfifo(s.home / "pipe")
    s.run(s.pose, s.case.dice.choice((s.home / "pipe", s.home / "pipe" / "x")), {2})


def _device(s: Scene) -> None:
    """A device of the case's own: those of the machine are not put at risk. A pipe where none may be made."""
    device = s.home / "device"
    try:
        os.mknod(device, stat.S_IFCHR | 0o666, os.makedev(1, s.case.dice.choice((3, 5, 7))))
    except PermissionError:
        os.mkfifo(device)
    s.run(s.pose, device, {2})


def _read_only(s: Scene) -> None:
    """Whoever may do anything on the machine writes there all the same."""
    out = s.home / "locked"
    out.mkdir(mode=0o555)
    s.run(s.pose, out / "out", {0, 2} if os.geteuid() == 0 else {2})


def _new_and_deep(s: Scene) -> None:
    s.run(s.pose, s.home / "a" / "b" / "c", {0})


def _empty_folder(s: Scene) -> None:
    (s.home / "empty").mkdir()
    s.run(s.pose, s.home / "empty", {0})


def _dangling(s: Scene) -> None:
    (s.home / "link").symlink_to("nowhere/at/all")
    s.run(s.pose, s.home / "link", {2})


def _loop(s: Scene) -> None:
    (s.home / "loop").symlink_to("loop")
    s.run(s.pose, s.case.dice.choice((s.home / "loop", s.home / "loop" / "x")), {2})


def _too_long(s: Scene) -> None:
    s.run(s.pose, s.home / s.case.dice.choice(("x" * 255, "x" * 256, "x/" * 2500, "x" * 245, "ü" * 127)), {0, 2})


def _not_ours(s: Scene) -> None:
    """A folder of somebody's own, that may even look like results."""
    out = s.home / "mine"
    out.mkdir()
    (out / s.case.dice.choice(("letter.txt", "result.json", "set.csv", "report.html", ".hidden"))).write_text("{}")
    s.run(s.pose, out, {2})


def _changed(s: Scene) -> None:
    """Results of ours with something changed or added since."""
    out = s.made(s.home / "out")
    file = s.case.dice.choice(
        sorted(p for p in out.rglob("*") if p.is_file() and ".known" not in p.parts and not p.name.startswith("."))
    )
    what = s.case.dice.choice(("changed", "added", "added deep", "link", "hard link", "folder"))
    if what == "changed":
        file.write_bytes(file.read_bytes() + b"my notes")
    elif what.startswith("added"):
        place = (out / "deep" / "x.txt") if what.endswith("deep") else out / "x.txt"
        place.parent.mkdir(exist_ok=True)
        place.write_text("mine", encoding="utf-8")
    elif what == "link":
        (out / "link").symlink_to(s.pose)
    elif what == "hard link":
        os.link(s.pose / "000.jpg", out / "000.jpg")
    else:
        (out / "folder").mkdir()
        (out / "folder" / "045.jpg").write_bytes(samples.still())
    before = trees.tree(out)
    if s.run(s.pose, out, {2}, (*s.command, *(["--overwrite"] if s.command[0] == "export" else []))) != 2:
        gone = [p for p, was in before.items() if "x.txt" in p and trees.tree(out).get(p) != was]
        for path in gone:
            s.case.find("originals changed", path)


def _untouched(s: Scene) -> None:
    """Results of ours as they were written: a new run replaces them; a set wants to be told so."""
    s.command = tuple(w for w in s.command if w != "--overwrite")
    out = s.made(s.home / "out")
    s.run(s.pose, out, {2} if s.command[0] == "export" else {0})
    if s.command[0] == "export":
        s.run(s.pose, out, {0}, (*s.command, "--overwrite"))


def _other_kind(s: Scene) -> None:
    """Results of one command where those of another lie."""
    out = s.made(s.home / "out", ("export", *QUICK))
    s.run(s.pose, out, {0, 2}, ("score", *READ))


def _from_a_set(s: Scene) -> None:
    """A set is made again from the pictures that lie in it."""
    out = s.made(s.home / "set", ("export", *QUICK, "--originals"))
    (out / "sketch.txt").write_text("mine", encoding="utf-8") if s.case.dice.random() < 0.5 else None
    source = s.case.dice.choice((out / "originals", out))
    s.run(source, out, {2}, ("export", *QUICK, "--overwrite"))


def _set_in_a_set(s: Scene) -> None:
    out = s.made(s.home / "set", ("export", *QUICK, "--originals"))
    s.run(out / "originals", out / "originals" / "set", {2}, ("export", *QUICK))


def _masks_home(s: Scene) -> None:
    """Masks and sheets have folders of their own in the results; pictures may lie in folders of these names."""
    name = s.case.dice.choice(("masks", "photographs"))
    home = s.home / "home"
    samples.pose(home / name / "hauling", (0, 90))
    source = home / name / "hauling" if name == "masks" else home / name
    if name == "photographs":
        shutil.copy2(home / name / "hauling" / "000.jpg", source / "000.jpg")
    s.run(source, home, {2}, ("score", *READ, "--masks" if name == "masks" else "--photos"))


def _mount(s: Scene) -> None:
    """A memory stick: its root cannot be moved away."""
    with small_disk(s.home / "stick", 8192) as mounted:
        if mounted:
            s.run(s.pose, s.home / "stick", {0})
            _clean(s, s.home / "stick")


def _mount_in_use(s: Scene) -> None:
    with small_disk(s.home / "stick", 8192) as mounted:
        if mounted:
            (s.home / "stick" / "tax.txt").write_text("mine", encoding="utf-8")
            s.run(s.pose, s.home / "stick", {2})
            s.run(s.pose, s.home / "stick" / "out", {0})


def _clean(s: Scene, out: Path) -> None:
    for path in out.iterdir():
        if path.name.endswith((".partial", ".part", ".old", ".silhouette-part")):
            s.case.find("leftovers", str(path))


def _gone(s: Scene) -> None:
    """The working folder was removed."""
    cwd = s.home / "cwd"
    cwd.mkdir()
    out = s.case.dice.choice(("out", s.home / "out"))
    codes = {2} if out == "out" else {0, 2}
    argv = [s.command[0], s.pose, *s.command[1:], "-o", out]
    code = (
        "import os, shutil, sys; os.chdir(sys.argv[1]); shutil.rmtree(sys.argv[1]); os.execv(sys.argv[2], sys.argv[2:])"
    )
    command = [sys.executable, "-c", code, str(cwd), *COMMAND]
    top = s.home
    before = trees.tree(top, without=[cwd, s.home / "out"])
    from campaign.harness import run_apart

    told = run_apart(s.case.note(argv), command=command)
    s.case.judge(told, codes | ({1} if s.command[0] == "check" else set()))
    s.case.unchanged(top, before, without=[s.home / "out", cwd])


def _plan_on_a_picture(s: Scene) -> None:
    photo = s.pose / "keep.png"
    photo.write_bytes(samples.still(suffix=".png"))
    (s.home / "text.pdf").write_text("mine", encoding="utf-8")
    (s.home / "folder.pdf").mkdir()
    (s.home / "link.png").symlink_to(photo)
    (s.home / "nowhere.pdf").symlink_to("not-there.pdf")
    os.mkfifo(s.home / "pipe.pdf")
    out = s.case.dice.choice(
        (
            photo,
            s.home / "text.pdf",
            s.home / "folder.pdf",
            s.home / "link.png",
            s.home / "pipe.pdf",
            s.home / "text.pdf" / "x.pdf",
            Path("/dev/full.png"),
            s.home / ("x" * 252 + ".pdf"),
        )
    )
    if str(out).startswith("/dev"):
        return
    s.case.attack(["plan", "-o", out], codes=(2,) if len(out.name) < 250 else (0, 2), originals=[s.pose], out=out)


def _plan_again(s: Scene) -> None:
    page = s.home / s.case.dice.choice(("plan.pdf", "plan.png"))
    for height in (1.7, 1.6):
        s.case.attack(["plan", "--height", height, "-o", page], codes=(0,), out=page)


def _mend_page(s: Scene) -> None:
    """A page of photographs: never among the pictures, never over what is somebody else's, whatever it is called."""
    (s.home / "mine.html").write_text("mine", encoding="utf-8")
    (s.home / "folder.html").mkdir()
    (s.home / "link.html").symlink_to("mine.html")
    (s.home / "nowhere.html").symlink_to("not-there.html")
    os.mkfifo(s.home / "pipe.html")
    names = ("mine.html", "folder.html", "link.html", "nowhere.html", "pipe.html", "mine.html/x.html", "page.png",
             "trials/crouch/mend.html", "trials/crouch", "trials/crouch/000.jpg", "", ".", "x" * 256 + ".html")
    page = s.home / s.case.dice.choice(names)
    s.case.attack(["mend", s.pose, *QUICK, "-o", page], codes=(2,), originals=[s.home])


def _mend_again(s: Scene) -> None:
    """A page of ours is replaced as it was written, not once somebody has changed it."""
    page = s.home / s.case.dice.choice(("mend.html", "a/b/mend.html"))
    for _ in range(2):
        s.case.attack(["mend", s.pose, *QUICK, "-o", page], codes=(0,), out=page)
    page.write_text(page.read_text(encoding="utf-8").replace("</body>", "mine</body>"), encoding="utf-8")
    s.case.attack(["mend", s.pose, *QUICK, "-o", page], codes=(2,), originals=[s.home])


def _beside_hidden(s: Scene) -> None:
    """What looks like a broken-off run of ours may be somebody's own folder."""
    own = s.home / s.case.dice.choice((".out.abcdefgh.silhouette-part", ".out.ab12cd34.part", ".out.x1y2z3w4.partial"))
    own.mkdir()
    (own / "diary.txt").write_text("mine", encoding="utf-8")
    s.run(s.pose, s.home / "out", {0})


SCENES: tuple[Callable[[Scene], None], ...] = (
    _equal,
    _inside,
    _deep_inside,
    _holds,
    _here,
    _linked,
    _below_a_link,
    _source_by_link,
    _among_poses,
    _among_other_poses,
    _results_are_no_pose,
    _file,
    _picture,
    _single,
    _beside_a_single,
    _pipe,
    _device,
    _read_only,
    _new_and_deep,
    _empty_folder,
    _dangling,
    _loop,
    _too_long,
    _not_ours,
    _changed,
    _changed,
    _untouched,
    _other_kind,
    _from_a_set,
    _set_in_a_set,
    _masks_home,
    _mount,
    _mount_in_use,
    _gone,
    _plan_on_a_picture,
    _plan_on_a_picture,
    _plan_again,
    _mend_page,
    _mend_page,
    _mend_again,
    _beside_hidden,
)


def run(case: Case) -> None:
    """One place."""
    SCENES[case.number % len(SCENES)](Scene(case))
