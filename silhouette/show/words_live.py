"""All that the live page says while the model poses. Short, to be read from 3 m away and heard across a room."""

from __future__ import annotations

from silhouette.records import Reason
from silhouette.show import words

SIGNALS = {
    "empty taken": "The empty picture is kept. Step in.",
    "ready": "Take up the pose and hold still.",
    "taken": "Stop {stop} is kept.",
    "turn on": "Turn on.",
    "moved": "You moved. Hold still again.",
    "out of frame": "You are out of the frame.",
    "pose differs": "The pose is not that of the first stops.",
    "fits": "The pose sits. Hold still.",
    "closed": "The circle is closed.",
    "rest": "Time for a rest.",
}
"""What each signal says. In full sentences, as they may be spoken."""

TROUBLES = {
    "nobody": "Nobody in the frame",
    "two figures": "Two figures in the frame",
    "feet cut off": "Feet cut off: step back",
    "head cut off": "Head cut off: step back",
    "cut off at picture left": "Step to picture right",
    "cut off at picture right": "Step to picture left",
    "too close": "Too close: step back",
    "too far": "Too far: step nearer",
    "not trusted": "Figure unclear: take the empty picture, or find a plainer backdrop",
}
"""What each trouble asks for, as short as it can be."""

STEP_OUT = "Step out of the frame"
NOT_ARRIVED = "The still did not arrive. Hold again."
NO_FIGURE = "No figure in the frame: nothing was taken."
ALREADY = "That stop is being kept already."
TAKEN_BACK = "Stop {stop} is taken back."
NOTHING_BACK = "There is no stop to take back."
PAUSED = "Paused."
GOES_ON = "The turn goes on."
NO_OUTLINE = "There is no outline of that stop yet."
INSTEAD, BETWEEN, STOP = "Stop {stop} again", "The stop after {stop}", "stop {stop}"
ALL_FOUND = "Every stop that was asked for is kept."
ARMS_DOWN = "Let the arms down."


def signal(kind: str, **values: object) -> str:
    """The sentence of a signal."""
    return SIGNALS[kind].format(**values)


def rest(raised: bool) -> str:
    """Time for a break."""
    return f"{SIGNALS['rest']} {ARMS_DOWN}" if raised else SIGNALS["rest"]


def stop_name(name: str) -> str:
    """A stop as people call it: ``stop_09b`` is ``9b``."""
    return name.removeprefix("stop_").lstrip("0") or name


def short(why: Reason) -> str:
    """A reason in a few words, beginning large."""
    text = words.brief(why)
    return text[:1].upper() + text[1:]
