"""How quick and how steady the live page is: the real program and a browser that has a clip for its camera.

    python tests/measure/live.py CLIP [--truth CLIP.truth.json] [--minutes 10] [--once]

CLIP is made into a camera of 1280 x 720 pixels and 30 pictures a second, the figure upright in the middle, its first
and last picture held for a while. The program is started as a person starts it, the page is opened with
``/live?camera=first&empty=skip`` in Chromium without a window. Needs chromium, chromedriver and Linux (/proc).

Printed for one pass of the clip: pictures drawn a second; the time from the camera to the drawn silhouette
(``data-latency-ms``), median and 95th percentile; what was said; with a truth file, how many holds were taken, how many
stills lie outside every hold, and how many holds were taken twice. A still is found in the clip by its looks. Then,
unless ``--once``, the clip runs on as a camera for ``--minutes``, and the memory of program and browser is printed
minute by minute, without the files that they run from, with what it grows a minute after the first two.

Targets: at least 10 pictures a second, 95th percentile at most 250 ms, memory flat over ten minutes, at least 96 % of
the stops taken, each inside its hold, none twice. Numbers of a busy machine say little: the load is printed with them,
and how much of a processor the program and the browser took.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import cv2
import numpy as np

RATE, WIDE, HIGH = 30, 1280, 720
LEAD_S, TAIL_S = 4.0, 6.0
"""Seconds for which the first and the last picture are held."""
THUMB, LIKE = (96, 54), 40
"""Size of a thumbnail, and how many frames with like ones are looked at in full."""
WATCH = """
window.late = []; window.seen = {all: 0, skipped: 0}; window.said = [];
const Own = WebSocket;
window.WebSocket = class extends Own {
  constructor(...given) {
    super(...given);
    this.addEventListener("message", (e) => {
      const m = JSON.parse(e.data);
      if (m.kind === "seen" && m.frame >= 0) { window.seen.all += 1; if (m.skipped) window.seen.skipped += 1; }
      for (const s of m.signals || []) window.said.push(s.kind);
      if (m.kind === "word") window.said.push(m.about + ": " + m.words);
    });
  }
};
document.addEventListener("DOMContentLoaded", () => {
  const stage = document.getElementById("stage");
  if (stage) new MutationObserver(() => window.late.push([performance.now(), Number(stage.dataset.latencyMs)]))
    .observe(stage, {attributeFilter: ["data-latency-ms"]});
});
"""


def camera_of(clip: Path, out: Path, hold: bool) -> tuple[list[bytes], np.ndarray]:
    """Write a clip as what a camera gives; gives every picture of it, as JPEG and as a thumbnail."""
    reel, pictures, thumbs = cv2.VideoCapture(str(clip)), 0, []
    rate = reel.get(cv2.CAP_PROP_FPS) or RATE
    frames: list[bytes] = []
    at, last = -1, None
    while True:
        good, picture = reel.read()
        if not good:
            break
        at += 1
        while pictures / RATE <= at / rate:
            last = _wide(picture)
            frames.append(cv2.imencode(".jpg", last, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes())
            thumbs.append(_thumb(last))
            pictures += 1
    if not frames:
        sys.exit(f"{clip}: cannot be read as a clip.")
    lead, tail = (int(LEAD_S * RATE), int(TAIL_S * RATE)) if hold else (0, 0)
    out.write_bytes(b"".join([*[frames[0]] * lead, *frames, *[frames[-1]] * tail]))
    return frames, np.stack(thumbs)


def _wide(picture: np.ndarray) -> np.ndarray:
    """The picture in the middle of 1280 x 720, the wall at its sides drawn on."""
    scale = min(WIDE / picture.shape[1], HIGH / picture.shape[0])
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    left, top = (WIDE - small.shape[1]) // 2, (HIGH - small.shape[0]) // 2
    return cv2.copyMakeBorder(small, top, HIGH - small.shape[0] - top, left, WIDE - small.shape[1] - left,
                              cv2.BORDER_REPLICATE)


def _thumb(picture: np.ndarray) -> np.ndarray:
    return cv2.resize(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), THUMB, interpolation=cv2.INTER_AREA).astype(np.int16)


@contextmanager
def program(folder: Path) -> Iterator[tuple[subprocess.Popen[str], str, str]]:
    """``silhouette open``, its address and its key."""
    start = "import sys; from silhouette.cli import main; sys.exit(main())"
    command = [sys.executable, "-c", start, "open", str(folder), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        line = ""
        for line in running.stdout:
            if line.startswith("Open http"):
                break
        else:
            sys.exit(f"The program did not start: {line}")
        address, key = line.split()[1].split("/#")
        try:
            yield running, address, key
        finally:
            running.terminate()
            running.wait(60)


@contextmanager
def browser(camera: Path) -> Iterator[Any]:
    """Chromium without a window, with that camera."""
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or shutil.which("google-chrome") or sys.exit("no chromium here")
    for argument in ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
                     "--window-size=1920,1080", "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
                     f"--use-file-for-fake-video-capture={camera}"):
        options.add_argument(argument)
    one = webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))
    try:
        one.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
        yield one
    finally:
        one.quit()


def family(root: int) -> list[int]:
    """A process and all that it started, and so on."""
    children: dict[int, list[int]] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text().rsplit(")", 1)[1].split()
        except (OSError, IndexError):
            continue
        children.setdefault(int(fields[1]), []).append(int(stat.parent.name))
    found = [root]
    for one in found:
        found += children.get(one, [])
    return found


def spent(root: int) -> float:
    """Seconds of one processor that a process and those that it started have taken."""
    ticks = 0
    for one in family(root):
        try:
            fields = Path(f"/proc/{one}/stat").read_text().rsplit(")", 1)[1].split()
        except (OSError, IndexError):
            continue
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def megabytes(root: int) -> float:
    """What a process and those that it started hold in memory, parts shared among them counted once; the files that
    they run from are left out, as other browsers share those."""
    total = 0
    for one in family(root):
        try:
            rows = Path(f"/proc/{one}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        total += sum(int(row.split()[1]) for row in rows if row.startswith(("Pss_Anon:", "Pss_Shmem:")))
    return total / 1024


def one_pass(clip: Path, truth: Path | None, stops: int) -> None:
    """A turn shot with the clip as camera, and how it went."""
    with tempfile.TemporaryDirectory() as place:
        camera = Path(place) / "camera.mjpeg"
        frames, thumbs = camera_of(clip, camera, hold=True)
        folder = Path(place) / "poses"
        with program(folder) as (running, address, key), browser(camera) as driver:
            driver.get(f"{address}/live?camera=first&empty=skip&stops={stops}&name=turn#{key}")
            time.sleep(LEAD_S)
            roots = (running.pid, driver.service.process.pid)
            before, begun = [spent(root) for root in roots], time.monotonic()
            time.sleep(len(frames) / RATE + TAIL_S / 2)
            took = [(spent(root) - had) / (time.monotonic() - begun) for root, had in zip(roots, before, strict=True)]
            late, seen, said, state = driver.execute_script(
                "return [window.late, window.seen, window.said, {...document.getElementById('stage').dataset}]")
        print_speed(late, seen)
        print(f"of one processor: the program took {took[0]:.2f}, the browser {took[1]:.2f}")
        print("said:", ", ".join(f"{kind} {n}" for kind, n in Counter(said).items()) or "nothing")
        print("at the end:", {name: state.get(name) for name in ("state", "stops", "angle", "band", "reason")})
        stills = sorted((folder / "turn").glob("stop_*.jpg"))
        print(f"stills: {len(stills)}")
        if truth is not None:
            print_truth(stills, frames, thumbs, json.loads(truth.read_text(encoding="utf-8")))


def print_speed(late: list[list[float]], seen: dict[str, int]) -> None:
    if len(late) < 20:
        print(f"only {len(late)} pictures were drawn")
        return
    times = np.array(late[10:])  # the first ones wait for models to be loaded
    rate = (len(times) - 1) / (times[-1, 0] - times[0, 0]) * 1000
    middle, most = np.percentile(times[:, 1], [50, 95])
    print(f"pictures drawn: {rate:.1f} a second; answers {seen['all']}, of them {seen['skipped']} passed over")
    print(f"camera to silhouette: median {middle:.0f} ms, 95th percentile {most:.0f} ms, longest "
          f"{times[:, 1].max():.0f} ms; load of this computer {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


def found_at(picture: np.ndarray, frames: list[bytes], thumbs: np.ndarray) -> int:
    """The frame of the clip that a still is of: among those that look like it, the one that is nearest in full."""
    far = np.abs(thumbs - _thumb(picture)).mean(axis=(1, 2))
    alike = np.argsort(far)[:LIKE]

    def apart(index: int) -> float:
        frame = cv2.imdecode(np.frombuffer(frames[index], np.uint8), cv2.IMREAD_GRAYSCALE)
        return float(cv2.absdiff(frame, cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)).mean())

    return int(min(alike, key=lambda index: apart(int(index))))


def print_truth(stills: list[Path], frames: list[bytes], thumbs: np.ndarray, holds: list[dict[str, float]]) -> None:
    """Which holds were taken."""
    taken: Counter[int] = Counter()
    outside = []
    for path in stills:
        picture = cv2.imread(str(path))
        assert picture is not None
        at = found_at(picture, frames, thumbs) / RATE
        inside = [i for i, hold in enumerate(holds) if hold["start"] - 0.5 / RATE <= at <= hold["end"] + 0.5 / RATE]
        taken.update(inside)
        if not inside:
            outside.append((path.name, round(at, 2)))
    twice = [i for i, n in taken.items() if n > 1]
    missed = [i for i in range(len(holds)) if i not in taken]
    print(f"holds taken: {len(taken)} of {len(holds)} ({len(taken) / len(holds):.0%}); outside a hold: {outside or 0}; "
          f"twice: {twice or 0}; missed: {missed or 'none'}")


def run_on(clip: Path, minutes: float) -> None:
    """The clip as a camera without an end, and the memory meanwhile."""
    with tempfile.TemporaryDirectory() as place:
        camera = Path(place) / "camera.mjpeg"
        camera_of(clip, camera, hold=False)
        with program(Path(place) / "poses") as (running, address, key), browser(camera) as driver:
            driver.get(f"{address}/live?camera=first&empty=skip&name=turn#{key}")
            begun, rows, step = time.monotonic(), [], min(60.0, 60 * minutes / 8)
            print("minute  program MB  browser MB  pictures a second  95th percentile ms")
            while (gone := time.monotonic() - begun) < 60 * minutes:
                time.sleep(min(step, max(0.1, 60 * minutes - gone)))
                late = driver.execute_script("const late = window.late; window.late = []; window.said = [];return late")
                spent = (time.monotonic() - begun) / 60
                row = (spent, megabytes(running.pid), megabytes(driver.service.process.pid))
                rows.append(row)
                times = np.array(late or [[0, np.nan]])
                rate = 0.0 if len(times) < 2 else (len(times) - 1) / (times[-1, 0] - times[0, 0]) * 1000
                most = np.percentile(times[:, 1], 95)
                print(f"{row[0]:6.1f}  {row[1]:10.0f}  {row[2]:10.0f}  {rate:17.1f}  {most:18.0f}", flush=True)
        later = np.array([row for row in rows if row[0] >= min(2.0, minutes / 3)])
        if len(later) > 2:
            program_grows, browser_grows = (np.polyfit(later[:, 0], later[:, i], 1)[0] for i in (1, 2))
            print(f"grows a minute: program {program_grows:+.2f} MB, browser {browser_grows:+.2f} MB")


def main() -> None:
    parser = argparse.ArgumentParser(description="How quick and how steady the live page is.")
    parser.add_argument("clip", type=Path)
    parser.add_argument("--truth", type=Path, help="when each stop is held, as beside the clips in tests/data")
    parser.add_argument("--minutes", type=float, default=10.0, help="for which the memory is watched (10)")
    parser.add_argument("--stops", type=int, default=24, choices=(8, 12, 16, 24, 36))
    parser.add_argument("--once", action="store_true", help="only one pass of the clip, no memory")
    args = parser.parse_args()
    one_pass(args.clip, args.truth, args.stops)
    if not args.once:
        run_on(args.clip, args.minutes)


if __name__ == "__main__":
    main()
