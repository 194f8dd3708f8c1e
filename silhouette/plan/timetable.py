"""How long a turn and a session take, with the model's breaks in them."""

from __future__ import annotations

from typing import Literal

from silhouette.records_shoot import Slot

SETTLE_MIN = 10.0
"""Minutes until a pose has settled (10 to 15 in practice): the turn that counts is shot then, not before."""
MOVE_CAMERA_MIN = 1.0
"""Minutes to lower or raise the camera for another row."""
SLOW_TURN_S = 45.0
"""One slow turn on a clip for arms that cannot stay up, seconds (30 to 60 in practice)."""
ARMS_DOWN_MIN = 3.0
"""Minutes with the arms down between two slow turns."""

Task = tuple[float, str, Literal["turn", "hold", "rest"]]


def turn_seconds(stops: int, hold: float, slow: bool) -> float:
    """Seconds of one turn: every stop at ``hold`` seconds, then the first one again to close it; or one slow turn."""
    return SLOW_TURN_S if slow else (stops + 1) * hold


def timetable_for(turn_s: float, slow: bool, pose_min: float, break_min: float, poses: int) -> tuple[Slot, ...]:
    """The session, line by line, for turns of ``turn_s`` seconds.

    Nobody poses longer than ``pose_min`` minutes without a break of ``break_min``; a turn is never broken off for one.
    Each pose is shot when it is taken, again when it has settled, then from low and from high.
    """
    slots: list[Slot] = []
    clock = 0.0
    for number in range(1, poses + 1):
        if number > 1:
            clock = _add(slots, clock, (break_min, f"break, then pose {number}", "rest"))
        posed = 0.0
        for minutes, what, kind in _tasks(turn_s / 60, slow, pose_min):
            if kind == "rest":
                clock, posed = _add(slots, clock, (minutes, what, kind)), 0.0
                continue
            if posed > 0 and posed + minutes > pose_min + 1e-9:
                clock, posed = _add(slots, clock, (break_min, "break", "rest")), 0.0
            clock = _add(slots, clock, (minutes, what, kind))
            posed += minutes
    return tuple(slots)


def _tasks(turn: float, slow: bool, pose_min: float) -> list[Task]:
    rows = ("low row", "high row")
    if slow:
        rest: Task = (ARMS_DOWN_MIN, "arms down", "rest")
        tasks: list[Task] = [(turn, "first slow turn", "turn"), rest, (turn, "slow turn that counts", "turn")]
        for row in rows:
            tasks += [rest, (turn, f"{row}, slow turn", "turn")]
        return tasks
    tasks = [(turn, "first turn", "turn")]
    if turn < SETTLE_MIN and SETTLE_MIN + turn <= pose_min:  # a pose broken off before has to settle anew
        tasks.append((SETTLE_MIN - turn, "let the pose settle", "hold"))
    tasks.append((turn, "turn that counts", "turn"))
    return tasks + [(turn + MOVE_CAMERA_MIN, f"{row}, if wanted", "turn") for row in rows]


def _add(slots: list[Slot], clock: float, task: Task) -> float:
    minutes, what, kind = task
    if minutes > 0:
        slots.append(Slot(start=clock, end=clock + minutes, what=what, kind=kind))
    return clock + minutes
