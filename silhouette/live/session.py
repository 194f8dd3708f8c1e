"""One live turn as a course of decisions: frames and orders go in, answers come out. No socket, no file, no clock.

Time is that of the frames, so a clip decoded by a test goes through it as a camera would.
"""

from __future__ import annotations

from silhouette.live.messages import Frame, Order, Seen, Signal, StopsTold
from silhouette.records import Pixels


class Session:
    """What is known of the turn that is being shot. Not safe for threads: the stage has one for it."""

    def see(self, frame: Frame, *, quick: bool = False) -> Seen:
        """Look at one frame and decide.

        Parameters
        ----------
        frame : Frame
            Newer than all before it.
        quick : bool
            A newer one is waiting: look only whether the model moves.
        """
        return Seen(frame.number, "live", skipped=quick, size=frame.pixels.shape[1::-1], captured=frame.seconds)

    def order(self, order: Order) -> tuple[Signal, ...]:
        """Do what a person asked for."""
        return ()

    def kept_empty(self, pixels: Pixels) -> tuple[Signal, ...]:
        """The empty picture has been written; here it is at the size of the frames, (h, w, 3) BGR."""
        return ()

    def kept_stop(self, frame: int, name: str) -> tuple[Signal, ...]:
        """The full picture of a frame is safely written as the stop ``name``."""
        return ()

    def lost_stop(self, frame: int) -> tuple[Signal, ...]:
        """The full picture of a frame did not arrive, or could not be written: the stop is still to be taken."""
        return ()

    def told(self, stops: StopsTold) -> tuple[Signal, ...]:
        """The bench has looked at all stops kept so far."""
        return ()
