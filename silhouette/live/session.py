"""One live turn as a course of decisions: frames and orders go in, answers come out. No socket, no file, no clock.

Time is that of the frames, so a clip decoded by a test goes through it as a camera would.

What a frame leads to: ``stillness.py`` says whether the model moves, ``looking.py`` cuts the figure out, ``framing.py``
says what is wrong with where it stands, ``course.py`` knows the stops of the turn; here it is decided when a still is
taken and what is said.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from statistics import median
from typing import Literal

from silhouette.live import looking
from silhouette.live.asked import Asked
from silhouette.live.course import Course, Taken
from silhouette.live.framing import Framing, trouble_of
from silhouette.live.looking import Look, Looker, Verdict
from silhouette.live.messages import KEPT, Frame, Order, Seen, Signal, SignalKind, State, StopsTold
from silhouette.live.stillness import HOLD_S, Moment, Stillness, Thumb
from silhouette.records import Pixels
from silhouette.show import words_live

ON_THE_WAY = 3
"""Frames that the page may have sent since the one that is answered: of those it keeps, so many are newer."""
STEP_IN_HOLD_S = 1.2
"""Seconds of calm that make the first hold after the model stepped into the frame: they are still taking up the
pose."""
OF_HELD, MOST_HOLD_S, HELD = 0.3, 0.9, 5
"""A hold is found after this share of what the shortest of the last ones lasted, and after so many seconds at most: who
holds for two or three seconds may stop half way for a moment. How many are remembered; one alone tells nothing, as a
model takes their time with the first."""
EMPTY_HOLD_S, RESTLESS_S = 0.5, 3.0
"""Seconds for which the empty room must have been still; and for which nobody must have been in it where it never is,
as with a curtain or a tree before the window."""
OFF, OF_USUAL = 0.003, 0.2
"""How far the edges must lie from those of the last stop, sway apart, for the model to have turned: figure heights, and
share of what is usual from stop to stop."""
READ_S, READ_MOVING_S = 0.24, 0.6
"""Seconds from one reading of the outline to the next, while the model holds still and while they move: words that
change faster cannot be read."""
TURN_ON_S = 0.5
"""Seconds between the tone for a kept stop and the one that says to turn on; who turns by themselves is not told."""
CALM_S, BROKEN_S = 0.2, 0.2
"""A calm of so many seconds that ended before a hold was found, and the motion after it that is no twitch: the model
moved too soon."""
SCOLD_S = 4.0
"""Seconds until it is said again."""
PATIENCE_S = 10.0
"""Seconds after which a still that was asked for is given up."""
LOOKED_S = 0.3
"""A look older than this, seconds, is not relied on to take a stop."""
REST_S, RAISED_S = 20 * 60.0, 90.0
"""Seconds of posing until a break: 20 minutes, and with raised arms a minute or two."""
RESTED_S, ARMS_RESTED_S = 60.0, 20.0
"""Seconds out of the frame that are a break; and for arms."""
REMIND_S = 60.0
"""Seconds until a break that is due is called for again."""

Need = Literal["turn", "move", "other picture", "nothing"]
"""What there must have been since the last stop for the next hold to be one: the model has turned; has moved, however
little (the last stop was taken back); the picture is another one (the last one was lost); nothing (a new course)."""


@dataclass
class Rest:
    """How long the model has posed."""

    raised: bool = False
    since: float | None = None
    away: float | None = None
    told: float | None = None

    @property
    def after(self) -> float:
        """Seconds of posing until a break."""
        return RAISED_S if self.raised else REST_S

    def left(self, now: float) -> float | None:
        """Seconds until the next break, None before the pose was held for the first time."""
        return None if self.since is None else self.after - (now - self.since)

    def see(self, somebody: bool, now: float) -> bool:
        """Whether a break is to be called for now."""
        if somebody:
            self.away = None
        elif self.away is None:
            self.away = now
        elif now - self.away >= (ARMS_RESTED_S if self.raised else RESTED_S):
            self.since = None
        left = self.left(now)
        due = left is not None and left <= 0 and (self.told is None or now - self.told >= REMIND_S)
        if due:
            self.told = now
        return due

    def begin(self, now: float) -> None:
        """The pose is held."""
        if self.since is None:
            self.since, self.told = now, None


@dataclass
class Session:
    """What is known of the turn that is being shot. Not safe for threads: the stage has one for it."""

    state: State = "no-camera"
    looker: Looker = field(default_factory=Looker)
    still: Stillness = field(default_factory=lambda: Stillness(KEPT - ON_THE_WAY))
    framing: Framing = field(default_factory=Framing)
    rest: Rest = field(default_factory=Rest)
    asked: Asked = field(default_factory=Asked)
    course: Course | None = None
    """The turn; None until one was begun: then nothing is taken."""
    paused: bool = False
    _now: float = 0.0
    _look: Look | None = None
    _looked: float = -1.0
    _verdict: Verdict | None = None
    _read: float = -1.0
    _empty: str = "open"
    """``open`` until it was asked for or done without; ``wanted``; ``asked`` while its picture comes; ``done``."""
    _empty_asked: tuple[int, float] = (-1, 0.0)
    """The frame whose picture is to be the empty one, and when it was asked for, seconds."""
    _nobody_since: float | None = None
    _by_hand: bool = False
    _stepped_in: bool = False
    """Whether the model came into the frame since the last stop."""
    _need: Need = "nothing"
    _reference: Thumb | None = None
    """The stop that the model must have turned away from."""
    _seeks: bool = True
    """Whether the pose is being taken up: an earlier outline that is laid over the live one must sit first."""
    _usual: list[float] = field(default_factory=list)
    _held: deque[float] = field(default_factory=lambda: deque(maxlen=HELD))
    """How long the last holds with a stop in them lasted, seconds."""
    _took_at: float | None = None
    """When the stop of this hold was taken, seconds."""
    _way: float = 0.0
    """How far the edges have moved since the last stop, figure heights added up."""
    _ready: bool = False
    _turn_on: float | None = None
    _broken: float | None = None
    _scolded: float = -SCOLD_S
    _moved: set[str] = field(default_factory=set)
    _wheel_new: bool = False
    _signals: list[Signal] = field(default_factory=list)

    # ------------------------------------------------------------------------------------------------------- frames

    def see(self, frame: Frame, *, quick: bool = False) -> Seen:
        """Look at one frame and decide.

        Parameters
        ----------
        frame : Frame
            Newer than all before it.
        quick : bool
            A newer one is waiting: look only whether the model moves. A stop that is due is looked at all the same.
        """
        self._now = frame.seconds
        calm_before = self.still.calm_since
        moment = self.still.feed(frame.number, frame.seconds, frame.pixels)
        self._way += moment.speed * moment.before if self.still.moving else 0.0
        if self.state == "no-camera":
            self.state = "empty-room"
        if self.state == "empty-room" and self._empty == "done":
            self.state = "live"
        seen = Seen(frame.number, self.state, skipped=quick, size=frame.pixels.shape[1::-1], moving=self.still.moving,
                    captured=frame.seconds)
        if self.state == "empty-room" and self._empty != "open":
            return self._answer(self._see_empty_room(frame, seen))
        due = self._due()
        looked = not quick or due
        if looked:
            self._look_at(frame, thorough=due)
        self._give_up()
        if looked:
            seen = self._shown(frame, seen)
        if self.state in ("live", "hold"):
            seen = self._decide(moment, seen, due, calm_before)
        elif self._by_hand:
            seen = self._take_by_hand(moment, seen)
        return self._answer(seen)

    def _see_empty_room(self, frame: Frame, seen: Seen) -> Seen:
        """Wait until nobody is in the frame and nothing moves, then take the empty picture."""
        if self._empty == "asked":
            if frame.seconds - self._empty_asked[1] > PATIENCE_S:
                self._empty = "wanted"
            return seen
        by_hand, self._by_hand = self._by_hand, False
        if not by_hand:
            if looking.somebody(frame.pixels):
                self.still.calm_since = self._nobody_since = None
                return replace(seen, reason=words_live.STEP_OUT)
            self._nobody_since = frame.seconds if self._nobody_since is None else self._nobody_since
            if not self.still.holds(EMPTY_HOLD_S) and frame.seconds - self._nobody_since < RESTLESS_S:
                return seen
        take = self.still.stillest().number
        self._empty, self._empty_asked = "asked", (take, frame.seconds)
        return replace(seen, take=take, take_as="empty")

    def _look_at(self, frame: Frame, *, thorough: bool) -> None:
        look = self.looker.look(frame.pixels, thorough=thorough)
        self._look, self._looked = look, frame.seconds
        self.still.about(look.mask if look.somebody else None)
        if look.line is None:
            self._verdict = None
            self.asked.see(None, None, frame.seconds)
        elif self._reading_is_due(frame.seconds):
            self._verdict, self._read = looking.read(look.line), frame.seconds
            self.asked.see(look.line, self._verdict.body, frame.seconds)

    def _reading_is_due(self, now: float) -> bool:
        if self._verdict is None or ((self.asked.wanted or self.asked.seeks) and self._due()):
            return True
        return not 0 <= now - self._read < (READ_MOVING_S if self.still.moving else READ_S)

    def _shown(self, frame: Frame, seen: Seen) -> Seen:
        """What the look shows: path, band, trouble."""
        look = self._look
        assert look is not None
        trouble = self.framing.see(trouble_of(look), frame.seconds, room_known=self.looker.room is not None)
        if self.framing.shown == "nobody":
            self._stepped_in = self._seeks = True
        if self.state in ("live", "hold") and self.course is not None and not self.paused:
            self._tell_framing(look, frame.seconds)
        verdict = self._verdict if look.trusted else None
        return replace(
            seen, path=look.path, trouble=trouble, ghost=self.asked.fit,
            band=None if verdict is None else verdict.band,
            readability=None if verdict is None else verdict.readability,
            reason="" if verdict is None else words_live.short(verdict.why))

    def _tell_framing(self, look: Look, now: float) -> None:
        kind = self.framing.tone(now)
        began = self._ready or (self.course is not None and bool(self.course.names))
        if kind is not None and began:
            words = words_live.signal("out of frame") if kind == "nobody" else words_live.TROUBLES[kind] + "."
            self._say("out of frame", words)
        if not self._ready and self.framing.clear(now) and self._empty == "done":
            self._ready = True
            self._say("ready")
        if self.rest.see(look.somebody, now):
            self._say("rest", words_live.rest(self.rest.raised))
        if self.asked.just_fits(now):
            self._say("fits")
            self._found_again()

    def _found_again(self) -> None:
        """The pose of a stop that is kept already has been taken up again: now the model turns on from it."""
        if self.asked.seeks and self._seeks and self.course is not None and self.course.names:
            self._seeks, self._stepped_in, self._need, self._reference = False, False, "turn", self.still.last.thumb
            self.still.mark()
            self._turn_on = self._now + TURN_ON_S

    # ---------------------------------------------------------------------------------------------------- decisions

    def _due(self) -> bool:
        """Whether a stop is to be taken now, if the figure is seen well enough."""
        if self._by_hand:
            return True
        if self.course is None or self.paused or self.state not in ("live", "hold"):
            return False
        return self.still.holds(STEP_IN_HOLD_S if self._stepped_in else self._hold_s()) and self._turned()

    def _hold_s(self) -> float:
        """Seconds of calm that make a hold of this model."""
        return min(max(HOLD_S, OF_HELD * min(self._held)), MOST_HOLD_S) if len(self._held) > 1 else HOLD_S

    def _turned(self) -> bool:
        """Whether the model has turned since the last stop, and not just twitched."""
        if self._need in ("turn", "move") and not self.still.has_moved():
            return False
        if self._reference is None or self._need in ("move", "nothing"):
            return True
        return self.still.off(self._reference) > (self._least_off() if self._need == "turn" else OFF)

    def _least_off(self) -> float:
        return max(OFF, OF_USUAL * median(self._usual)) if self._usual else OFF

    def _decide(self, moment: Moment, seen: Seen, due: bool, calm_before: float | None) -> Seen:
        self.state = "hold" if self.still.holds() and self._look is not None and self._look.somebody else "live"
        seen = replace(seen, state=self.state)
        if self._by_hand:
            return self._take_by_hand(moment, seen)
        if due and self._good_to_take():
            return self._take(self.still.stillest(), seen)
        self._watch_for_moved(calm_before)
        self._tell_turn_on()
        return seen

    def _good_to_take(self) -> bool:
        """Whether the figure is whole, alone and trusted, and the pose is the one that was asked for."""
        look = self._look
        if look is None or abs(self._now - self._looked) > LOOKED_S:
            return False
        sits = self.asked.accepts and not (self._seeks and self.asked.seeks and not self._fits())
        return look.somebody and look.trusted and not look.two and not look.edges and sits

    def _fits(self) -> bool:
        return self.asked.fit is not None and self.asked.fit.sits

    def _take_by_hand(self, moment: Moment, seen: Seen) -> Seen:
        self._by_hand = False
        if self.course is None or self._look is None or not self._look.somebody:
            self._say("out of frame", words_live.NO_FIGURE)
            return seen
        if moment.number in self.course.waiting:
            return seen
        return self._take(moment, seen)

    def _take(self, moment: Moment, seen: Seen) -> Seen:
        """Ask for the picture of this moment as the next stop."""
        assert self.course is not None and self._look is not None
        if self._reference is not None and self._need == "turn":
            self._usual.append(self.still.off(self._reference))
        taken = Taken(moment.number, moment.seconds, moment.thumb, self._look, self._verdict,
                      self._way if self.course.names or self.course.waiting else None, *self.asked.place())
        self.course.take(taken)
        self._need, self._reference, self._stepped_in, self._seeks = "turn", moment.thumb, False, False
        self._took_at = self._now
        self._way, self._broken, self._turn_on = 0.0, None, None
        self.still.mark()
        self.rest.begin(self._now)
        return replace(seen, take=moment.number, take_instead=taken.instead, take_after=taken.after,
                       take_moved=taken.moved)

    def _watch_for_moved(self, calm_before: float | None) -> None:
        """Say so where the model stood, and went on before the stop was taken."""
        if self.course is None or not self.course.names or self.paused:
            return
        calm = self.still.calm_since
        if calm_before is not None and calm is None:
            lasted = self._now - self.still.last.before - calm_before
            if self._took_at is not None and self._took_at > calm_before:
                self._held.append(lasted)
            self._took_at = None
            self._broken = self._now if CALM_S <= lasted < self._hold_s() and self.still.has_moved() else None
        elif calm is not None:
            self._broken = None
        if self._broken is not None and self._now - self._broken >= BROKEN_S:
            self._broken = None
            self._held.clear()  # perhaps they turn more briskly now
            if self._now - self._scolded >= SCOLD_S:
                self._scolded = self._now
                self._say("moved")

    def _tell_turn_on(self) -> None:
        if self._turn_on is None or self._now < self._turn_on:
            return
        self._turn_on = None
        if not self.still.has_moved() and not self.asked.wanted:
            self._say("turn on")

    def _give_up(self) -> None:
        """Stills that never came."""
        if self.course is None:
            return
        for frame, taken in list(self.course.waiting.items()):
            if self._now - taken.seconds > PATIENCE_S:
                self._signals.extend(self.lost_stop(frame))

    # ------------------------------------------------------------------------------------------------------- orders

    def order(self, order: Order) -> tuple[Signal, ...]:
        """Do what a person asked for.

        After ``begin`` the stage gives what the pose has already: :meth:`kept_empty` with its empty picture, and
        :meth:`told` with what the bench makes of its stops.
        """
        do = {
            "begin": self._begin, "empty": self._want_empty, "skip empty": self._skip_empty, "take": self._want_take,
            "undo": self._undo, "ghost": self._lay, "want": self._want, "close": self._close, "pause": self._pause,
            "go on": self._go_on,
        }.get(order.do)
        if do is not None:
            do(order)
        return self._told()

    def _begin(self, order: Order) -> None:
        of = min(max(int(order.stops), 3), 360)
        self.course = Course(order.pose, of, order.turn, order.raised)
        self.rest = Rest(order.raised)
        self.asked = Asked(order.pose)
        self.framing = Framing()
        self.paused = self._by_hand = self._ready = self._stepped_in = False
        self._need, self._reference, self._seeks, self._wheel_new = "nothing", None, True, True
        self._usual, self._moved, self._way, self._took_at = [], set(), 0.0, None
        self._held.clear()
        self._turn_on = self._broken = None
        self.still.mark()
        if self.state != "no-camera":
            self.state = "live" if self._empty == "done" else "empty-room"

    def _want_empty(self, order: Order) -> None:
        self._empty = "wanted"
        if self.state != "no-camera":
            self.state = "empty-room"
        self.still.about(None)
        self.still.calm_since = self._nobody_since = None
        self._by_hand = False

    def _skip_empty(self, order: Order) -> None:
        self._empty = "done"

    def _want_take(self, order: Order) -> None:
        if self.state == "no-camera":
            self._say("out of frame", words_live.NO_FIGURE)
        elif self.state != "empty-room" or self._empty == "wanted":
            self._by_hand = True

    def _undo(self, order: Order) -> None:
        name = None if self.course is None else self.course.undo(order.stop)
        if name is None:
            self._say("moved", words_live.NOTHING_BACK, loud=False)
            return
        self._say("moved", words_live.TAKEN_BACK.format(stop=words_live.stop_name(name)), loud=False)
        assert self.course is not None
        self.asked.gone(name, self.course.names)
        self._wheel_new, self._need, self._turn_on = True, "move", None
        self._reference = None if self.course.last is None else self.course.last.thumb
        self.still.mark()
        if self.state == "closed":
            self.state = "live"

    def _lay(self, order: Order) -> None:
        if not self.asked.lay(order.stop, order.pose):
            self._say("moved", words_live.NO_OUTLINE, loud=False)

    def _want(self, order: Order) -> None:
        self.asked.want(order.stops_wanted)
        self.paused, self._need, self._turn_on = False, "nothing", None
        if self.state == "closed" and self.asked.wanted:
            self.state = "live"

    def _close(self, order: Order) -> None:
        if self.state in ("live", "hold"):
            self._closed()

    def _pause(self, order: Order) -> None:
        self.paused, self._turn_on = True, None
        self._say("rest", words_live.PAUSED, loud=False)

    def _go_on(self, order: Order) -> None:
        if self.paused:
            self.rest, self._seeks = Rest(self.rest.raised), True
        self.paused = False
        if self.state == "closed":
            self.state = "live"
        self._say("ready", words_live.GOES_ON, loud=False)

    # --------------------------------------------------------------------------------------------- from stage and bench

    def kept_empty(self, pixels: Pixels) -> tuple[Signal, ...]:
        """The empty picture has been written, or lay there already; here it is at the size of the frames, (h, w, 3)
        BGR."""
        self.looker.learn_room(pixels)
        if self._empty in ("wanted", "asked"):
            self._stepped_in = True
            self._say("empty taken")
        self._empty = "done"
        if self.state == "empty-room":
            self.state = "live"
        return self._told()

    def earlier(self, pose: str, masks: Iterable[tuple[str, str]]) -> None:
        """The silhouettes of the stops of another pose, as in ``StopsTold.masks``, to be laid over the live one."""
        self.asked.earlier(pose, masks)

    def kept_stop(self, frame: int, name: str) -> tuple[Signal, ...]:
        """The full picture of a frame is safely written as the stop ``name``."""
        if self.course is None:
            return ()
        taken = self.course.keep(frame, name)
        self._wheel_new = True
        self.asked.kept(name, None if taken is None else taken.look.line, self.course.names)
        self._say("taken", words_live.signal("taken", stop=words_live.stop_name(name)))
        if taken is not None and self.asked.wanted:
            self.asked.found(taken.instead, taken.after, name)
            if not self.asked.wanted:
                self._closed(words_live.ALL_FOUND)
        elif self.state in ("live", "hold") and self.course.closed():
            self._closed()
        if self.state != "closed":
            self._turn_on = self._now + TURN_ON_S
        return self._told()

    def lost_stop(self, frame: int) -> tuple[Signal, ...]:
        """The full picture of a frame did not arrive, or could not be written: the stop is still to be taken."""
        if self._empty == "asked" and frame == self._empty_asked[0]:
            self._empty = "wanted"
        elif self.course is not None and self.course.lose(frame) is not None:
            self._need = "other picture"
            self._reference = None if self.course.last is None else self.course.last.thumb
            self._say("moved", words_live.NOT_ARRIVED)
        return self._told()

    def told(self, stops: StopsTold) -> tuple[Signal, ...]:
        """The bench has looked at all stops kept so far."""
        if self.course is None:
            return ()
        self.course.hear(stops)
        unsound = {*stops.moved, *(stop.name for stop in stops.wheel if stop.trouble)}
        self.asked.hear(stops.masks, unsound, self.course.names)
        self._wheel_new = True
        new = [name for name in stops.moved if name not in self._moved and self.course.is_live(name)]
        self._moved = set(stops.moved)
        if new:
            self._say("pose differs", stops.moved_words or words_live.signal("pose differs"))
        if self.state in ("live", "hold") and not self.asked.wanted and self.course.closed():
            self._closed()
        return self._told()

    # ------------------------------------------------------------------------------------------------------- answers

    def _closed(self, words: str = "") -> None:
        self.state, self._turn_on = "closed", None
        self._say("closed", words)

    def _say(self, kind: SignalKind, words: str = "", *, loud: bool = True) -> None:
        self._signals.append(Signal(kind, words or words_live.signal(kind), loud))

    def _told(self) -> tuple[Signal, ...]:
        signals, self._signals = tuple(self._signals), []
        return signals

    def _answer(self, seen: Seen) -> Seen:
        course = self.course
        wheel = course.wheel() if course is not None and self._wheel_new else None
        self._wheel_new = False
        seen = replace(seen, state=self.state, signals=self._told(), wheel=wheel, wanted=self.asked.news())
        if course is None:
            return seen
        return replace(seen, stops=len(course.names), of=course.of, angle=course.angle(),
                       rest_in=self.rest.left(self._now))
