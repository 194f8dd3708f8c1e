"""The neural cutter. What needs the model's file is skipped where SILHOUETTE_TEST_MODEL does not point to it."""

import os
import socket
from pathlib import Path

import cv2
import numpy as np
import pytest

from silhouette.cutout import agreement, background_model, neural
from silhouette.errors import CutterError

MODEL = os.environ.get("SILHOUETTE_TEST_MODEL", "")
needs_model = pytest.mark.skipif(not Path(MODEL).is_file(), reason="SILHOUETTE_TEST_MODEL names no u2netp.onnx")


@pytest.fixture(autouse=True)
def empty_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home without any model."""
    for name in ("U2NET_HOME", "REMBG_HOME", "XDG_DATA_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    return tmp_path


@pytest.fixture
def easy(data: Path) -> tuple[np.ndarray, np.ndarray]:
    folder = data / "rendered" / "stills"
    return cv2.imread(str(folder / "easy.jpg")), cv2.imread(str(folder / "masks" / "easy.png"), 0) > 127


def test_model_is_found_where_rembg_looks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert not neural.at_hand()
    new = tmp_path / ".rembg" / "models" / "u2netp" / "u2netp.onnx"
    old = tmp_path / ".u2net" / "u2netp.onnx"
    for place in (old, new):
        place.parent.mkdir(parents=True)
        place.write_bytes(b"")
        assert neural.find() == place
    monkeypatch.setenv("U2NET_HOME", str(tmp_path / "mine"))
    assert not neural.at_hand()
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "u2netp.onnx").write_bytes(b"")
    assert neural.find() == tmp_path / "mine" / "u2netp.onnx"
    assert neural.find(str(old)) == old and not neural.at_hand("isnet-general-use")


def test_places_agree_with_rembg_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    base = pytest.importorskip("rembg.sessions.u2netp").U2netpSession
    for name in (None, "U2NET_HOME", "REMBG_HOME", "XDG_DATA_HOME"):
        if name:
            monkeypatch.setenv(name, str(tmp_path / name))
        root, flat = neural._homes()
        assert str(root) == base.rembg_home() and str(flat) == base.legacy_home()
        if name:
            monkeypatch.delenv(name)


def test_missing_model_says_which_file_to_put_where(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_connection(*_: object) -> None:
        raise AssertionError("a connection was opened")

    monkeypatch.setattr(socket.socket, "connect", no_connection)
    picture = np.full((60, 40, 3), 127, np.uint8)
    with pytest.raises(CutterError) as caught:
        neural.cut(picture)
    text = str(caught.value)
    assert "u2netp.onnx" in text and str(tmp_path / ".rembg" / "models" / "u2netp" / "u2netp.onnx") in text
    assert 'pip install "rembg[cli]" && rembg d u2netp' in text and "no picture leaves this computer" in text
    with pytest.raises(CutterError, match=r"nowhere\.onnx"):
        neural.cut(picture, model="nowhere.onnx")


def test_the_command_that_is_named_is_rembg_s_own_and_puts_the_file_where_it_is_looked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run on a file that is there, so that nothing is fetched."""
    pytest.importorskip("click")
    command = pytest.importorskip("rembg.commands.d_command", exc_type=ImportError).d_command
    monkeypatch.setenv("REMBG_HOME", str(tmp_path))
    place = tmp_path / "models" / "u2netp" / "u2netp.onnx"
    place.parent.mkdir(parents=True)
    place.write_bytes(b"here")
    assert command.name == "d"
    command.main(["u2netp"], standalone_mode=False)
    assert neural.find() == place and place.read_bytes() == b"here"


def test_file_that_is_no_model_gets_one_sentence(tmp_path: Path) -> None:
    fake = tmp_path / "fake.onnx"
    fake.write_bytes(b"not a model")
    with pytest.raises(CutterError) as caught:
        neural.cut(np.full((60, 40, 3), 127, np.uint8), model=str(fake))
    assert str(fake) in str(caught.value) and "\n" not in str(caught.value)


def test_auto_stays_with_the_backdrop_without_a_model(easy: tuple[np.ndarray, np.ndarray]) -> None:
    cut, alone = agreement.cut(easy[0]), background_model.cut(easy[0])
    assert cut.cutter == "backdrop" and (cut.mask == alone.mask).all()


@needs_model
def test_neural_cut_is_close_and_its_confidence_means_it(easy: tuple[np.ndarray, np.ndarray]) -> None:
    picture, true = easy
    cut = neural.cut(picture, MODEL)
    overlap = (cut.mask & true).sum() / (cut.mask | true).sum()
    assert cut.cutter == "neural" and overlap > 0.95
    assert abs(cut.confidence - overlap) < 0.05
