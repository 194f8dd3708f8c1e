"""The terminal: 80 columns, plain, and everything that matters said in words."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from shapely import affinity

from silhouette.records import Arc, Doubt, Note, Pose, Ranking, Reason, ReasonKind, RingCamera, Stop
from silhouette.records_shoot import CheckReport, Finding
from silhouette.show import table, words, words_rings


def is_plain(text: str, width: int = 80) -> bool:
    """At most ``width`` columns, nothing but printable ASCII, no trailing newline or spaces."""
    lines = text.split("\n")
    return all(len(line) <= width and line == line.rstrip() for line in lines) and all(
        c == "\n" or " " <= c <= "~" for c in text) and not text.endswith("\n")


@pytest.mark.parametrize("stops", [1, 8, 24, 36])
def test_score_has_a_row_a_view(pose_at: Callable[..., Pose], stops: int) -> None:
    pose = pose_at("akimbo", stops)
    text = table.score_table(pose)
    assert is_plain(text)
    rows = [line for line in text.split("\n") if line[:5].strip().isdigit()]
    assert [int(row[:5]) for row in rows] == [round(v.angle) for v in pose.views]
    for row, view in zip(rows, pose.views, strict=True):
        assert view.reading
        assert f" {view.reading.band} " in f"{row} "


@pytest.mark.parametrize("width", [40, 52, 66])
def test_a_narrow_terminal_gets_narrow_lines_with_the_same_words(
    pose_at: Callable[..., Pose], odd_pose: Pose, ranking_of: Callable[..., Ranking], width: int
) -> None:
    ranking = ranking_of(6, 12)
    for narrow, usual in (
        (table.score_table(pose_at("akimbo", 24), width), table.score_table(pose_at("akimbo", 24))),
        (table.score_table(odd_pose, width), table.score_table(odd_pose)),
        (table.rank_table(ranking, width), table.rank_table(ranking)),
    ):
        assert is_plain(narrow, width)
        assert narrow.split() == usual.split()


def test_an_arc_that_is_nearly_all_round_is_told_by_what_it_leaves(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 24)
    arcs = (Arc(58, 38, (Reason(ReasonKind.LEGS_AS_ONE, "leg"),)), Arc(300, 200))
    wide = replace(pose, round=replace(pose.round, weak_arcs=arcs))
    text = table.score_table(wide)
    assert "\nall but 38 to 58  legs read as one" in text and "\n300 to 200 " in text and is_plain(text)


def test_score_says_verdict_doubt_and_weak_arcs(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 24)
    text = table.score_table(pose)
    assert text.startswith(f"akimbo: reads from {pose.round.reads_degrees} of 360 degrees\nmost likely between ")
    assert text.split("\n")[1].endswith(" (9 chances in 10)")
    for arc in pose.round.weak_arcs:
        assert f"\n{arc.start:.0f} to {arc.end:.0f} " in text


def test_flags_are_explained_once(odd_pose: Pose) -> None:
    text = table.score_table(odd_pose)
    assert is_plain(text)
    assert text.count("it is shown but not scored") == 1
    assert "no view" in text


def test_a_flag_on_every_view_is_left_out_of_the_rows(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 8)
    views = tuple(replace(v, flags=("back light",)) for v in pose.views)
    text = table.score_table(replace(pose, views=views))
    assert text.count("back light") == 1


@pytest.mark.parametrize("count", [1, 2, 6])
def test_rank_keeps_the_order_and_tells_ties(ranking_of: Callable[..., Ranking], count: int) -> None:
    ranking = ranking_of(count, 12)
    text = table.rank_table(ranking)
    assert is_plain(text)
    places = [text.index(p.name[:20]) for p in ranking.poses]
    assert places == sorted(places)
    assert ("too close to call" in text) == (count > 1)
    assert "Nothing was dropped" in text


def test_rank_with_long_names_and_an_arc(ranking_of: Callable[..., Ranking]) -> None:
    poses = tuple(replace(p, name=p.name * 4) for p in ranking_of(2, 8).poses)
    text = table.rank_table(Ranking(poses, "closed", (300, 60)))
    assert is_plain(text)
    assert "as open, counted from 300 to 60." in text.replace("\n", " ")


def test_rank_of_a_pose_that_cannot_be_summed_up(pose_at: Callable[..., Pose]) -> None:
    text = table.rank_table(Ranking((pose_at("akimbo", 1),)))
    assert is_plain(text) and "too few" in text


def test_rank_says_why_a_pose_was_not_read(ranking_of: Callable[..., Ranking], unread_pose: Pose) -> None:
    text = table.rank_table(Ranking((*ranking_of(2, 8).poses, unread_pose)))
    assert is_plain(text)
    row = next(line for line in text.split("\n") if "Two at the rail" in line)
    assert row.split()[0] == "-" and "not read: two people are in every picture" in text
    some = replace(unread_pose, views=tuple(replace(v, flags=("cannot tell",)) if i < 2 else v
                                            for i, v in enumerate(unread_pose.views)))
    assert "not read: two people are in 6 of 8 pictures" in table.rank_table(Ranking((some,)))


def test_rank_tells_whose_angles_were_spread(ranking_of: Callable[..., Ranking]) -> None:
    ranking = ranking_of(3, 8)
    assert "Angles of" not in table.rank_table(ranking)
    note = Note.of("angles spread", count=8, span=360.0, last="one short", seen=False)
    poses = [replace(p, notes=(note,) if i else p.notes) for i, p in enumerate(ranking.poses)]
    text = table.rank_table(Ranking(tuple(poses)))
    assert is_plain(text)
    assert f"Angles of {poses[1].name} and {poses[2].name}: " in text.replace("\n", " ")


def test_rank_prints_what_the_notes_on_a_pose_ask_for(ranking_of: Callable[..., Ranking]) -> None:
    ranking = ranking_of(2, 12)
    asks = tuple(f"IMG_{i}.jpg cannot be read. Copy it again." for i in range(5))
    notes = (Note.of("angles from names"), *(Note.of("problem", text=ask) for ask in asks))
    first = replace(ranking.poses[0], notes=notes)
    text = table.rank_table(replace(ranking, poses=(first, ranking.poses[1])))
    assert all(f"      {ask}\n" in text for ask in asks[:3])
    assert "      2 more notes in the report\n" in text
    assert asks[3] not in text and "from the file names" not in text and is_plain(text)


def test_a_compact_pose_that_hardly_reads_may_be_meant_closed(pose_at: Callable[..., Pose]) -> None:
    pose = pose_at("akimbo", 8)
    flat = replace(pose, round=replace(pose.round, reads_degrees=60))
    wide = tuple(replace(v, outline=replace(v.outline, polygon=affinity.scale(v.outline.polygon, xfact=3)))
                 for v in flat.views if v.outline)
    hint = "Is it meant to be closed? Then use --intent closed."
    for told in (table.score_table, lambda p: table.rank_table(Ranking((p,)))):
        assert hint in told(replace(flat, views=wide))
        assert hint not in told(flat), "a standing figure"
        assert hint not in told(replace(flat, views=wide, intent="closed"))
        assert hint not in told(replace(pose, views=wide, round=replace(pose.round, reads_degrees=130)))


@pytest.mark.parametrize(("slim", "told"), [(1.7, True), (2.2, False)])
def test_a_crouching_figure_is_compact_and_a_standing_one_with_its_arms_out_is_not(
    pose_at: Callable[..., Pose], slim: float, told: bool
) -> None:
    """Height over width of the crouching sample pose is 1.7, of the widest that stands 2.3."""
    pose = pose_at("akimbo", 8)
    views = []
    for v in pose.views:
        assert v.outline
        left, top, right, bottom = v.outline.polygon.bounds
        shape = affinity.scale(v.outline.polygon, xfact=(bottom - top) / slim / (right - left))
        views.append(replace(v, outline=replace(v.outline, polygon=shape)))
    flat = replace(pose, views=tuple(views), round=replace(pose.round, reads_degrees=0))
    assert bool(words.closed_hint(flat)) == told


STOPS = tuple(Stop(i, Path("turn.mp4"), f"stop_{i:02d}", i * 15.0, "clip") for i in range(24))


FOUND = {f.check: f for f in (
    Finding.of("full turn", "pass", "turn closed", past=15.0),
    Finding.of("distance", "look", "too close", metres=2.1, told_by="outlines", height_m=None, usual_m=1.7, reach_m=0.6,
               larger=0.8),
    Finding.of("camera height", "unknown", "no whole figure"),
    Finding("held pose", "retake", "pose moved", (14, 15), (("way", "lower"), ("doubtful", ()), ("height_m", None)),
            where="arm height", far=0.04),
    Finding.of("framing", "pass", "whole and alone", room=0.1),
    Finding.of("light direction", "look", "flat light"),
)}
NO_TURN = Finding.of("full turn", "unknown", "too few stops", least=6)


def test_check_is_worst_first() -> None:
    report = CheckReport("turn.mp4", STOPS, tuple(
        FOUND[check] for check in ("full turn", "distance", "camera height", "held pose", "framing")))
    text = table.check_list(report)
    assert is_plain(text)
    assert text.startswith("turn.mp4: 24 stops, 1 thing to retake, 1 to look at")
    order = [text.index(word) for word in ("held pose", "Retake 210", "distance", "camera height", "full turn")]
    assert order == sorted(order)
    assert "full turn, framing" in text


def test_check_with_nothing_wrong_is_short() -> None:
    text = table.check_list(CheckReport("turn", STOPS, (FOUND["full turn"], FOUND["framing"])))
    assert text.split("\n") == ["turn: 24 stops, nothing needs a retake", "", "pass        full turn, framing"]


def test_check_with_something_to_look_at_gives_no_all_clear() -> None:
    text = table.check_list(CheckReport("turn", STOPS, (FOUND["full turn"], FOUND["light direction"])))
    assert text.startswith("turn: 24 stops, 1 thing to look at, no sure retake\n") and "nothing needs" not in text


def test_one_stop_is_no_stops() -> None:
    assert table.check_list(CheckReport("one", STOPS[:1], (FOUND["framing"],))).startswith("one: 1 stop, ")


def test_check_of_pictures_that_are_no_turn_says_so_and_what_is_needed() -> None:
    text = table.check_list(CheckReport("two", STOPS[:2], (
        FOUND["light direction"], NO_TURN, Finding.of("held pose", "unknown", "too few outlines"), FOUND["framing"])))
    assert is_plain(text)
    assert text.startswith("two: 2 stops, could not be checked, 1 to look at\n")
    assert "nothing needs" not in text and "> The check needs a whole turn: at least 6 stops" in " ".join(text.split())
    assert "\ncannot tell held pose: Too few clear outlines" in text
    assert text.count("full turn") == 1, "the turn is told once, with what it needs"


def test_under_the_rows_stands_what_to_do_about_cut_outs_that_are_not_trusted_or_disagree(odd_pose: Pose) -> None:
    doubted = replace(odd_pose, views=tuple(
        replace(v, doubts=(Doubt("at the feet", 0.02, True),)) if not k else v for k, v in enumerate(odd_pose.views)))
    told = " ".join(table.score_table(doubted).split())
    assert "not scored. Add a picture of the same room without the model, called empty.jpg; or take" in told
    assert f"cut-outs disagree: {words.DISAGREE}" in told
    assert "cut-outs disagree" not in table.score_table(odd_pose)
    used = replace(doubted, notes=(*doubted.notes, Note.of("empty used", name="empty.jpg")))
    told = " ".join(table.score_table(used).split())
    assert "Add a picture" not in told and "not scored. Take the pictures again" in told


# ------------------------------------------------------------------------------------------------------ several rings


def test_score_tells_every_ring_and_the_headlines_in_full(rings_at: Callable[..., Pose]) -> None:
    pose = rings_at()
    text = table.score_table(pose)
    assert is_plain(text)
    low, high = (next(one for one in pose.rings if one.ring == ring).round for ring in ("low", "high"))
    first = " ".join(text.split("\n\n")[0].split())
    assert first.startswith(f"akimbo: reads from {pose.round.reads_degrees} of 360 degrees; from below ")
    assert f"from below {low.reads_degrees}, from above {high.reads_degrees} of {high.counted_degrees}" in first
    rows = [line for line in text.split("\n") if line[:5].strip().isdigit()]
    assert len(rows) == len(pose.views), "a row a view of the headline's ring alone"
    assert text.index("\nLevel ring") < text.index("\nLow ring, from below") < text.index("\nHigh ring, from above")
    assert text.count("\nweak arc ") == sum(bool(one.round.weak_arcs) for one in pose.rings)
    assert "no view" in text.split("\nHigh ring")[1], "the hole of the high ring"
    assert "Figure's left hand stands clear in no view. Take a close-up from 45 degrees, at\nchest height." in text
    assert "Head stands clear in no view. The close-up face shows it." in text
    assert "Close-ups, not scored: face (1 picture)." in text


@pytest.mark.parametrize("width", [40, 52, 66])
def test_a_narrow_terminal_gets_the_same_words_of_every_ring(rings_at: Callable[..., Pose], width: int) -> None:
    pose = rings_at()
    for made in (table.score_table, table.rank_table):
        shown: Any = pose if made is table.score_table else Ranking((pose, replace(pose, name="other", rank=2)))
        narrow, usual = made(shown, width), made(shown)
        assert is_plain(narrow, width)
        assert narrow.replace("-\n", "-").split() == usual.replace("-\n", "-").split()


def test_a_headline_that_is_not_of_the_level_ring_says_so(rings_at: Callable[..., Pose]) -> None:
    pose = rings_at(headline="low")
    reads = {one.ring: one.round.reads_degrees for one in pose.rings}
    text = " ".join(table.score_table(pose).split())
    assert text.startswith(f"akimbo: from below it reads from {reads['low']} of 360 degrees; level {reads['level']}, ")
    ranked = " ".join(table.rank_table(Ranking((pose,))).split())
    assert f"counts from below; level {reads['level']}, from above {reads['high']}" in ranked


def test_rank_shows_the_other_rings_and_what_stands_clear_nowhere(
    rings_at: Callable[..., Pose], pose_at: Callable[..., Pose]
) -> None:
    pose = rings_at(called="keeper")
    text = table.rank_table(Ranking((pose, replace(pose_at("reach_up", 8), rank=2))))
    keeper, other = text.split("\n   2  ")
    low = next(one for one in pose.rings if one.ring == "low").round.reads_degrees
    assert f"\n      from below {low}, from above " in keeper
    assert "\n      clear in no view: figure's left hand\n" in keeper + "\n", "the head has its close-up"
    assert "from below" not in other and "clear in no view" not in other


def test_what_is_said_of_several_rings_is_said_once(rings_at: Callable[..., Pose]) -> None:
    def of(note: Note, *rings: str) -> tuple[Note, ...]:
        return tuple(Note.of("of ring", ring=ring, note=note.plain) for ring in rings)

    names, spread = Note.of("angles from names"), Note.of("angles spread", count=8, span=360.0, last=None, seen=False)
    pose = replace(rings_at(), notes=(*of(names, "low", "level", "high"), *of(spread, "low", "high")))
    assert words.notes(pose) == [
        "Angles: from the file names.",
        "Low and high ring. Angles: the 8 pictures in the order of their names, spread over 360 degrees."]
    text = table.rank_table(Ranking((pose,)))
    assert text.endswith("Angles of akimbo: spread evenly over the pictures in the order of their names.")
    asks = replace(pose, notes=of(Note.of("problem", text="Nobody is there."), "high"))
    assert "\n      High ring. Nobody is there." in table.rank_table(Ranking((asks,)))


def test_which_ring_counts_is_said_once_for_all_poses(rings_at: Callable[..., Pose]) -> None:
    note = Note.of("ring counts", ring="low", eye=0.4, lens=0.4, known=False)
    poses = [replace(rings_at(headline="low", called=name), notes=(note,)) for name in ("one", "two")]
    text = " ".join(table.rank_table(Ranking(tuple(poses))).split())
    assert text.count("low ring counts") == text.count(words_rings.LIFE_SIZE) == 1
    assert "Ring of all poses: the low ring counts, seen from 0.40 m above its feet. This holds for a piece of" in text


@pytest.mark.parametrize("camera, said", [
    (None, ""),
    (RingCamera("unknown"), "the height of its camera is not known"),
    (RingCamera("outlines", 0.254, 0.031, 6.2), "camera about 0.25, give or take 0.03, of the model's height above the "
                                                "ground, tilted up 6 degrees; found from the outlines"),
    (RingCamera("outlines", 0.6, None, -0.4), "camera about 0.60 of the model's height above the ground, held level; "
                                              "found from the outlines"),
    (RingCamera("given", 1.4, None, -16.0, height_m=2.4), "camera 2.40 m above the ground, tilted down 16 degrees; as "
                                                          "given"),
    (RingCamera("given", height_m=0.4), "camera 0.40 m above the ground; as given"),
])
def test_where_a_camera_stood_is_said_as_far_as_it_is_known(camera: RingCamera | None, said: str) -> None:
    assert words_rings.camera(camera) == said


def test_one_height_in_metres_tells_all_the_others(rings_at: Callable[..., Pose]) -> None:
    pose = rings_at()
    cameras = {"low": RingCamera("outlines", 0.26, 0.02), "level": RingCamera("given", 0.6, height_m=1.02),
               "high": RingCamera("outlines", 1.3)}
    pose = replace(pose, camera=cameras["level"],
                   other_rings=tuple(replace(one, camera=cameras[one.ring]) for one in pose.other_rings))
    text = " ".join(table.score_table(pose).split())
    assert "Level ring: camera 1.02 m above the ground; as given" in text
    assert "Low ring, from below: camera about 0.44 m above the ground, give or take 0.03; found" in text
    assert "from above: camera about 2.21 m above the ground; found" in text
    assert "Take a close-up from 45 degrees, at 1.19 m, chest height." in text


@pytest.mark.parametrize("height, stature, said", [
    (0.05, None, "at foot height"), (0.3, None, "at knee height"), (0.5, None, "at hip height"),
    (0.62, None, "at waist height"), (0.72, 1.7, "at 1.22 m, chest height"), (0.95, None, "at head height"),
    (1.3, None, "over the head"), (1.3, 1.7, "at 2.21 m, over the head"),
])
def test_a_height_is_told_by_the_body_and_in_metres_where_they_are_known(
    height: float, stature: float | None, said: str
) -> None:
    assert words_rings.at_height(height, stature) == said


def test_nothing_of_rings_is_said_to_who_has_one(pose_at: Callable[..., Pose], odd_pose: Pose) -> None:
    for pose in (pose_at("akimbo", 12), odd_pose, replace(pose_at("akimbo", 12), ring="low")):
        for text in (table.score_table(pose), table.rank_table(Ranking((pose,)))):
            assert not re.search(r"\bring|\bclose-up|blind|from (below|above)|camera", text)


def test_no_blind_spot_is_good_news_and_not_known_is_none(rings_at: Callable[..., Pose]) -> None:
    pose = rings_at()
    assert words_rings.CLEAR_ALL in " ".join(table.score_table(replace(pose, blind_spots=())).split())
    unknown = table.score_table(replace(pose, blind_spots=None))
    assert "stands clear" not in unknown.split("Close-ups")[0].rsplit("why", 1)[-1]
