"""Angles come from names, else from angles.csv, else from numbers after a word, else from an even spread."""

from __future__ import annotations

import random
from itertools import accumulate
from pathlib import Path

import pytest

from silhouette.errors import AnglesError
from silhouette.intake import filenames


def _stated(stems: list[str]) -> list[float | None] | None:
    """What the names of stills say where no table lies beside them."""
    told = filenames.assign([Path(f"{stem}.jpg") for stem in stems], None)
    return None if told is None else [one.angle for one in told]


@pytest.mark.parametrize(
    ("stems", "wanted"),
    [
        (["000", "045", "360"], [0, 45, 0]),
        (["0", "22.5", "45"], [0, 22.5, 45]),
        (["oar_045deg", "oar_090deg"], [45, 90]),
        (["oar 45°", "oar 90 degrees"], [45, 90]),
        (["-45", "0", "45"], [315, 0, 45]),
        (["keeper_000", "keeper_015", "keeper_345"], [0, 15, 345]),
        (["045"], [45]),
        (["000", "015", "030", "cover"], [0, 15, 30, None]),
        (["oar_022", "oar_045", "oar_067", "oar_090"], [22, 45, 67, 90]),
        (["oar_330", "oar_345", "oar_000"], [330, 345, 0]),
        (["keeper_000", "keeper_013", "keeper_071", "keeper_122", "keeper_160"], [0, 13, 71, 122, 160]),
        (["17", "45", "93"], [17, 45, 93]),
    ],
)
def test_names_that_state_angles(stems: list[str], wanted: list[float | None]) -> None:
    assert _stated(stems) == wanted


@pytest.mark.parametrize(
    "stems",
    [
        ["IMG_001", "IMG_002", "IMG_003"],
        ["001", "002", "003", "004"],
        ["IMG_003", "IMG_007", "IMG_012"],
        ["IMG_003"],
        ["IMG_104", "IMG_117"],
        ["photo 101", "photo 114", "photo 122", "photo 139", "photo 151", "photo 168"],
        ["IMG_000", "IMG_004", "IMG_009", "IMG_013"],
        ["3", "7", "12"],
        ["IMG_1234", "IMG_1250"],
        ["photo_400", "photo_415"],
        ["20261125_104501", "20261125_104512"],
        ["7"],
        ["degas_12"],
    ],
)
def test_counters_and_dates_are_not_angles(stems: list[str]) -> None:
    assert _stated(stems) is None


@pytest.mark.parametrize("parts", range(3, 37))
def test_every_even_turn_is_read_from_its_names(parts: int) -> None:
    for whole in (round, int):
        numbers = [whole(360 * k / parts) for k in range(parts)]
        assert filenames.angles_from_numbers([f"oar_{n:03d}" for n in numbers]) == numbers


def test_a_camera_that_counts_with_gaps_is_seldom_taken_for_a_turn() -> None:
    rng = random.Random(5)
    taken = 0
    for _ in range(500):
        gaps = [1 + min(int(rng.expovariate(1 / 6)), 40) for _ in range(7)]
        numbers = accumulate(gaps, initial=rng.randrange(99))
        taken += filenames.angles_from_numbers([f"IMG_{n:03d}" for n in numbers]) is not None
    assert taken <= 2


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_csv(tmp_path: Path, mark: str) -> None:
    table = tmp_path / "angles.csv"
    table.write_text(
        f"file{mark}angle\nIMG_1.JPG{mark}0\nimg_2{mark} 30.5\n\nIMG_3.jpg{mark}375\n", encoding="utf-8-sig"
    )
    assert filenames.angles_from_csv(table, ["IMG_1.jpg", "IMG_2.jpg", "IMG_3.jpg", "IMG_4.jpg"]) == [0, 30.5, 15, None]


