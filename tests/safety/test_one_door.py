"""Libraries that would report home or fetch things come in through one door, which shuts their mouth first."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import silhouette
from silhouette import quiet, turnaround
from silhouette.cutout import figure_net, neural, person_net
from silhouette.errors import CutterError

PACKAGE = Path(silhouette.__file__).parent
WATCHED = Path(__file__).parents[1] / "data" / "rendered" / "turn"
TALKATIVE = {"onnxruntime", "rembg", "pooch", "requests", "urllib", "urllib3", "http", "socket", "ssl", "ftplib",
             "smtplib", "asyncio", "aiohttp", "httpx", "webbrowser", "xmlrpc", "socketserver", "uvicorn", "starlette",
             "websockets", "h11", "anyio"}
"""Modules that report, connect or serve: only the door may import the first two, most of the others nobody."""
HARMLESS = {"urllib.parse"}
"""Parts of such modules that only take texts apart."""
SERVES = {"socket", "ssl", "asyncio", "http", "webbrowser", "uvicorn", "starlette", "h11"}
"""What the local pages are served with; everything else that could talk is shut to them too."""


def named(tree: ast.AST) -> list[tuple[int, str]]:
    """(line, module) of all that a file imports, and of the strings that it hands to a call and that could be one."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(node.lineno, a.name) for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            found.append((node.lineno, str(node.module)))
        elif isinstance(node, ast.Call):
            found += [(node.lineno, a.value) for a in node.args if isinstance(a, ast.Constant) and type(a.value) is str]
    return [(line, name.split(".")[0]) for line, name in found
            if name.replace(".", "").isidentifier() and name not in HARMLESS]


def through(path: Path) -> list[str]:
    """What a file of the package takes in past the door."""
    pages = path.is_relative_to(PACKAGE / "live") or path == PACKAGE / "cli" / "open.py"
    allowed = {"onnxruntime", "rembg"} if path == PACKAGE / "quiet.py" else SERVES if pages else set()
    return [f"{path.name}:{line} {name}" for line, name in named(ast.parse(path.read_text(encoding="utf-8")))
            if name in TALKATIVE - allowed]


def test_only_the_door_imports_what_could_talk() -> None:
    files = [p for p in PACKAGE.rglob("*.py") if p.relative_to(PACKAGE).parts[0] != "studio"]
    assert PACKAGE / "quiet.py" in files
    assert not [past for path in files for past in through(path)]


def test_other_ways_to_import_are_seen_too(tmp_path: Path) -> None:
    file = tmp_path / "past.py"
    file.write_text("def f():\n    import onnxruntime.capi as o\n    from rembg import remove\n"
                    "    import_module('onnxruntime')\n    __import__('socket')\n    print('a socket: no module')\n")
    assert len(through(file)) == 4


def test_what_serves_the_pages_is_loaded_by_that_command_alone(tmp_path: Path) -> None:
    """Neither importing the package, nor a command that reads pictures, brings a server or a socket library along."""
    code = ("import sys\nfrom silhouette import cli\n"
            f"cli.main(['score', {str(WATCHED)!r}, '-o', {str(tmp_path / 'out')!r}, '--jitter', '0'])\n"
            "print([m for m in ('uvicorn', 'starlette', 'websockets', 'h11', 'anyio') if m in sys.modules])")
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.splitlines()[-1] == "[]"


def test_client_libraries_are_shut_to_the_pages_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = PACKAGE / "live" / "past.py"
    text = ("import urllib.parse\nfrom urllib.parse import quote\nimport urllib.request\nimport socket\n"
            "from websockets.sync.client import connect\nimport smtplib\n")
    monkeypatch.setattr(Path, "read_text", lambda path, **how: text)
    assert [found.split()[1] for found in through(file)] == ["urllib", "websockets", "smtplib"]


@pytest.mark.parametrize("code", ["import silhouette", "import silhouette.cutout.figure_net",
                                  "from silhouette.cutout import neural"])
def test_reporting_is_off_before_anything_else_whatever_it_was(code: str) -> None:
    ask = "import os, sys; print(os.environ['ORT_DISABLE_TELEMETRY'], 'onnxruntime' in sys.modules)"
    told = subprocess.run([sys.executable, "-c", f"{code}\n{ask}"], env={**os.environ, "ORT_DISABLE_TELEMETRY": "0"},
                          capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["1", "False"]


def test_module_that_was_there_before_is_told_to_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    module, told = quiet.onnxruntime(), []
    monkeypatch.setenv("ORT_DISABLE_TELEMETRY", "0")
    monkeypatch.setattr(module, "disable_telemetry_events", lambda: told.append(True), raising=False)
    assert quiet.onnxruntime() is module and told == [True] and os.environ["ORT_DISABLE_TELEMETRY"] == "1"


@pytest.mark.parametrize(("first", "after"), [
    ("pass", "False None"),
    ("import numba", "False None"),
    ("os.environ['NUMBA_DISABLE_JIT'] = '0'", "False 0"),
    ("import numba; numba.config.DISABLE_JIT = 1", "True None"),
])
def test_rembg_loads_without_compiling_and_numba_is_left_as_it_was(first: str, after: str, tmp_path: Path) -> None:
    pytest.importorskip("rembg")
    code = (f"import os, sys; from silhouette import quiet; {first}; quiet.rembg_models(); import numba; "
            "print(bool(numba.config.DISABLE_JIT), os.environ.get('NUMBA_DISABLE_JIT'))")
    told = subprocess.run([sys.executable, "-c", code], env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)},
                          capture_output=True, text=True, check=True)
    assert told.stdout.strip() == after
    assert not list(tmp_path.rglob("*")), "something was compiled and kept"


@pytest.mark.parametrize("by_path", [True, False])
def test_service_that_rembg_would_send_the_picture_to_is_no_model(
    by_path: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even where a file bears its name and the key of an account lies in the environment."""
    sessions = pytest.importorskip("rembg.sessions").sessions
    services = [name for name, kind in sessions.items() if not getattr(kind, "is_local", lambda: True)()]
    if not services:
        pytest.skip("this rembg knows no service")
    monkeypatch.setenv("U2NET_HOME", str(tmp_path))
    sent: list[object] = []
    for name in services:
        monkeypatch.setenv(f"{name.upper()}_API_KEY", "key")
        file = tmp_path / f"{name}.onnx"
        file.write_bytes(b"")
        monkeypatch.setattr(sessions[name], "predict", lambda *a: sent.append(a))
        with pytest.raises(CutterError):
            neural.cut(np.full((60, 40, 3), 127, np.uint8), model=str(file) if by_path else name)
        assert not sent


@pytest.mark.parametrize("network", [figure_net, person_net])
def test_our_own_networks_come_through_the_door_too(network: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[bool] = []
    door = quiet.onnxruntime
    monkeypatch.setattr(quiet, "onnxruntime", lambda: opened.append(True) or door())
    network._network.__wrapped__()
    assert opened == [True]


def test_the_turn_whose_reading_is_watched_asks_the_person_network(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bool] = []
    network = person_net._network
    monkeypatch.setattr(person_net, "_network", lambda: asked.append(True) or network())
    turnaround.ingest(WATCHED)
    assert asked, "else what this network does is not seen by the watchers of test_nothing_leaves.py"
