"""The reference set: laid out on one scale, written whole, true in millimetres, and telling nothing but the picture."""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
import shutil
import stat
import subprocess
from dataclasses import replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import pytest
import shapely
from PIL import Image
from shapely import affinity

from silhouette import writing
from silhouette.errors import OutputError, PictureError, PoseError, SettingsError
from silhouette.export import reference_set, write_set
from silhouette.export.svg import outline_svg
from silhouette.intake.stills import read_full
from silhouette.records import CloseUp, Note, Outline, RingCamera
from silhouette.records_shoot import SetView

WIDE, HIGH, TALL, AXIS, GROUND = 300, 400, 320.0, 150.0, 380.0
# A post 0.2 wide from ground to crown with an arm at 0.6 to 0.7 of its height, reaching 0.4 from the plumb line.
POST = shapely.box(-0.1, 0, 0.1, 1)


def figure_at(angle: float) -> shapely.Polygon:
    """The post seen from ``angle``; its arm points to the figure's right: to picture left from the front."""
    reach = -0.4 * np.cos(np.radians(angle))
    arm = shapely.box(min(0, reach), 0.3, max(0, reach), 0.4)
    return POST.union(arm)


def picture(angle: float) -> np.ndarray:
    """A grey wall with the figure in brown, as the camera would have taken it; the top left corner is marked blue."""
    pixels = np.full((HIGH, WIDE, 3), 190, np.uint8)
    ring = np.asarray(figure_at(angle).exterior.coords) * TALL + (AXIS, GROUND - TALL)
    cv2.fillPoly(pixels, [np.round(ring).astype(np.int32)], (60, 90, 140))
    pixels[:20, :20] = (200, 30, 30)
    return pixels


def view_at(angle, *, scale=1.0, move=(0, 0), grow=1.0, **more) -> SetView:
    """A stop whose outline was read at ``scale`` working pixels a pixel, moved and grown in the full picture."""
    polygon = figure_at(angle)
    left, _, right, _ = polygon.bounds
    middle = (left + right) / 2
    outline = Outline(
        polygon=affinity.translate(polygon, -middle, 0), height_px=TALL * grow * scale,
        origin_px=((AXIS + middle * TALL * grow + move[0]) * scale, (GROUND - TALL * grow + move[1]) * scale),
        picture_size=(round(WIDE * scale), round(HIGH * scale)),
    )
    view = {"angle": angle, "name": f"{angle:03.0f}", "angle_from": "name", "outline": outline, "scale": scale,
            "full_size": (WIDE, HIGH), "read": lambda: picture(angle)}
    return SetView(**{**view, **more})


@pytest.fixture
def layout():
    return reference_set.lay_out("Ferry keeper", [view_at(a) for a in range(0, 360, 30)], model_height_m=1.72)


# ---------------------------------------------------------------------------------------------------------- layout

def test_stops_are_named_by_pose_and_angle_in_their_order():
    views = [view_at(a) for a in (90, 0, 359.6, 45.4, 0)]
    stems = [stem for stem, _ in reference_set.lay_out("Ferry keeper / no. 2", views).views]
    assert stems == [f"Ferry_keeper_no_2_{end}" for end in ("000", "000b", "045", "090", "000c")]


RINGS = [view_at(a, ring=ring, move=move, grow=grow) for ring, move, grow, step in (
    ("high", (5, -30), 0.8, 60), ("low", (0, 0), 0.9, 30), ("level", (0, 0), 1.0, 30)) for a in range(0, 360, step)]
"""Three rings whose cameras saw the figure at another place and size."""


def heights_of(layout, ring) -> float:
    return float(np.median([np.ptp(f.polygon.bounds[1::2]) for f in layout.figures if f.ring == ring]))


