"""How long a turn and a session take, with the model's breaks in them."""

from __future__ import annotations

from typing import Literal

from silhouette.records_shoot import Slot, SlotTask
from silhouette.settings import Ring

SETTLE_MIN = 10.0
"""Minutes until a pose has settled (10 to 15 in practice): the main turn is shot then, not before."""
MOVE_CAMERA_MIN = 1.0
"""Minutes to lower or raise the camera for another ring."""
SLOW_TURN_S = 45.0
"""One slow turn on a clip for arms that cannot stay up, seconds (30 to 60 in practice)."""
ARMS_DOWN_MIN = 3.0
"""Minutes with the arms down between two slow turns."""

CLOSE_UPS_MIN = 3.0
"""Minutes for the close-ups of a pose: hands, face, feet and what is behind, some pictures each."""

Task = tuple[float, SlotTask, Literal["turn", "hold", "rest"]]


def turn_seconds(stops: int, hold: float, slow: bool) -> float:
    """Seconds of one turn: every stop at ``hold`` seconds, then the first one again to close it; or one slow turn."""
    return SLOW_TURN_S if slow else (stops + 1) * hold


def timetable_for(
    turn_s: float, slow: bool, pose_min: float, break_min: float, poses: int, *,
    rings: tuple[Ring, ...] = ("low", "high"), close_ups: float = 0.0,
) -> tuple[Slot, ...]:
    """The session, line by line, for turns of ``turn_s`` seconds and ``close_ups`` minutes of close-ups.

    Nobody poses longer than ``pose_min`` minutes without a break of ``break_min``; a turn is never broken off for one.
    Each pose is shot when it is taken, again when it has settled, then in its other rings, then in close-ups.
    """
    slots: list[Slot] = []
    clock = 0.0
    for pose in range(1, poses + 1):
        if pose > 1:
            clock = _add(slots, clock, (break_min, "next pose", "rest"), pose)
        posed = 0.0
        for minutes, what, kind in _tasks(turn_s / 60, slow, pose_min, rings, close_ups):
            if kind == "rest":
                clock, posed = _add(slots, clock, (minutes, what, kind), pose), 0.0
                continue
            if posed > 0 and posed + minutes > pose_min + 1e-9:
                clock, posed = _add(slots, clock, (break_min, "break", "rest"), pose), 0.0
            clock = _add(slots, clock, (minutes, what, kind), pose)
            posed += minutes
    return tuple(slots)


def _tasks(turn: float, slow: bool, pose_min: float, rings: tuple[Ring, ...], close_ups: float) -> list[Task]:
    named: dict[Ring, SlotTask] = {"low": "low ring", "high": "high ring"}
    others = [named[ring] for ring in rings]
    if slow:  # the camera is moved while the arms are down
        rest: Task = (ARMS_DOWN_MIN, "arms down", "rest")
        tasks: list[Task] = [(turn, "slow first turn", "turn"), rest, (turn, "slow main turn", "turn")]
        for what in others:
            tasks += [rest, (turn, what, "turn")]
        last: Task = (close_ups, "close-ups at rest", "rest")
        return [*tasks, last]
    tasks = [(turn, "first turn", "turn")]
    if turn < SETTLE_MIN and SETTLE_MIN + turn <= pose_min:  # a pose broken off before has to settle anew
        tasks.append((SETTLE_MIN - turn, "settle", "hold"))
    moved: list[Task] = [(turn + MOVE_CAMERA_MIN, what, "turn") for what in others]
    return [*tasks, (turn, "main turn", "turn"), *moved, *_held(close_ups, pose_min)]


def _held(minutes: float, pose_min: float) -> list[Task]:
    """Close-ups in stretches that a pose is held for."""
    stretches: list[Task] = []
    while minutes > 1e-9:
        stretches.append((min(minutes, pose_min), "close-ups", "hold"))
        minutes -= pose_min
    return stretches


def _add(slots: list[Slot], clock: float, task: Task, pose: int) -> float:
    minutes, what, kind = task
    if minutes > 0:
        slots.append(Slot(start=clock, end=clock + minutes, what=what, kind=kind, pose=pose))
    return clock + minutes
