"""One live turn as a course of decisions: frames and orders go in, answers come out. No socket, no file, no clock.

Time is that of the frames, so a clip decoded by a test goes through it as a camera would.
"""

from __future__ import annotations

from silhouette.live.messages import Frame, Order, Seen, Signal
from silhouette.records import Cut, Pixels


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
        """The empty picture has been written; its working picture, (h, w, 3) BGR."""
        return ()

    def kept_stop(self, frame: int, name: str, pixels: Pixels, cut: Cut) -> tuple[Signal, ...]:
        """The full picture of a frame has been written as the stop ``name``, and cut out."""
        return ()