def test_several_rings_are_named_and_stand_on_ground_lines_of_their_own():
    layout = reference_set.lay_out("k", RINGS)
    assert [f.stem for f in layout.figures][::6] == [
        "k_low_000", "k_low_180", "k_level_000", "k_level_180", "k_high_000"]
    for figure in layout.figures:
        left, _, right, bottom = figure.polygon.bounds
        assert bottom == pytest.approx(0, abs=1e-6) and left <= -0.1 + 1e-6 and right >= 0.1 - 1e-6
        assert heights_of(layout, figure.ring) == pytest.approx(1)
    assert [note.kind for note in layout.notes] == ["rings on their own scales"]
    assert [(r.ring, r.stops, r.camera.found_from) for r in layout.rings] == [
        ("low", 12, "unknown"), ("level", 12, "unknown"), ("high", 6, "unknown")]
    assert layout.of("high").window == layout.window and len(layout.of("high").views) == 6


def test_rings_share_the_level_one_s_scale_where_all_their_cameras_are_known():
    sizes = {"low": 320.0, "level": 320.0, "high": 288.0}
    layout = reference_set.lay_out("k", RINGS, sizes=sizes)
    assert [heights_of(layout, ring) for ring in ("low", "level", "high")] == pytest.approx([0.9, 1, 0.8 / 0.9])
    assert [note.kind for note in layout.notes] == ["rings on one scale"]
    del sizes["low"]
    assert heights_of(reference_set.lay_out("k", RINGS, sizes=sizes), "high") == pytest.approx(1)


def test_a_ring_whose_pictures_share_no_camera_is_named():
    odd = [v if v.ring != "low" or v.angle else view_at(0, ring="low", grow=0.4) for v in RINGS]
    layout = reference_set.lay_out("k", odd, sizes=dict.fromkeys(("low", "level", "high"), 1.0))
    notes = {note.kind: note for note in layout.notes}
    assert notes["no common camera in rings"]["rings"] == ("low",) and "rings on their own scales" in notes


def test_a_stop_that_only_another_ring_has_is_missing():
    gone = [v for v in RINGS if not (v.ring == "low" and v.angle in (90, 120))]
    missing = {one.ring: one.missing for one in reference_set.lay_out("k", gone).rings}
    assert missing == {"low": (90.0, 120.0), "level": (), "high": ()}  # half a step between two stops is no gap


def test_the_scale_of_a_camera_is_that_of_the_axis_half_way_up():
    """By similar triangles: a level camera 2 away, lens 1, shows a length of 1 half as long as the picture."""
    level = RingCamera("outlines", 0.5, None, 0.0, 2.0, lens=1.0)
    assert reference_set.pixels_per_stature(level, 800, 1.0) == pytest.approx(400)
    down = RingCamera("outlines", 2.5, None, -45.0, 2.0, lens=1.0)  # it looks at the very middle, 2 down and 2 along
    assert reference_set.pixels_per_stature(down, 800, 1.0) == pytest.approx(800 / np.hypot(2, 2))
    assert reference_set.pixels_per_stature(replace(down, lens=None), 800, 1.0) is None


def test_close_ups_are_named_after_pose_and_detail_and_counted_on():
    given = [CloseUp(name, (Path("a.jpg"),) * n) for name, n in (("left hand", 2), ("Left_hand", 1), ("?", 1))]
    assert reference_set.close_up_stems("k", given) == [
        ("left hand", ["k_closeup_left_hand_1", "k_closeup_left_hand_2"]), ("Left_hand", ["k_closeup_Left_hand_3"]),
        ("?", ["k_closeup_detail_1"])]


@pytest.mark.parametrize(
    ("name", "stem"), [("../../etc", "etc"), ("Fährfrau", "Fährfrau"), ("***", "pose"), ("a" * 90, "a" * 60)])
def test_names_are_safe_for_files(name, stem):
    assert reference_set.file_stem(name) == stem


