"""Which ring counts for a viewer: eye and plinth as a person would measure them, cameras where they stood."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from silhouette.reading import ring_choice
from silhouette.reading.circle import walk_round
from silhouette.records import Note, Pose, PoseRing, RingCamera
from silhouette.settings import Ring, Settings
from silhouette.show import words


def ring(name: Ring, camera: RingCamera | None = None) -> PoseRing:
    return PoseRing(name, (), walk_round(()), None, None, camera)


LOW, LEVEL, HIGH = ring("low"), ring("level"), ring("high")
ALL = (LOW, LEVEL, HIGH)


def test_without_a_viewer_the_level_ring_counts_and_nothing_is_said() -> None:
    assert ring_choice.headline(ALL, Settings()) == (LEVEL, [])
    assert ring_choice.headline((LOW, HIGH), Settings()) == (LOW, [])
    assert ring_choice.headline((HIGH,), Settings()) == (HIGH, [])


@pytest.mark.parametrize("eye, plinth, counts", [
    (1.6, 0.0, "level"),  # beside the figure: the eye at its shoulder
    (1.6, 0.5, "level"),  # at its waist
    (1.6, 1.2, "low"),  # at its knee
    (1.6, 1.8, "low"),  # below its feet
    (3.0, 0.5, "high"),  # from a gallery
])
def test_the_higher_the_plinth_the_lower_the_ring(eye: float, plinth: float, counts: Ring) -> None:
    found, notes = ring_choice.headline(ALL, Settings(seen_from=eye, stands_on=plinth))
    assert found.ring == counts
    assert [note.kind for note in notes] == ["ring counts"]
    assert notes[0]["eye"] == pytest.approx(eye - plinth) and notes[0]["known"] is False


@pytest.mark.parametrize("shot, eye, plinth, nearest", [
    ((LEVEL,), 1.6, 2.4, "level"),  # from under the feet, and no low ring
    ((LEVEL,), 3.4, 0.2, "level"),
    ((LEVEL, HIGH), 1.6, 3.0, "level"),
    (ALL, 1.6, 4.0, "low"),  # a column: no camera stood so low
    (ALL, 6.0, 0.0, "high"),  # a gallery: none stood so high
])
def test_where_none_was_shot_from_there_the_nearest_counts_with_a_warning(
    shot: tuple[PoseRing, ...], eye: float, plinth: float, nearest: Ring
) -> None:
    found, (note,) = ring_choice.headline(shot, Settings(seen_from=eye, stands_on=plinth))
    assert found.ring == nearest and note.kind == "ring wanted" and note["counts"] == nearest
    said = words.note(note)
    assert "no ring shows it" in said and f"the {nearest} ring is nearest" in said and "life size" in said


def test_a_pose_of_one_ring_is_told_too_since_somebody_asked() -> None:
    (note,) = ring_choice.headline((LEVEL,), Settings(seen_from=1.6))[1]
    assert words.note(note).startswith("Seen from 1.60 m above its feet, the level ring counts (lens taken to be at ")


def test_where_the_cameras_stood_goes_before_what_their_rings_are_called() -> None:
    low, level = ring("low", RingCamera("given", height_m=1.0)), ring("level", RingCamera("given", height_m=1.9))
    found, (note,) = ring_choice.headline((low, level), Settings(seen_from=1.1))
    assert found is low and note["lens"] == 1.0 and note["known"] is True
    found, (note,) = ring_choice.headline((low, level), Settings(seen_from=1.8))
    assert found is level and "lens at about 1.90 m" in words.note(note)


def test_of_two_rings_shot_from_one_height_the_name_decides() -> None:
    level, high = ring("level", RingCamera("given", height_m=1.05)), ring("high", RingCamera("given", height_m=1.0))
    for shot in ((level, high), (high, level)):
        assert ring_choice.headline(shot, Settings(seen_from=0.4))[0] is level
        assert ring_choice.headline(shot, Settings(seen_from=3.0))[0] is high


def test_a_height_found_from_the_outlines_is_a_share_of_a_usual_model() -> None:
    seen = ring("high", RingCamera("outlines", height=1.0, distance=2.4))
    assert ring_choice.lens_m(seen, Settings()) == (1.7, True)
    assert ring_choice.lens_m(seen, Settings(camera_height={"high": 2.5})) == (2.5, True)
    assert ring_choice.lens_m(LEVEL, Settings(camera_height=1.2)) == (1.2, True), "of a pose of one ring"
    assert ring_choice.lens_m(LOW, Settings())[1] is False


def test_from_far_off_a_height_matters_less() -> None:
    asked = Settings(seen_from=2.6)
    near, far = (ring("level", RingCamera("given", 0.6, distance=away, height_m=1.05)) for away in (1.2, 12.0))
    assert ring_choice.headline((near,), asked)[1][0].kind == "ring wanted"
    assert ring_choice.headline((far,), asked)[1][0].kind == "ring counts"


def pose(name: str, of: Ring) -> Pose:
    return Pose(name, Path(name), (), walk_round(()), None, None, ring=of)


def test_a_pose_that_lacks_the_ring_of_the_others_is_compared_and_says_so() -> None:
    poses = [pose("hauling", "level"), pose("lookout", "low"), pose("waiting", "level")]
    told = ring_choice.compared(poses)
    assert [one.notes for one in told] == [(), (Note.of("ring differs", ring="level", has="low", lacks=True),), ()]
    assert words.note(told[1].notes[0]) == (
        "It has no level ring: its low ring is compared with the level ring of the others.")
    both = replace(poses[1], other_rings=(LEVEL,))
    assert words.note(ring_choice.compared([poses[0], both, poses[2]])[1].notes[0]) == (
        "Its low ring is compared with the level ring of the others.")
    assert ring_choice.compared([replace(one, ring="high") for one in poses]) == [
        replace(one, ring="high") for one in poses]
    assert ring_choice.compared([pose("a", "low"), pose("b", "level")])[0].notes, "as many of each: level counts"
    assert ring_choice.compared([]) == []