@pytest.mark.parametrize(
    "text",
    [
        "a.jpg;22,5\nb.jpg;45\n",
        "a.jpg;22,5\nb.jpg;45,0\n",
        "Bild;Winkel\na.jpg;22,5\nb.jpg;45,0\n",
        "Bild,Winkel;in Grad\na;22,5\nb;45°\n",
        "a.jpg,22.5\nb.jpg,45\n",
        "picture,angle\na.jpg,22.5\nb.jpg,45\n",
        'a.jpg,"22,5"\nb.jpg,"45,0"\n',
        "a.jpg\t22,5\nb.jpg\t45\n",
        "A.JPG\t22.5\r\nB\t45\r\n",
    ],
)
@pytest.mark.parametrize("way", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_the_mark_is_the_one_that_leaves_a_picture_and_a_number(tmp_path: Path, text: str, way: str) -> None:
    (tmp_path / "angles.csv").write_bytes(text.encode(way))
    assert filenames.angles_from_csv(tmp_path / "angles.csv", ["a.jpg", "b.jpg"]) == [22.5, 45]


def test_names_with_umlauts_as_windows_writes_them(tmp_path: Path) -> None:
    (tmp_path / "angles.csv").write_bytes("Brücke.jpg;22,5\n".encode("cp1252"))
    assert filenames.angles_from_csv(tmp_path / "angles.csv", ["Brücke.jpg"]) == [22.5]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"a.jpg," + b"9" * 200_000, "table|no angle"),
        (b'"' + b"a" * 200_000 + b'";5\n', "table|names none|no angle"),
        (b"a.jpg,5\0\n", "as text"),
        (b"\xff\xfea.jpg,5\n", "as text|names none"),
        (b"\x81\x8d\x8f,5\n", "as text"),
        (b"a.jpg,22,5\nb.jpg,45\n", "two numbers"),
        (b"x" * 3_000_000, "larger than 2 MB"),
    ],
)
def test_a_table_of_rubbish_is_one_short_sentence(tmp_path: Path, data: bytes, words: str) -> None:
    (tmp_path / "angles.csv").write_bytes(data)
    with pytest.raises(AnglesError, match=words) as caught:
        filenames.angles_from_csv(tmp_path / "angles.csv", ["a.jpg", "b.jpg"])
    assert len(caught.value.what) < 200 and "\n" not in caught.value.what


def test_a_folder_called_as_the_table_is_told(tmp_path: Path) -> None:
    (tmp_path / "angles.csv").mkdir()
    with pytest.raises(AnglesError, match="is a folder"):
        filenames.assign([tmp_path / "IMG_1.jpg", tmp_path / "IMG_2.jpg"], tmp_path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a.jpg,0\nb.jpg,east\n", "line 2 .*no angle"),
        ("a.jpg,front\nb.jpg,15\n", "line 1 .*no angle"),
        ("a.jpg,0\na.jpg,15\n", "a second angle"),
        ("x.jpg,0\ny.jpg,1\n", "names none"),
        ("", "names none"),
    ],
)
def test_a_csv_that_cannot_be_used_says_where(tmp_path: Path, text: str, words: str) -> None:
    table = tmp_path / "angles.csv"
    table.write_text(text)
    with pytest.raises(AnglesError, match=words):
        filenames.angles_from_csv(table, ["a.jpg", "b.jpg"])


def test_spread() -> None:
    assert filenames.spread(4, 360) == [0, 90, 180, 270]
    assert filenames.spread(5, 360, repeats=True) == [0, 90, 180, 270, 0]
    assert filenames.spread(4, 360, turn="right") == [0, 270, 180, 90]
    assert filenames.spread(6, 180, start=90) == [90, 120, 150, 180, 210, 240]
    assert filenames.spread(1, 360) == [0]


def test_names_win_over_the_table(tmp_path: Path) -> None:
    stills = [tmp_path / "000.jpg", tmp_path / "090.jpg"]
    (tmp_path / "angles.csv").write_text("000.jpg,5\n090.jpg,95\n")
    named = filenames.assign(stills, tmp_path)
    assert named is not None and [(a.angle, a.angle_from) for a in named] == [(0, "name"), (90, "name")]
    assert filenames.assign([tmp_path / "a.jpg"], None) is None


def test_the_table_wins_over_numbers_that_a_camera_may_have_counted(tmp_path: Path) -> None:
    stills = [tmp_path / "IMG_000.jpg", tmp_path / "IMG_015.jpg", tmp_path / "IMG_030.jpg"]
    numbered = filenames.assign(stills, tmp_path)
    assert numbered is not None and [tuple(a) for a in numbered] == [(0, "name"), (15, "name"), (30, "name")]
    (tmp_path / "angles.csv").write_text("IMG_000.jpg,0\nIMG_015.jpg,120\nIMG_030.jpg,240\n")
    listed = filenames.assign(stills, tmp_path)
    assert listed is not None and [tuple(a) for a in listed] == [(0, "csv"), (120, "csv"), (240, "csv")]