def test_fixed_camera_gives_one_scale_one_ground_and_the_turning_axis(layout):
    assert layout.notes == (Note.of("pose at full height", height_m=1.72),)
    assert layout.figures[0].to_px == pytest.approx((TALL, AXIS, GROUND))
    for figure in layout.figures:  # the drawing itself comes back, ground line at 0
        truth = affinity.translate(figure_at(figure.angle), 0, -1)
        assert figure.polygon.symmetric_difference(truth).area < 1e-9
    assert layout.bounds == pytest.approx((-0.4, -1, 0.4, 0))


def test_working_size_does_not_matter(layout):
    small = reference_set.lay_out("k", [view_at(a, scale=0.25) for a in range(0, 360, 30)])
    for a, b in zip(layout.figures, small.figures, strict=True):
        assert a.polygon.symmetric_difference(b.polygon).area < 1e-9
        assert a.to_px == pytest.approx(b.to_px)


def test_a_lower_stop_stays_lower():
    views = [view_at(a, grow=0.95 if a == 60 else 1.0) for a in range(0, 360, 30)]
    heights = [np.ptp(f.polygon.bounds[1::2]) for f in reference_set.lay_out("k", views).figures]
    assert heights[2] == pytest.approx(0.95) and heights[0] == pytest.approx(1)


def test_pictures_of_another_framing_are_set_to_their_own_height_and_ground():
    views = [view_at(a, grow=1.0 if a % 60 else 0.6, move=(a / 10, 0)) for a in range(0, 360, 30)]
    layout = reference_set.lay_out("k", views)
    assert layout.notes == (Note.of("no common camera"),)
    assert all(np.ptp(f.polygon.bounds[1::2]) == pytest.approx(1) for f in layout.figures)


def test_heads_are_counted_from_the_crown():
    layout = reference_set.lay_out("k", [view_at(0)], model_height_m=1.75, pose_height_m=1.40, head_m=0.25)
    assert [n for n, _ in layout.head_lines] == list(range(8))
    assert layout.head_lines[0][1] == pytest.approx(1.75 / 1.40)
    assert layout.head_lines[7][1] == pytest.approx(0)
    assert reference_set.lay_out("k", [view_at(0)], model_height_m=1.70).head == pytest.approx(0.13)


def test_bad_layouts_are_refused():
    with pytest.raises(PoseError, match="No stop"):
        reference_set.lay_out("k", [view_at(0, outline=None)])
    with pytest.raises(SettingsError, match="model height"):
        reference_set.lay_out("k", [view_at(0)], model_height_m=172)


# ---------------------------------------------------------------------------------------------------------- export

def files_in(folder: Path) -> set[str]:
    return {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}


def test_set_holds_what_it_says(layout, tmp_path):
    out = write_set.export(layout, tmp_path / "set", pages={"a.html": "<p>é", "photographs/b.pdf": lambda _: b"%PDF"})
    stems = [f"Ferry_keeper_{a:03d}" for a in range(0, 360, 30)]
    assert files_in(out) == {
        *(f"photographs/{s}.jpg" for s in stems), *(f"silhouettes/{s}.png" for s in stems),
        *(f"outlines/{s}.svg" for s in stems),
        "set.csv", "a.html", "photographs/b.pdf", ".silhouette.json"}
    rows = list(csv.DictReader(io.StringIO((out / "set.csv").read_text())))
    assert [r["angle"] for r in rows] == [f"{a}.0" for a in range(0, 360, 30)]
    assert all((out / r["still"]).is_file() and (out / r["silhouette"]).is_file() for r in rows)
    assert {r["height_px"] for r in rows} == {"320"}
    assert (out / "a.html").read_bytes() == "<p>é".encode()
    assert [p.name for p in tmp_path.iterdir()] == ["set"]


def test_stills_are_the_pictures(layout, tmp_path):
    out = write_set.export(layout, tmp_path / "set", originals=True)
    for angle in (0, 90, 240):
        still = cv2.imread(str(out / "photographs" / f"Ferry_keeper_{angle:03d}.jpg"))
        assert still.shape == (HIGH, WIDE, 3)
        assert np.abs(still.astype(int) - picture(angle)).mean() < 1.5
        original = out / "photographs" / "originals" / f"Ferry_keeper_{angle:03d}.png"
        assert np.array_equal(cv2.imread(str(original)), picture(angle))


