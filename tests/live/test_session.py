"""A live turn without server, socket and file: what is taken, when, and what is said."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from silhouette.live import session as sessions
from silhouette.live.messages import Frame, Order, StopsTold, WheelStop
from silhouette.live.session import Session
from silhouette.records import Pixels
from tests.live.playing import CLIPS, SIZE, WALL, DrawnLooker, Page, Turning, begun, camera, drawn, noisy, score, truth

ROOM = np.full((SIZE[1], SIZE[0], 3), WALL, np.uint8)


def at(time: float, pixels: Pixels, number: int) -> Frame:
    return Frame(number, time, pixels, pixels.shape[1::-1])


# ------------------------------------------------------------------------------------------------ the clips as cameras


@pytest.mark.parametrize(("name", "hz", "jitter"), [("steady", 12, 0.3), ("droop", 10, 0.3), ("gap_and_short", 8, 0.2)])
def test_the_stops_of_a_clip_are_taken_each_inside_its_hold_and_none_twice(name: str, hz: float, jitter: float) -> None:
    path = CLIPS / f"{name}.mp4"
    page = Page(begun(), busy=lambda number: number % 2 == 1)  # as on a computer that sees every second frame only
    played = page.play(camera(path, hz, jitter=jitter))
    found = score(played.taken, truth(path))
    assert found.share >= 0.96
    assert not found.outside and not found.twice and not played.too_late
    assert not played.troubles() and not played.said("moved")
    assert (played.session.state == "closed") == (name != "gap_and_short")
    assert all(seen.stops <= after.stops for seen, after in pairwise(played.seen))
    looked = [seen for seen in played.seen if not seen.skipped]
    assert all(seen.path and seen.band and seen.reason and 0 <= (seen.readability or -1) <= 100 for seen in looked)
    assert {seen.state for seen in played.seen} >= {"live", "hold"}
    assert played.session.course is not None and len(played.session.course.names) == len(played.taken)
    assert [stop.name for stop in played.wheel] == [f"stop_{k + 1:02d}" for k in range(len(played.wheel))]


def test_a_second_figure_is_told_and_nothing_is_taken_by_itself() -> None:
    both = ((time, np.hstack([one, one])) for time, one in camera(CLIPS / "steady.mp4", 6, until=3.0))
    played = Page(begun()).play(both)
    assert "two figures" in played.troubles()
    assert not played.taken


def test_feet_that_are_cut_off_are_told_and_nothing_is_taken_by_itself() -> None:
    shown = [(time, np.ascontiguousarray(one[:540])) for time, one in camera(CLIPS / "steady.mp4", 6, until=3.0)]
    session = begun()
    played = Page(session).play(shown)
    assert "feet cut off" in played.troubles() and not played.taken
    assert len(played.said("out of frame")) <= 1 and not played.said("ready")  # not at every frame
    session.order(Order("take"))
    assert session.see(at(4.0, shown[-1][1], 900)).take == 900


# ------------------------------------------------------------------------------------------------------- a drawn figure


@pytest.mark.parametrize("hz", [8.0, 12.0, 15.0])
@pytest.mark.parametrize(("hold", "move"), [(0.7, 0.4), (3.0, 0.6), (6.0, 1.5)])
def test_short_and_long_holds_are_taken_once_each(hz: float, hold: float, move: float) -> None:
    turn = Turning(4, hold=hold, move=move, sway=0.006)
    played = Page(begun(DrawnLooker(), stops=12)).play(turn.frames(hz, jitter=0.3, noise=3.0))
    found = score(played.taken, turn.holds())
    assert found.share == 1 and not found.outside and not found.twice


def test_a_slow_turn_without_pauses_is_not_taken_for_holds() -> None:
    shown = ((k / 12, drawn(k / 12 * 18)) for k in range(12 * 12))
    played = Page(begun(DrawnLooker())).play(shown)
    assert len(played.taken) <= 1


def test_somebody_who_walks_through_is_not_taken() -> None:
    turn = Turning(8, hold=1.2)

    def shown() -> object:
        for time, pixels in turn.frames():
            walks = 0.1 + 0.25 * (time - 2.0)
            yield time, drawn(90, at=walks, tall=0.65, base=pixels) if 2.0 <= time <= 5.5 else pixels

    played = Page(begun(DrawnLooker(), stops=12)).play(shown())  # type: ignore[arg-type]
    found = score(played.taken, turn.holds())
    assert not found.twice
    assert not [time for time in played.taken if 2.1 <= time <= 5.4]
    assert found.share >= 0.5
    assert "two figures" in played.troubles()


def test_nobody_gives_no_stop_and_one_tone_only_after_somebody_was_there() -> None:
    rng = np.random.default_rng(0)
    played = Page(begun(DrawnLooker())).play([(k / 12, noisy(ROOM, 2, rng)) for k in range(40)])
    assert not played.taken and played.troubles() == {"nobody"} and not played.signals
    turn = Turning(3)
    shown = [*turn.frames(), *((turn.length + 0.1 + k / 12, noisy(ROOM, 2, rng)) for k in range(60))]
    played = Page(begun(DrawnLooker())).play(shown)
    assert len(played.taken) == 3 and len(played.said("out of frame")) == 1


def test_no_frame_at_all() -> None:
    session = begun(DrawnLooker())
    assert session.state == "no-camera"
    assert not session.order(Order("undo"))[0].loud
    assert session.order(Order("take")) != ()
    assert Page(session).play([]).seen == []


def test_who_steps_into_the_frame_has_time_to_take_up_the_pose() -> None:
    turn = Turning(3, hold=2.0, start=0.0)
    shown = [(k / 12, ROOM) for k in range(12)]
    shown += [(1 + time, pixels) for time, pixels in turn.frames()]
    played = Page(begun(DrawnLooker())).play(shown)
    assert len(played.taken) == 3
    assert played.taken[0] >= 1 + sessions.STEP_IN_HOLD_S - 0.3


def test_a_twitch_or_a_limb_moved_and_put_back_gives_no_second_still() -> None:
    shown = list(Turning(2).frames())
    last = shown[-1][0]
    for k in range(1, 72):
        away = 15 + (12 * np.sin((k - 20) / 12 * np.pi) if 20 <= k <= 32 else 0)  # a second of turning away and back
        shown.append((last + k / 12, drawn(float(away))))
    played = Page(begun(DrawnLooker())).play(shown)
    assert len(played.taken) == 2


# -------------------------------------------------------------------------------------------------------------- orders


def test_nothing_is_taken_before_a_turn_is_begun() -> None:
    session = Session(looker=DrawnLooker())
    assert session.see(at(0.0, drawn(0), 0)).state == "empty-room"
    session.order(Order("skip empty"))
    played = Page(session, number=1).play((time + 1, pixels) for time, pixels in Turning(3).frames())
    assert not played.taken and played.seen[-1].state == "hold"


def test_the_empty_picture_is_taken_when_nobody_is_there_and_nothing_moves() -> None:
    session = Session()
    session.order(Order("begin", pose="p"))
    person = [pixels for _, pixels in camera(CLIPS / "steady.mp4", 6, until=1.0)]
    assert session.see(at(0.0, person[0], 0)).state == "empty-room"
    session.order(Order("empty"))
    room = np.full_like(person[0], 150)
    shown = [(1 + k / 6, person[k % len(person)]) for k in range(6)]
    shown += [(2 + k / 6, room) for k in range(8)]
    played = Page(session, number=1).play(shown)
    taken = [seen for seen in played.seen if seen.take is not None]
    assert [seen.take_as for seen in taken] == ["empty"]
    assert taken[0].captured > 2.4 and taken[0].state == "empty-room"
    assert all(seen.reason for seen in played.seen[:5])  # says to step out
    assert played.said("empty taken") and session.state == "live" and session.looker.room is not None
    session.order(Order("begin", pose="another"))
    assert session.state == "live"  # the camera stands where it stood


def test_a_stop_can_be_taken_by_hand_while_the_model_moves() -> None:
    session = begun(DrawnLooker())
    for number in range(6):
        assert session.see(at(number / 12, drawn(number * 5), number)).take is None
    session.order(Order("take"))
    assert session.see(at(0.6, drawn(35), 6), quick=True).take == 6
    assert session.see(at(0.7, drawn(40), 7)).take is None
    session.order(Order("take"))
    seen = session.see(at(0.8, ROOM, 8))
    assert seen.take is None and seen.signals[0].words


def test_a_pause_takes_nothing_by_itself_and_what_is_paused_goes_on() -> None:
    session, turn = begun(DrawnLooker()), Turning(6)
    half = turn.length / 2
    page = Page(session)
    shown = list(turn.frames())
    session.order(Order("pause"))
    assert not page.play(s for s in shown if s[0] < half).taken
    session.order(Order("go on"))
    assert page.play(s for s in shown if s[0] >= half).taken


def test_a_stop_that_is_taken_back_is_taken_again_after_a_move() -> None:
    session, turn = begun(DrawnLooker()), Turning(2, hold=1.5)
    page = Page(session)
    played = page.play(turn.frames())
    assert len(played.taken) == 2 and session.course is not None
    assert session.order(Order("undo")) and session.course.names == ["stop_01"]
    time = turn.length
    still = [(time + k / 12, drawn(15)) for k in range(1, 20)]
    assert not page.play(still).taken
    moved = [(time + 1.7 + k / 12, drawn(15 + (10 if k < 6 else 0))) for k in range(30)]
    again = page.play(moved)
    assert len(again.taken) >= 1 and session.course.names[:2] == ["stop_01", "stop_02"]


def test_a_still_that_does_not_arrive_is_taken_again_in_the_same_hold() -> None:
    played = Page(begun(DrawnLooker())).play(Turning(3, hold=2.0).frames(), fails=[1])
    assert len(played.taken) == 4 and len(played.said("moved")) == 1
    assert len(played.wheel) == 3


def test_a_still_that_never_comes_is_given_up() -> None:
    session = begun(DrawnLooker())
    shown = [(k / 12, drawn(0)) for k in range(12 * 14)]
    taken = [seen.take for k, (time, pixels) in enumerate(shown) if (seen := session.see(at(time, pixels, k))).take]
    assert len(taken) == 2


def test_turn_on_is_said_once_a_stop_is_kept_and_only_to_who_waits() -> None:
    waits = Page(begun(DrawnLooker())).play(Turning(4, hold=2.5).frames())
    assert len(waits.said("turn on")) == 4
    kinds = [signal.kind for signal in waits.signals if signal.kind in ("taken", "turn on")]
    assert kinds == ["taken", "turn on"] * 4
    quick = Page(begun(DrawnLooker())).play(Turning(4, hold=0.8).frames())
    assert len(quick.said("taken")) == 4 and not quick.said("turn on")[:-1]


def test_a_stop_left_too_soon_is_told_once() -> None:
    def shown() -> object:
        for k in range(60):
            time = k / 12
            angle = 0.0 if k < 14 else min((k - 14) * 4, 16) if k < 21 else min(16 + (k - 21) * 4, 60)
            yield time, drawn(angle)

    played = Page(begun(DrawnLooker())).play(shown())  # type: ignore[arg-type]
    assert len(played.said("moved")) == 1


def test_rest_is_called_for_and_forgotten_after_a_break(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sessions, "RAISED_S", 5.0)
    session = begun(DrawnLooker(), raised=True)
    page = Page(session)
    played = page.play((k / 12, drawn(0)) for k in range(12 * 8))
    assert len(played.said("rest")) == 1
    assert played.seen[-1].rest_in == pytest.approx(5.0 - 8.0, abs=0.7)
    session.order(Order("pause"))
    session.order(Order("go on"))
    assert page.play([(8.1, drawn(0))]).seen[-1].rest_in is None


# --------------------------------------------------------------------------------------------------- the circle closed


def told(count: int, **more: object) -> StopsTold:
    stops = tuple(WheelStop(f"stop_{k + 1:02d}", k * 15.0, "fair", "M0 0z") for k in range(count))
    return StopsTold(stops, **more)  # type: ignore[arg-type]


def test_the_circle_is_closed_where_the_bench_says_so_and_nothing_is_taken_then() -> None:
    session, turn = begun(DrawnLooker(), stops=24), Turning(8)
    page, shown = Page(session), list(turn.frames())
    page.play(s for s in shown if s[0] < 5)
    signals = session.told(told(4, closes=True, turned=358.0))
    assert [signal.kind for signal in signals] == ["closed"] and session.state == "closed"
    assert not page.play(s for s in shown if s[0] >= 5).taken
    assert [signal.kind for signal in session.order(Order("close"))] == []
    session.order(Order("undo"))
    assert session.state == "live"


def test_without_angles_the_number_of_stops_closes_it() -> None:
    played = Page(begun(DrawnLooker(), stops=6)).play(Turning(9, step=9).frames())
    assert len(played.taken) == 7 and played.session.state == "closed" and len(played.said("closed")) == 1


def test_with_angles_short_of_a_full_turn_it_stays_open() -> None:
    session = begun(DrawnLooker(), stops=6)
    page, shown = Page(session), list(Turning(9, step=9).frames())
    played = page.play(s for s in shown if s[0] < 8.2)
    session.told(told(len(played.wheel), turned=70.0))
    assert session.state != "closed"
    assert session.order(Order("close"))[0].kind == "closed"


def test_the_angle_is_that_of_the_newest_stop_and_runs_on_by_the_planned_step() -> None:
    session = begun(DrawnLooker(), stops=24)
    page, shown = Page(session), list(Turning(6).frames())
    early = page.play(s for s in shown if s[0] < 5)
    assert early.seen[-1].angle is None
    session.told(told(4, turned=45.0))
    later = page.play(s for s in shown if s[0] >= 5)
    assert later.seen[0].angle == 45.0 and later.seen[0].wheel is not None
    assert [seen.wheel for seen in later.seen[1:3]] == [None, None]
    assert later.seen[-1].angle == pytest.approx(45.0 + 15 * (later.seen[-1].stops - 4))


def test_a_pose_that_has_stops_already_goes_on_with_them() -> None:
    session = Session(looker=DrawnLooker())
    session.order(Order("begin", pose="p", stops=24))
    assert session.kept_empty(ROOM) == ()  # it lay there already
    session.told(told(9, turned=120.0))
    played = Page(session, number=1).play(Turning(2, hold=2.0).frames())
    assert played.seen[0].stops == 9 and played.seen[-1].stops == 11
    assert [stop.name for stop in played.wheel][-2:] == ["stop_10", "stop_11"]


def test_a_pose_that_differs_is_told_once_for_each_stop() -> None:
    session = begun(DrawnLooker())
    Page(session).play(Turning(4).frames())
    first = session.told(told(4, moved=("stop_04",), moved_words="Arms 4 % lower than at the first stops."))
    assert [(s.kind, s.words) for s in first] == [("pose differs", "Arms 4 % lower than at the first stops.")]
    assert session.told(told(4, moved=("stop_04",), moved_words="Arms 4 % lower.")) == ()
    session.order(Order("begin", pose="earlier"))
    assert session.told(told(4, moved=("stop_04",), moved_words="Arms 4 % lower.")) == ()  # those of an earlier day


def test_a_frame_tells_the_size_that_the_path_is_in_and_when_it_was_taken() -> None:
    session = begun(DrawnLooker())
    seen = session.see(at(3.5, drawn(0), 7))
    assert (seen.frame, seen.size, seen.captured) == (7, SIZE, 3.5)
    assert seen.path and seen.path.startswith("M")
    xs = [float(v) for v in seen.path[1:].split("l")[0].split()[:2]]
    assert 0 < xs[0] < SIZE[0] and 0 < xs[1] < SIZE[1]


def test_the_empty_picture_is_taken_of_a_restless_room_too_and_by_hand_of_any(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(4)
    windy = [(k / 12, np.where(np.arange(SIZE[0])[None, :, None] < 60, rng.integers(0, 255), ROOM).astype(np.uint8))
             for k in range(72)]
    session = Session()
    session.order(Order("begin", pose="p"))
    session.see(at(-0.1, ROOM, 0))
    session.order(Order("empty"))
    played = Page(session, number=1).play(windy)
    assert [seen.take_as for seen in played.seen if seen.take is not None] == ["empty"]
    assert next(seen.captured for seen in played.seen if seen.take is not None) >= sessions.RESTLESS_S
    monkeypatch.setattr(sessions.looking, "somebody", lambda pixels: True)
    session.order(Order("empty"))
    assert session.see(at(7.0, ROOM, 900)).take is None
    session.order(Order("take"))
    assert session.see(at(7.1, ROOM, 901)).take_as == "empty"


def test_an_empty_picture_that_does_not_arrive_is_taken_again() -> None:
    session = Session()
    session.order(Order("begin", pose="p"))
    session.order(Order("empty"))
    shown = [(k / 12, ROOM) for k in range(40)]
    taken = []
    for number, (time, pixels) in enumerate(shown):
        seen = session.see(at(time, pixels, number))
        if seen.take is not None:
            taken.append(seen.take)
            session.lost_stop(seen.take)
    assert len(taken) >= 2 and session.state == "empty-room"


def test_orders_in_any_order_leave_a_session_that_goes_on() -> None:
    rng = np.random.default_rng(7)
    session = Session(looker=DrawnLooker())
    orders = ["begin", "take", "undo", "empty", "skip empty", "pause", "go on", "ghost", "want", "close"]
    kept = 0
    for number in range(400):
        if rng.random() < 0.15:
            stops = [f"stop_{k:02d}" for k in rng.integers(1, 5, 3)]
            session.order(Order(str(rng.choice(orders)), pose="p", stop=stops[0],  # type: ignore[arg-type]
                                stops_wanted=({"instead": stops[1]}, {"after": stops[2]}, {"x": None}, {"after": 5})))
        shown = ROOM if rng.random() < 0.05 else drawn(15.0 * (number // 12))
        seen = session.see(at(number / 12, shown, number), quick=rng.random() < 0.3)
        assert seen.plain()["frame"] == number
        if seen.take is not None and seen.take_as == "empty":
            session.kept_empty(ROOM)
        elif seen.take is not None and rng.random() < 0.7:
            kept += 1
            session.kept_stop(seen.take, seen.take_instead or f"stop_{kept:02d}")
        elif seen.take is not None:
            session.lost_stop(seen.take)
    session.order(Order("begin", pose="q"))
    session.order(Order("skip empty"))
    played = Page(session, number=1000).play((100 + time, pixels) for time, pixels in Turning(3).frames())
    assert len(played.taken) == 3


@pytest.mark.parametrize("size", [(1, 1), (1, 640), (640, 1), (3, 500), (40, 640)])
def test_frames_of_any_size_and_time_are_answered(size: tuple[int, int]) -> None:
    session = begun()
    rng = np.random.default_rng(1)
    for number, time in enumerate((0.0, 0.08, 0.08, -5.0, 1e9, 1e9 + 0.1)):
        pixels = rng.integers(0, 255, (*size, 3)).astype(np.uint8)
        assert session.see(at(time, pixels, number)).frame == number


def test_who_holds_long_may_stop_half_way_for_a_moment() -> None:
    turn = Turning(4, hold=2.5)
    shown = list(turn.frames())
    last, time = shown[-1][0], 0.0
    for k in range(1, 60):  # half a step, half a second of calm, the other half, and a hold
        time = k / 12
        angle = 45 + (min(time / 0.25, 1) + min(max(time - 0.75, 0) / 0.25, 1)) * 7.5
        shown.append((last + time, drawn(angle)))
    played = Page(begun(DrawnLooker())).play(shown)
    assert len(played.taken) == 5 and played.taken[-1] > last + 1.0


def test_who_turns_more_briskly_after_long_holds_loses_one_stop_at_most() -> None:
    slow, brisk = Turning(4, hold=3.0), Turning(9, hold=0.75)
    shown = list(slow.frames())
    last = shown[-1][0]
    holds = [{"start": h["start"] + last, "end": h["end"] + last} for h in brisk.holds()]
    shown += [(last + t, drawn(45 + brisk.angle(t))) for t in (k / 12 for k in range(1, int(brisk.length * 12)))]
    found = score(Page(begun(DrawnLooker())).play(shown).taken, [*slow.holds(), *holds[1:]])
    assert found.share >= 11 / 12 and not found.twice
