"""Two rendered poses as records, at any number of stops: one that goes flat from both sides, one that mostly reads."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shapely.geometry import Polygon

from silhouette.reading.circle import mirrored, walk_round
from silhouette.records import (
    CANNOT_TELL,
    INFERRED,
    TWO_FIGURES,
    BlindSpot,
    CloseUp,
    Gap,
    Measures,
    Note,
    Outline,
    Part,
    Pose,
    PoseRing,
    Ranking,
    Reading,
    Reason,
    ReasonKind,
    RingCamera,
    Stop,
    Tangent,
    View,
)
from silhouette.settings import BAND_FAIR, BAND_STRONG, Ring

POSES = Path(__file__).parents[1] / "data" / "outlines" / "poses.json"
PoseAt = Callable[..., Pose]


def _polygon(rings: Sequence[Sequence[int]]) -> Polygon:
    shell, *holes = (np.asarray(r, float).reshape(-1, 2) / 1000 for r in rings)
    whole = Polygon(shell, holes).buffer(0)
    return whole if isinstance(whole, Polygon) else max(whole.geoms, key=lambda p: p.area)


def _view(row: dict[str, Any], index: int, pose: str) -> View:
    m = dict(row["measures"])
    gaps = tuple(Gap(_polygon(r), kind, share, mouth) for r, kind, share, mouth in m.pop("gaps"))
    parts = tuple(Part(_polygon(r), tuple(map(tuple, base)), tuple(tip), *rest)
                  for r, base, tip, *rest in m.pop("parts"))
    tangents = tuple(Tangent(tuple(point), distance) for point, distance in m.pop("tangents"))
    *scores, band, reasons = row["reading"]
    why = tuple(Reason(ReasonKind(kind), *rest) for kind, *rest in reasons)
    name = f"{row['angle']:03.0f}"
    return View(
        stop=Stop(index, Path(pose) / f"{name}.jpg", name, row["angle"], "name"),
        confidence=row["confidence"], cutter=row["cutter"], flags=tuple(row["flags"]),
        outline=Outline(_polygon(row["rings"]), row["height"], tuple(row["origin"]), tuple(row["size"])),
        measures=Measures(gaps=gaps, parts=parts, tangents=tangents, **m),
        reading=Reading(*scores, band, why), full_size=tuple(row["size"]))


@lru_cache(maxsize=1)
def _stored() -> dict[str, tuple[View, ...]]:
    rows = json.loads(POSES.read_text(encoding="utf-8"))
    return {r["name"]: tuple(_view(v, i, r["name"]) for i, v in enumerate(r["views"])) for r in rows}


def _scored(view: View, by: float) -> View:
    assert view.reading is not None
    score = float(np.clip(view.reading.readability + by, 0, 100))
    band = "strong" if score >= BAND_STRONG else "fair" if score >= BAND_FAIR else "weak"
    return replace(view, reading=replace(view.reading, readability=score, band=band))


def build_pose(name: str = "akimbo", stops: int = 24, *, called: str | None = None, better: float = 0.0,
               cannot: Sequence[int] = (), missing: Sequence[int] = (), half: bool = False,
               no_figure: Sequence[int] = ()) -> Pose:
    """A pose at evenly spread stops, each drawn with the nearest stored view.

    ``cannot`` and ``no_figure`` are stops whose cut is not trusted or came to nothing, ``missing`` ones never shot;
    ``half`` infers the far side; ``better`` is added to every readability.
    """
    stored = _stored()[name]
    views = []
    for i in range(stops):
        angle = i * 360 / stops
        near = min(stored, key=lambda v: abs((v.angle - angle + 180) % 360 - 180))
        view = replace(_scored(near, better), stop=replace(near.stop, index=i, angle=angle, name=f"{angle:03.0f}"))
        if i in cannot:
            view = replace(view, flags=(*view.flags, CANNOT_TELL), reading=None, measures=None)
        if i in no_figure:
            view = replace(view, flags=("no figure",), outline=None, measures=None, reading=None, problem="No figure.")
        if i not in missing and not (half and angle > 180):
            views.append(view)
    if half:
        views += [mirrored(v) for v in views if 0 < v.angle < 180]
    views.sort(key=lambda v: v.angle)
    walked = walk_round(views)
    reads = walked.reads_degrees
    low, high = (None, None) if reads is None else (max(reads - 14, 0), min(reads + 12, walked.counted_degrees))
    notes = (Note.of("angles from names"),)
    return Pose(called or name, Path(name), tuple(views), walked, low, high, notes=notes, rank=1)


def build_rings(name: str = "akimbo", headline: Ring = "level", *, called: str | None = None,
                without: Sequence[Ring] = ()) -> Pose:
    """A pose of three rings at different stops: 12 low, half of them inferred, 24 level, 8 high with a hole."""
    each = {"low": build_pose(name, 12, half=True, better=-6), "level": build_pose(name, 24),
            "high": build_pose(name, 8, missing=(2, 3), better=4)}
    rings = {ring: PoseRing(ring, tuple(replace(v, stop=replace(v.stop, ring=ring)) for v in p.views), p.round,
                            p.reads_low, p.reads_high, RingCamera("unknown"))
             for ring, p in each.items() if ring not in without}
    main = rings.pop(headline)
    spots = (BlindSpot("hand", "left", 45.0, 0.7, 0.2, "level"),
             BlindSpot("head", None, 180.0, 0.95, 0.2, "high", covered_by="face"))
    return replace(each[headline], name=called or name, views=main.views, round=main.round, ring=headline,
                   camera=main.camera, other_rings=tuple(rings.values()), blind_spots=spots,
                   close_ups=(CloseUp("face", (Path("face.jpg"),)),), notes=())


def build_ranking(count: int = 2, stops: int = 24) -> Ranking:
    """``count`` poses in rank order, of falling strength; the second too close to call with the first."""
    names = ("Waiting for the last boat", "Hauling the rope", "Lantern up", "Reading the tide", "At the rail", "Asleep")
    poses = [build_pose(("reach_up", "akimbo")[i % 2], stops, called=names[i], better=8.0 - 6 * i)
             for i in range(count)]
    poses.sort(key=lambda p: -(p.round.reads_degrees or 0))
    ranked = [replace(p, rank=i + 1) for i, p in enumerate(poses)]
    if count > 1:
        ranked[1] = replace(ranked[1], tied_with=(ranked[0].name,))
    return Ranking(tuple(ranked))


@pytest.fixture
def pose_at() -> PoseAt:
    return build_pose


@pytest.fixture
def rings_at() -> PoseAt:
    return build_rings


@pytest.fixture
def ranking_of() -> Callable[..., Ranking]:
    return build_ranking


@pytest.fixture
def odd_pose() -> Pose:
    """Everything that can be wrong at once: a stop not trusted, one with no figure, a hole, an inferred view."""
    pose = build_pose("reach_up", 24, cannot=(3,), no_figure=(5,), missing=(9, 10, 11, 12))
    views = [replace(v, flags=(*v.flags, INFERRED)) if v.angle == 300 else v for v in pose.views]
    return replace(pose, views=tuple(views), round=walk_round(views))


@pytest.fixture
def unread_pose() -> Pose:
    """Two people stand in every picture, so none is scored."""
    pose = build_pose("akimbo", 8, cannot=range(8), called="Two at the rail")
    views = tuple(replace(v, flags=(*v.flags, TWO_FIGURES)) for v in pose.views)
    return replace(pose, views=views, round=walk_round(views), rank=None)


@pytest.fixture
def twice_pose() -> Pose:
    """The first stop taken again at the end of the turn."""
    pose = build_pose("akimbo", 24)
    again = replace(pose.views[0], stop=replace(pose.views[0].stop, index=24, angle=0.4))
    return replace(pose, views=(pose.views[0], again, *pose.views[1:]))


# ------------------------------------------------------------------------------------------------- looking at pages

def _texts(figure: Any) -> list[tuple[str, float, Any]]:
    """Every piece of type on a page: words, size, box in pixels."""
    figure.draw_without_rendering()
    renderer = figure.canvas.get_renderer()
    pieces = [t for ax in figure.axes for t in ax.texts if t.get_text().strip()]
    return [(t.get_text(), t.get_size(), t.get_window_extent(renderer)) for t in pieces]


@pytest.fixture
def check_type() -> Callable[[Any], int]:
    """Type on a page is at least 8 points, lies on the page, and no piece lies on another; gives how many pieces."""

    def check(figure: Any) -> int:
        texts = _texts(figure)
        wide, high = (side * figure.dpi for side in figure.get_size_inches())
        for words, size, box in texts:
            assert size >= 8, words
            assert box.x0 >= 0 and box.y0 >= 0 and box.x1 <= wide and box.y1 <= high, f"off the page: {words}"
        boxes = np.array([(b.x0, b.y0, b.x1, b.y1) for _, _, b in texts])
        for i in range(len(boxes)):
            rest = boxes[i + 1:]
            # Half a pixel: boxes are rounded up to whole ones.
            across = np.minimum(boxes[i, 2], rest[:, 2]) - np.maximum(boxes[i, 0], rest[:, 0]) > 0.5
            along = np.minimum(boxes[i, 3], rest[:, 3]) - np.maximum(boxes[i, 1], rest[:, 1]) > 0.5
            hit = np.flatnonzero(across & along)
            assert not len(hit), f"{texts[i][0]!r} lies on {texts[i + 1 + hit[0]][0]!r}"
        return len(texts)

    return check


@pytest.fixture
def check_clear() -> Callable[[Any, Callable[[str], bool]], int]:
    """No drawing lies under the chosen pieces of type on a page; gives how many pieces were looked at."""

    def check(figure: Any, chosen: Callable[[str], bool]) -> int:
        boxes = [(words, box) for words, _, box in _texts(figure) if chosen(words)]
        for ax in figure.axes:
            for text in ax.texts:
                text.set_visible(False)
        figure.canvas.draw()
        grey = np.asarray(figure.canvas.buffer_rgba())[::-1, :, :3].min(axis=2)
        for words, box in boxes:
            piece = grey[int(np.ceil(box.y0)):int(box.y1), int(np.ceil(box.x0)):int(box.x1)]
            assert piece.min() > 200, f"something is drawn under {words!r}"
        return len(boxes)

    return check


@pytest.fixture
def check_border() -> Callable[..., None]:
    """Nothing is drawn within ``margin`` points of a page's edge."""

    def check(figure: Any, margin: float) -> None:
        figure.canvas.draw()
        pixels = np.asarray(figure.canvas.buffer_rgba())[..., :3]
        rim = int(margin * figure.dpi / 72)
        inner = pixels.copy()
        inner[rim:-rim, rim:-rim] = 255
        assert (inner == 255).all(), f"ink at {np.argwhere((inner != 255).any(axis=2))[0]}"
        assert (pixels[rim:-rim, rim:-rim] < 128).any(), "an empty page"

    return check


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Chromium without a window, driven by its own driver; it keeps what the page logs."""
    chromium, chromedriver = shutil.which("chromium") or shutil.which("google-chrome"), shutil.which("chromedriver")
    if chromium is None or chromedriver is None:
        pytest.skip("no chromium with its chromedriver here")
    webdriver = pytest.importorskip("selenium.webdriver")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
                     f"--user-data-dir={tmp_path_factory.mktemp('profile')}", "--window-size=1280,950"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    options.set_capability("unhandledPromptBehavior", "accept")
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(chromedriver))
    yield driver
    driver.quit()