def test_cropped_stills_show_the_common_window(layout, tmp_path):
    out = write_set.export(layout, tmp_path / "set", crop=True)
    sizes = {cv2.imread(str(p)).shape for p in (out / "photographs").glob("*.jpg")}
    # 0.06 over the crown, 1 of figure, 0.06 under the ground; 0.4 of arm to either side and 0.06 beside it.
    ((high, wide, _),) = sizes
    assert high == pytest.approx(1.12 * TALL, abs=2) and wide == pytest.approx(0.92 * TALL, abs=2)


def test_silhouettes_lie_one_over_the_other(layout, tmp_path):
    out = write_set.export(layout, tmp_path / "set", silhouettes_only=True)
    assert not list(out.rglob("*.jpg")) and not (out / "photographs").exists()
    files = {f.angle: out / "silhouettes" / f"{f.stem}.png" for f in layout.figures}
    shapes = {angle: cv2.imread(str(path), cv2.IMREAD_GRAYSCALE) for angle, path in files.items()}
    assert len({s.shape for s in shapes.values()}) == 1
    for angle, shape in shapes.items():
        x = (np.arange(shape.shape[1]) + 0.5) / TALL + layout.window[0]
        y = (np.arange(shape.shape[0]) + 0.5) / TALL + layout.window[1]
        truth = shapely.contains_xy(affinity.translate(figure_at(angle), 0, -1), *np.meshgrid(x, y))
        assert np.mean((shape < 128) != truth) < 0.002
    assert cv2.countNonZero(255 - shapes[0]) > cv2.countNonZero(255 - shapes[90])


def test_pictures_for_pages_match_the_window(layout):
    full = {view.angle: view.read() for _, view in layout.views}
    small = {f.stem: write_set.small_picture(full[f.angle], f, layout, height_px=200) for f in layout.figures}
    assert len({p.shape for p in small.values()}) == 1
    pixels = small["Ferry_keeper_000"]
    assert pixels.shape[0] == pytest.approx(200, abs=1)
    unit = 200 / (layout.window[3] - layout.window[1])
    brown = np.abs(pixels.astype(int) - (60, 90, 140)).sum(axis=2) < 60
    rows, columns = np.nonzero(brown)
    assert rows.min() / unit + layout.window[1] == pytest.approx(-1, abs=0.01)
    assert columns.min() / unit + layout.window[0] == pytest.approx(-0.4, abs=0.01)


def test_every_picture_is_read_once_whatever_shows_it(tmp_path):
    asked = []

    def read(angle):
        asked.append(angle)
        return picture(angle)

    layout = reference_set.lay_out("k", [view_at(a, read=partial(read, a)) for a in (0, 90, 180)])
    shown = {}
    pages = {f"photographs/{k}.pdf": lambda small: shown.update(small) or b"%PDF" for k in range(2)}
    write_set.export(layout, tmp_path / "set", originals=True, crop=True, pages=pages)
    assert asked == [0, 90, 180] and list(shown) == ["k_000", "k_090", "k_180"]
    for figure in layout.figures:
        assert np.array_equal(shown[figure.stem], write_set.small_picture(picture(figure.angle), figure, layout))
    asked.clear()
    pictures = ((stem, picture(view.angle)) for stem, view in reversed(layout.views))
    write_set.export(layout, tmp_path / "other", originals=True, crop=True, pages=pages, pictures=pictures)
    assert not asked
    assert everything(tmp_path / "other") == everything(tmp_path / "set")


