"""The one door to libraries that would report home: the only file that may import onnxruntime or rembg.

onnxruntime's own builds (1.32, say) report their use unless told not to: they look up a collector's address, queue a
device id, the system and the interpreter's path, and leave an id and a database in the user's cache folder. rembg
imports it too, fetches models that it does not find, and knows "models" that are a service to which pictures are sent.

This is a base stone, not part of the cutter: importing the package runs it, so that every process is told before
anything in it can import onnxruntime, whoever asks first. It imports nothing heavy.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
from collections.abc import Iterator
from typing import Any


def hush() -> None:
    """Forbid onnxruntime to report, in this process and in all that it starts.

    Forced, not offered: whatever the variable says before, nothing may be sent from a studio's pictures.
    """
    os.environ["ORT_DISABLE_TELEMETRY"] = "1"


def onnxruntime(part: str = "") -> Any:
    """The module onnxruntime, or a part of it by its name there, told to report nothing.

    Python code that imported onnxruntime before this package has started its reporting: what it queued until then, its
    device id and its database cannot be taken back from here. From this call on it is only told to stop recording.

    Raises
    ------
    ImportError
        If it is not installed.
    """
    hush()
    import onnxruntime

    stop = getattr(onnxruntime, "disable_telemetry_events", None)
    if stop is not None:
        stop()
    return importlib.import_module(f"onnxruntime.{part}") if part else onnxruntime


def network(weights: bytes) -> Any:
    """A network on one thread, ready to be asked, whatever else the computer does: one thread adds up in one order.

    Raises
    ------
    ImportError
        If onnxruntime is not installed.
    ValueError
        If ``weights`` are no network that it can run.
    """
    library = onnxruntime()
    options = library.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.log_severity_level = 3
    try:
        return library.InferenceSession(weights, options, providers=["CPUExecutionProvider"])
    except Exception as err:  # each of its errors is a class of its own, and of nothing but Exception
        raise ValueError("not a network that onnxruntime can run") from err


def rembg_models() -> dict[str, Any]:
    """The classes of rembg that run one model file on this computer, by the model's name.

    rembg's other classes send the picture to a service, or fetch what they need by themselves. They are told by what
    they do at their start: a class that only reads its one file leaves that to the common base.

    Raises
    ------
    ImportError
        If rembg is not installed.
    """
    onnxruntime()
    with _uncompiled():
        from rembg.sessions import sessions
        from rembg.sessions.base import BaseSession

    return {name: kind for name, kind in sessions.items()
            if kind.__init__ is BaseSession.__init__ and getattr(kind, "is_local", lambda: True)()}


@contextlib.contextmanager
def _uncompiled() -> Iterator[None]:
    """Meanwhile numba compiles nothing in this process.

    rembg's import has it compile helpers for soft edges, for up to a minute the first time, and keep them in the user's
    cache folder. Nothing here calls them.
    """
    word = "NUMBA_DISABLE_JIT"
    before, numba = os.environ.get(word), sys.modules.get("numba")
    off = before not in (None, "", "0") if numba is None else numba.config.DISABLE_JIT
    os.environ[word] = "1"
    if numba is not None:
        numba.config.DISABLE_JIT = 1
    try:
        yield
    finally:
        os.environ.pop(word)
        if before is not None:
            os.environ[word] = before
        if (numba := sys.modules.get("numba")) is not None:
            numba.config.DISABLE_JIT = int(off)


hush()
