"""Templates in true size, read back from pdf, svg and csv."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import MultiPolygon

from silhouette.records_space import Section
from silhouette.show import section_sheets as sheets
from tests.show.test_armature_sheet import NAMES, words_of
from tests.show.test_set_sheets import pages_of, paths_of, sizes_of
from tests.space.made import armature_of, profiles

SVG = "{http://www.w3.org/2000/svg}"
RING = MultiPolygon([shapely.Point(0.1, 0.02).buffer(0.08, 64).difference(shapely.Point(0.1, 0.02).buffer(0.03, 64))])


def one_section(outline: MultiPolygon = RING, z: float = 0.3):
    x0, y0, x1, y1 = outline.bounds
    return armature_of(sections=(Section(z, outline, outline.area, x1 - x0, y1 - y0),))


def rings_of(path: str) -> list[np.ndarray]:
    """The rings of path data as this program writes it: a place, then steps."""
    rings = []
    for move, steps in re.findall(r"M([^lz]*)l([^z]*)z", path):
        numbers = [np.array([float(v) for v in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", s)]).reshape(-1, 2)
                   for s in (move, steps)]
        rings.append(np.cumsum(np.concatenate(numbers), axis=0))
    return rings


def area(ring: np.ndarray) -> float:
    return shapely.Polygon(ring).area


# -------------------------------------------------------------------------------------------------------------- pdf

@pytest.mark.parametrize(("paper", "scale"), [("a4", 4.0), ("letter", 6.0), ("a3", 1.0)])
def test_a_cut_is_true_and_its_cross_stands_on_the_axis(paper, scale):
    made = replace(one_section(), sizes=replace(armature_of().sizes, scale=scale, shrinkage=5.0))
    k = 1000 / scale / 0.95
    pages = [paths_of(page) for page in pages_of(sheets.sections_pdf(made, paper=paper))]
    page = next(p for p in pages if any(len(q) > 40 for q in p))
    outer = max((q for q in page if len(q) > 40), key=area)
    assert np.ptp(outer, axis=0) == pytest.approx([0.16 * k, 0.16 * k], abs=0.1)
    axis = outer.mean(axis=0) - (0.1 * k, 0.02 * k)
    crosses = [q for q in page if len(q) == 2 and np.abs(q.mean(axis=0) - axis).max() < 0.2
               and np.ptp(q, axis=0).max() == pytest.approx(8, abs=0.05)]
    assert len(crosses) == 2
    assert any(len(q) == 2 and abs(np.ptp(q[:, 0]) - 100) < 0.2 and 10 < q[0, 1] < 15 for q in page), "the ruler"


def test_every_cut_and_every_profile_is_there(tmp_path):
    made = armature_of()
    pdf = sheets.sections_pdf(made, profiles=profiles(0.0, 45.0, 90.0))
    said = words_of(pdf, tmp_path)
    for number in (1, 7, len(made.sections)):
        assert f"Section {number}, {made.sections[number - 1].z * 250:.0f} mm" in said
    assert "profile at 45°, sheet A1" in said and "profile at 90°, figure's right" in said
    assert f"{len(made.sections)} sections, one every 20.0 mm" in said and "Calipers" in said
    assert "Hollows that no outline shows" in said and "prompts" in said


def test_several_cuts_share_a_page_and_large_ones_are_tiled():
    small, large = armature_of(scale=16.0), armature_of(scale=1.0)
    assert len(sizes_of(sheets.sections_pdf(small))) <= 5
    assert len(sizes_of(sheets.sections_pdf(large, paper="letter"))) > len(large.sections) + 5


def test_profiles_are_true():
    made = armature_of(scale=10.0)
    side = profiles(45.0)[0]
    wanted = np.array(side.outline.bounds) * 100
    found = [p for page in pages_of(sheets.sections_pdf(made, profiles=[side])) for p in paths_of(page) if len(p) > 60]
    assert any(np.ptp(p, axis=0) == pytest.approx(wanted[2:] - wanted[:2], abs=0.1) for p in found)


@pytest.mark.parametrize("empty", [(), (Section(0.1, MultiPolygon(), 0.0, 0.0, 0.0),)])
def test_without_a_cut_it_says_so(empty, tmp_path):
    made = armature_of(sections=empty, calipers=())
    said = words_of(sheets.sections_pdf(made), tmp_path)
    assert "No level cut was made of this figure." in said and "No profile was asked for." in said
    assert "No level cut" in sheets.sections_svg(made)
    assert sheets.calipers_csv(made).count("\n") == 1


@pytest.mark.parametrize("name", NAMES)
def test_any_name_can_stand_on_it(name):
    made = replace(one_section(), name=name)
    assert sizes_of(sheets.sections_pdf(made))
    ET.fromstring(sheets.sections_svg(made).encode())


def test_nothing_is_told_in_the_file_and_it_is_the_same_every_time():
    pdf = sheets.sections_pdf(one_section())
    assert b"CreationDate" not in pdf and b"matplotlib" not in pdf.lower() and pdf == sheets.sections_pdf(one_section())


# -------------------------------------------------------------------------------------------------------------- svg

def test_the_svg_is_in_millimetres_and_every_cut_has_its_area():
    made = armature_of(shrinkage=8.0)
    page = ET.fromstring(sheets.sections_svg(made))
    width, height = (float(page.attrib[side].removesuffix("mm")) for side in ("width", "height"))
    assert page.attrib["width"].endswith("mm") and page.attrib["viewBox"] == f"0 0 {width:.3f} {height:.3f}"
    groups = page.findall(f"{SVG}g")
    assert [g.attrib["id"] for g in groups] == [f"section-{i:02d}" for i in range(1, len(made.sections) + 1)]
    boxes = []
    for group, section in zip(groups, made.sections, strict=True):
        cut, marks = group.findall(f"{SVG}path")
        rings = rings_of(cut.attrib["d"])
        assert sum(map(area, rings)) == pytest.approx(section.area_m2 * made.sizes.built**2, rel=0.002)
        points = np.concatenate(rings)
        assert (points > 0).all() and (points < (width, height)).all()
        boxes.append(shapely.box(*points.min(axis=0), *points.max(axis=0)))
        assert f"{section.z * made.sizes.built:.0f} mm" in group.find(f"{SVG}text").text
        x, y = (float(v) for v in re.match(r"M([\d.]+) ([\d.]+)h", marks.attrib["d"]).groups())
        front = section.outline.bounds[1] * made.sizes.built
        assert points[:, 1].max() == pytest.approx(y - front, abs=0.05), "the front points down the sheet"
        assert points[:, 0].min() == pytest.approx(x + 4 + section.outline.bounds[0] * made.sizes.built, abs=0.05)
    assert all(a.disjoint(b) for i, a in enumerate(boxes) for b in boxes[i + 1:])


def test_the_svg_runs_nothing_and_asks_for_nothing():
    text = sheets.sections_svg(armature_of(name='<script>alert("x")</script> & more'))
    assert "<script" not in text and "href" not in text and "url(" not in text and "style" not in text
    assert text.count("http") == 1, "the name of the format alone"
    ET.fromstring(text)


def test_a_hole_stays_a_hole():
    group = ET.fromstring(sheets.sections_svg(one_section())).find(f"{SVG}g")
    rings = rings_of(group.find(f"{SVG}path").attrib["d"])
    assert sorted(map(area, rings)) == pytest.approx([np.pi * 7.5**2, np.pi * 20**2], rel=0.002)


# -------------------------------------------------------------------------------------------------------------- csv

def test_the_table_names_every_section_and_joint():
    made = armature_of(shrinkage=8.0)
    rows = list(csv.DictReader(io.StringIO(sheets.calipers_csv(made))))
    assert tuple(rows[0]) == sheets.CSV_HEAD
    assert [r["what"] for r in rows[:2]] == ["Section 1", "Section 2"]
    knee = next(r for r in rows if r["what"] == "knee, figure's left")
    assert float(knee["height_mm"]) == pytest.approx(0.52 * made.sizes.built, abs=0.1)
    assert float(knee["finished_width_mm"]) == pytest.approx(float(knee["width_mm"]) * 0.92, abs=0.06)
    assert float(knee["least_mm"]) == pytest.approx(0.15 * made.sizes.built, rel=0.05), "the thigh is 15 cm thick"
    assert rows[0]["least_mm"] == "" and all(r["width_mm"] for r in rows)