def test_times_count_from_the_first_stop(tmp_path):
    views = [view_at(a, time=1_700_000_000.0 + a) for a in (30, 0, 60)]
    out = write_set.export(reference_set.lay_out("k", views), tmp_path / "set")
    assert [r["seconds"] for r in csv.DictReader((out / "set.csv").open())] == ["0.0", "30.0", "60.0"]
    assert not any(b"17000000" in p.read_bytes() for p in out.rglob("*.*") if p.suffix in (".csv", ".txt", ".svg"))


def test_stop_without_a_figure_keeps_its_photograph(tmp_path):
    views = [view_at(0), view_at(90, outline=None), view_at(180)]
    layout = reference_set.lay_out("k", views)
    out = write_set.export(layout, tmp_path / "set")
    assert (out / "photographs" / "k_090.jpg").is_file() and not (out / "silhouettes" / "k_090.png").exists()
    assert layout.notes == (Note.of("stops without figure", count=1),)


# -------------------------------------------------------------------------------------------------------- metadata

SECRETS = (b"Harbour", b"Ferrycam", b"2026:05", b"thumbnail-of-the-uncropped", b"adobe", b"Photoshop", b"ICC_PROFILE")


@pytest.fixture
def telling_photograph(tmp_path):
    """A photograph on its side that carries place, time, device, comment, XMP, IPTC, an ICC profile and a thumbnail."""
    from PIL import ImageCms

    image = Image.fromarray(np.ascontiguousarray(np.rot90(picture(0))[..., ::-1]))  # turned against the clock
    exif = Image.Exif()
    exif[0x0112] = 6  # to be shown turned clockwise
    exif[0x010F], exif[0x0110], exif[0x0132] = "Harbour", "Ferrycam", "2026:05:04 10:11:12"
    exif.get_ifd(0x8825)[2] = (54.0, 1.0, 2.0)
    exif.get_ifd(0x8769)[0x9003] = "2026:05:04 10:11:12"
    source = tmp_path / "in" / "045.jpg"
    source.parent.mkdir()
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'><rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>" \
          b"<rdf:Description xmlns:dc='http://purl.org/dc/elements/1.1/' dc:source='Harbour'/></rdf:RDF></x:xmpmeta>"
    image.save(source, quality=95, exif=exif, comment=b"Harbour", xmp=xmp, icc_profile=profile)
    city = b"\x1c\x02\x5a" + (7).to_bytes(2, "big") + b"Harbour\x00"  # IPTC 2:90, city, and a byte to make it even
    block = b"Photoshop 3.0\x008BIM\x04\x04\x00\x00" + (12).to_bytes(4, "big") + city
    data = source.read_bytes()
    iptc = b"\xff\xed" + (len(block) + 2).to_bytes(2, "big") + block
    source.write_bytes(data[:2] + iptc + data[2:] + b"thumbnail-of-the-uncropped")
    return source


