"""Signals stop a command wherever they land."""

from __future__ import annotations

import contextlib
import signal
import sys
import time

import pytest

from silhouette.cli.process import heed, signals_stop


class _Gone:
    """A signal lands while this is thrown away; what is raised there Python swallows."""

    def __del__(self) -> None:
        signal.raise_signal(signal.SIGTERM)


@pytest.mark.skipif(sys.platform == "win32", reason="SIGTERM ends a Windows process at once")
def test_a_signal_swallowed_by_a_destructor_stops_all_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    hook = sys.unraisablehook
    with pytest.raises(KeyboardInterrupt) as stopped, signals_stop() as received:
        _Gone()
        for _ in range(300):
            time.sleep(0.01)
    assert stopped.value.args == (signal.SIGTERM,) and received == [signal.SIGTERM]
    assert sys.unraisablehook is hook
    assert capsys.readouterr().err == ""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGTERM ends a Windows process at once")
def test_a_signal_that_a_library_swallows_stops_at_the_next_picture() -> None:
    with pytest.raises(KeyboardInterrupt) as stopped, signals_stop():
        with contextlib.suppress(BaseException):  # as some libraries do while they are being loaded
            signal.raise_signal(signal.SIGTERM)
        heed()
    assert stopped.value.args == (signal.SIGTERM,)
    with signals_stop():
        heed()  # the next command begins anew
