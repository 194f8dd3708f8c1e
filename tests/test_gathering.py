"""What the worker processes do when a person stops the program."""

import signal
import time

import pytest

from silhouette import gathering


def deaf(_: int) -> bool:
    return signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, set())


def slow(k: int) -> int:
    time.sleep(0.2)
    return k


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="signals of another kind")
def test_only_the_first_process_heeds_ctrl_c() -> None:
    with gathering.workers(2) as run:
        assert list(run(deaf, range(4))) == [True] * 4
        assert not deaf(0)


def test_what_was_not_begun_is_dropped_when_stopped() -> None:
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt), gathering.workers(2) as run:
        next(results := run(slow, range(200)))
        raise KeyboardInterrupt
    assert time.monotonic() - began < 10
    assert results is not None