def test_nothing_but_the_picture_is_left(telling_photograph, tmp_path):
    before = telling_photograph.read_bytes()
    assert all(word in before for word in (b"Harbour", b"Ferrycam", b"ICC_PROFILE", b"Photoshop"))
    telling_photograph.chmod(stat.S_IRUSR)
    views = [view_at(0, read=lambda: read_full(telling_photograph))]
    out = write_set.export(reference_set.lay_out("k", views), tmp_path / "set", originals=True)
    assert telling_photograph.read_bytes() == before
    upright = cv2.imread(str(out / "photographs" / "k_000.jpg"), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    assert np.abs(upright.astype(int) - picture(0)).mean() < 4  # upright, blue mark in the top left corner
    photographs = out / "photographs"
    for path in (photographs / "k_000.jpg", photographs / "originals" / "k_000.png", out / "silhouettes" / "k_000.png"):
        assert not any(word in path.read_bytes() for word in SECRETS), path
        with Image.open(path) as image:
            assert not image.getexif() and not set(image.info) - {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="exiftool is not installed")
def test_exiftool_finds_nothing_in_the_set(telling_photograph, tmp_path):
    def groups(path: Path) -> set[str]:
        told = subprocess.run(["exiftool", "-json", "-G1", "-a", "-u", str(path)], capture_output=True, check=True)
        of_the_file = {"SourceFile", "ExifTool", "System", "File", "Composite"}
        return {key.split(":")[0] for key in json.loads(told.stdout)[0]} - of_the_file

    assert groups(telling_photograph) >= {"IFD0", "ExifIFD", "GPS", "XMP-dc", "IPTC", "ICC-header"}
    views = [view_at(0, read=lambda: read_full(telling_photograph))]
    out = write_set.export(reference_set.lay_out("k", views), tmp_path / "set", originals=True)
    assert groups(out / "photographs" / "k_000.jpg") <= {"JFIF"}
    assert groups(out / "photographs" / "originals" / "k_000.png") <= {"PNG", "PNG-pHYs"}
    assert groups(out / "outlines" / "k_000.svg") <= {"SVG"}


# ----------------------------------------------------------------------------------------------------- millimetres

@pytest.mark.parametrize("scale", [1, 4, 7.5])
def test_svg_is_true_in_millimetres(layout, tmp_path, scale):
    out = write_set.export(layout, tmp_path / "set", print_scale=scale, silhouettes_only=True)
    text = (out / "outlines" / "Ferry_keeper_000.svg").read_text()
    width, high = (float(re.search(rf' {side}="([\d.]+)mm"', text).group(1)) for side in ("width", "height"))
    assert re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text).groups() == (f"{width:.2f}", f"{high:.2f}")
    rings = re.search(r'id="figure".*? d="([^"]+)"', text).group(1).split("z")[:-1]
    steps = [np.array(re.findall(r"-?(?:\d+\.?\d*|\.\d+)", ring), float).reshape(-1, 2) for ring in rings]
    x, y = np.concatenate([ring.cumsum(axis=0) for ring in steps]).T
    assert max(y) - min(y) == pytest.approx(1720 / scale, abs=0.05)
    assert max(x) - min(x) == pytest.approx(0.5 * 1720 / scale, abs=0.05)  # 0.1 of the post and 0.4 of the arm
    plumb = float(re.search(r'id="plumb".*? d="M([\d.]+),', text).group(1))
    assert plumb - min(x) == pytest.approx(0.4 * 1720 / scale, abs=0.05)
    ground = float(re.search(r'id="ground".*? d="M0.00,([\d.]+)', text).group(1))
    assert ground == pytest.approx(max(y), abs=0.05)
    heads = [float(v) for v in re.findall(r'id="head-\d".*? d="M0.00,([\d.]+)', text)]
    assert np.diff(heads) == pytest.approx(0.13 * 1720 / scale, abs=0.05)


def test_every_svg_has_the_same_frame(layout):
    frames = {re.search(r"<svg [^>]*>", outline_svg(f, layout)).group(0) for f in layout.figures}
    assert len(frames) == 1


def test_print_scale_needs_the_real_height(tmp_path):
    layout = reference_set.lay_out("k", [view_at(0)])
    with pytest.raises(OutputError, match="real height"):
        write_set.export(layout, tmp_path / "set", print_scale=4)
    assert not list(tmp_path.iterdir())


# ----------------------------------------------------------------------------------------------- whole or not at all

def everything(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_existing_set_is_kept_unless_told(layout, tmp_path):
    out = write_set.export(layout, tmp_path / "set")
    before = everything(out)
    with pytest.raises(OutputError, match="already"):
        write_set.export(layout, out)
    assert everything(out) == before
    write_set.export(layout, out, silhouettes_only=True, overwrite=True)
    assert not list(out.rglob("*.jpg"))  # nothing of the old set is left
    assert [p.name for p in tmp_path.iterdir()] == ["set"]


@pytest.mark.parametrize("overwrite", [False, True])
def test_other_folders_are_never_touched(layout, tmp_path, overwrite):
    (tmp_path / "holiday").mkdir()
    (tmp_path / "holiday" / "letter.txt").write_text("dear")
    with pytest.raises(OutputError, match="other things"):
        write_set.export(layout, tmp_path / "holiday", overwrite=overwrite)
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="is a file"):
        write_set.export(layout, tmp_path / "file", overwrite=overwrite)
    assert sorted(files_in(tmp_path)) == ["file", "holiday/letter.txt"]


