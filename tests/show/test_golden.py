"""Six pictures as they should look, compared as an eye would: small, in grey, place by place.

To renew them after a change that is meant: ``RENEW_GOLDEN=1 pytest tests/show/test_golden.py``, and look at each.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from scipy.ndimage import uniform_filter
from skimage.metrics import structural_similarity

from silhouette.records import Pose, Ranking, Stop, View
from silhouette.records_shoot import CheckReport, Finding
from silhouette.show import critique, html, ink, polar, sheet, svg
from silhouette.show.check_page import check_page
from silhouette.show.wheel_svg import wheel_for_page, wheel_svg

GOLDEN = Path(__file__).with_name("golden")
RENEW = bool(os.environ.get("RENEW_GOLDEN"))
CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
PLACE = 17
"""Side of a place that is looked at by itself, pixels of the small picture: 11 mm on paper."""
MOST_OFF = 20.0
"""Grey levels by which a place may differ on the mean: type without smooth edges stays under 8, a page in another face
under 15; a figure that is gone is over 35."""
LEAST_LIKE = 0.93
"""Structural similarity of the whole."""

Made = Callable[[Path], Path]


def small(path: Path) -> np.ndarray:
    """A picture in grey at a quarter of its size."""
    with Image.open(path) as picture:
        grey = picture.convert("L")
        return np.asarray(grey.resize((grey.width // 4, grey.height // 4), Image.Resampling.BOX))


def unlikeness(one: np.ndarray, other: np.ndarray) -> tuple[float, float]:
    """Grey levels that the worst place is off on the mean, and structural similarity of the whole."""
    if one.shape != other.shape:
        return 255.0, 0.0
    off = uniform_filter(np.abs(one.astype(float) - other), PLACE)
    return float(off.max()), float(structural_similarity(one, other, win_size=7))


def alike(one: np.ndarray, other: np.ndarray) -> bool:
    off, like = unlikeness(one, other)
    return off <= MOST_OFF and like >= LEAST_LIKE


# ------------------------------------------------------------------------------------------------- the six pictures

def chart(ranking: Ranking, folder: Path) -> Path:
    return next(path for path in polar.write_chart(ranking, folder) if path.suffix == ".png")


def critique_page(ranking: Ranking, folder: Path) -> Path:
    return ink.save_figure(critique.critique_pages(ranking)[1], folder / "critique.png")


def checked(ranking: Ranking, folder: Path) -> Path:
    views = ranking.poses[0].views
    stops = tuple(Stop(i, Path("turn.mp4"), f"stop_{i:02d}", v.angle, "clip") for i, v in enumerate(views))
    findings = (Finding("missing stops", "retake", "stop missing", (6, 7), (("step", 15.0), ("counts", (1,))), (6,)),
                Finding("held pose", "look", "pose moved", (10,),
                        (("way", "lower"), ("doubtful", ()), ("height_m", None)), where="arm height", far=0.03),
                Finding.of("distance", "unknown", "distance not known", lacking="height"),
                Finding.of("framing", "pass", "whole and alone", room=0.1))
    page = check_page(CheckReport("turn.mp4", stops, findings), [v.outline for v in views])
    return ink.save_figure(page, folder / "check.png")


def report_wheel(ranking: Ranking, folder: Path) -> Path:
    """The wheel of the report page as a browser draws it."""
    pose = ranking.poses[1]
    page = html.render("fragment.html.j2", patterns="", poses=[])
    style = page[page.index("<style>"):page.index("</style>")] + "</style>"
    inside = (f'<svg class="apart">{svg.PATTERNS}</svg><svg class="apart">{svg.definitions(pose, "g")}</svg>'
              + wheel_svg(pose, "g", wheel_for_page(pose)))
    source, path = folder / "wheel.html", folder / "wheel.png"
    large = "<style>body { margin: 0 } .silhouette-result .wheel { width: 960px; height: 920px }</style>"
    source.write_text(f'<!doctype html><meta charset="utf-8">{style}{large}<div class="silhouette-result" '
                      f'style="padding:0">{inside}</div>', encoding="utf-8")
    subprocess.run([str(CHROMIUM), "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
                    "--disable-dev-shm-usage", "--force-device-scale-factor=1", f"--user-data-dir={folder / 'home'}",
                    "--window-size=960,1080", f"--screenshot={path}", source.as_uri()],
                   check=True, capture_output=True, timeout=120)
    return path


PICTURES: dict[str, Callable[[Ranking, Path], Path]] = {
    "chart": chart, "sheet": sheet.write_sheet, "spaces": sheet.write_spaces, "critique": critique_page,
    "check": checked, "report_wheel": report_wheel}


def swapped(pose: Pose) -> Pose:
    """The pose with the bands of one stretch of thirty degrees turned about: strong where it was weak or fair."""
    values = pose.round.degrees.copy()
    values[60:90] = np.where(values[60:90] >= 65, 30.0, 90.0)
    return replace(pose, round=replace(pose.round, degrees=values))


def without_one(pose: Pose) -> Pose:
    """The pose with one figure missing."""
    def gone(view: View) -> View:
        return replace(view, outline=None) if view.stop.index == 3 else view

    return replace(pose, views=tuple(gone(view) for view in pose.views))


@pytest.fixture
def ranking(ranking_of: Callable[..., Ranking]) -> Ranking:
    return ranking_of(2, 24)


@pytest.mark.parametrize("name", PICTURES)
def test_looks_as_it_should(ranking: Ranking, tmp_path: Path, name: str) -> None:
    if name == "report_wheel" and CHROMIUM is None:
        pytest.skip("no chromium")
    made = small(PICTURES[name](ranking, tmp_path))
    if RENEW:
        GOLDEN.mkdir(exist_ok=True)
        Image.fromarray(made).quantize(16).save(GOLDEN / f"{name}.png", optimize=True)
    kept = GOLDEN / f"{name}.png"
    assert kept.stat().st_size < 60_000
    with Image.open(kept) as picture:
        golden = np.asarray(picture.convert("L"))
    off, like = unlikeness(made, golden)
    assert alike(made, golden), f"a place is {off:.1f} grey levels off, the whole {like:.3f} alike"


@pytest.mark.parametrize(("name", "spoil"), [
    ("chart", swapped), ("chart", without_one), ("sheet", without_one), ("spaces", without_one),
    ("critique", swapped), ("critique", without_one), ("check", without_one), ("report_wheel", swapped),
    ("report_wheel", without_one)], ids=lambda value: value if isinstance(value, str) else value.__name__)
def test_a_change_shows(ranking: Ranking, tmp_path: Path, name: str, spoil: Any) -> None:
    """One band swapped, or one figure gone, is no longer the picture that is kept."""
    if name == "report_wheel" and CHROMIUM is None:
        pytest.skip("no chromium")
    spoilt = replace(ranking, poses=tuple(spoil(pose) for pose in ranking.poses))
    with Image.open(GOLDEN / f"{name}.png") as picture:
        golden = np.asarray(picture.convert("L"))
    made = small(PICTURES[name](spoilt, tmp_path))
    assert not alike(made, golden)