def fail_at_the_third(error: BaseException):
    count = itertools.count()

    def read():
        if next(count) == 2:
            raise error
        return picture(0)

    return read


@pytest.mark.parametrize("error", [OSError(28, "No space left"), KeyboardInterrupt(), PictureError("is gone.")])
@pytest.mark.parametrize("there", [False, True])
def test_failure_leaves_everything_as_it_was(tmp_path, error, there):
    read = fail_at_the_third(error)
    out = tmp_path / "set"
    if there:
        write_set.export(reference_set.lay_out("k", [view_at(0)]), out)
    before = everything(tmp_path)
    layout = reference_set.lay_out("k", [view_at(a, read=read) for a in range(0, 360, 60)])
    with pytest.raises(OutputError if isinstance(error, OSError) else type(error)):
        write_set.export(layout, out, overwrite=True)
    assert everything(tmp_path) == before
    assert [p.name for p in tmp_path.iterdir()] == (["set"] if there else [])


def test_failing_page_leaves_nothing(layout, tmp_path):
    def broken(_: object) -> bytes:
        raise RuntimeError("the page went wrong")

    with pytest.raises(RuntimeError, match="went wrong"):
        write_set.export(layout, tmp_path / "set", pages={"a.pdf": b"%PDF", "b.pdf": broken})
    assert not list(tmp_path.iterdir())


def test_swap_that_fails_brings_the_old_set_back(layout, tmp_path, monkeypatch):
    out = write_set.export(layout, tmp_path / "set")
    before = everything(tmp_path)
    rename = Path.rename

    def refuse(self, target):
        if self.suffix == ".silhouette-part":
            raise OSError(5, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(writing, "_exchange", lambda one, other: False)
    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(OutputError, match="Input/output"):
        write_set.export(layout, out, overwrite=True)
    assert everything(tmp_path) == before


def test_place_that_cannot_be_written_is_one_sentence(layout):
    with pytest.raises(OutputError, match="cannot be written"):
        write_set.export(layout, Path("/proc/none/set"))


def test_the_set_is_drawn_with_every_bend_of_the_contour():
    """Within 0.2 mm on the sheet to scale and in the outline file, where the measured outline is off by more."""
    turn = np.linspace(0, 2 * np.pi, 1500, endpoint=False)
    fine = shapely.Polygon(np.column_stack([0.25 * np.sin(turn), 0.5 - 0.5 * np.cos(turn)]))
    coarse = fine.simplify(0.0006)
    view = replace(view_at(0), outline=replace(view_at(0).outline, polygon=coarse, contour=fine))
    layout = reference_set.lay_out("k", [view], model_height_m=1.72)
    (figure,) = layout.figures
    mm = write_set.print_height(layout, 2)
    truth = affinity.scale(affinity.translate(fine, 0, -1), mm, mm, origin=(0, 0)).boundary
    assert truth.hausdorff_distance(affinity.scale(figure.polygon, mm, mm, origin=(0, 0)).boundary) < 0.2
    text = outline_svg(figure, layout, pose_mm=mm)
    ring = re.search(r'id="figure".*? d="M([^z]+)z', text).group(1)
    drawn = np.array(re.findall(r"-?(?:\d+\.?\d*|\.\d+)", ring), float).reshape(-1, 2).cumsum(axis=0)
    plumb = float(re.search(r'id="plumb".*? d="M([\d.]+),', text).group(1))
    ground = float(re.search(r'id="ground".*? d="M0.00,([\d.]+)', text).group(1))
    assert shapely.Polygon(drawn - (plumb, ground)).boundary.hausdorff_distance(truth) < 0.2
