"""Cut a figure out with a neural model (rembg), and put its edge right with the backdrop's colours.

The model's file must already be there: nothing here opens a connection. The default is u2netp, the small U2-Net of Qin
et al. (Pattern Recognition 106, 2020), under the Apache licence 2.0: 4.6 MB, free to use for any work.
"""

from __future__ import annotations

import os
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from silhouette import quiet
from silhouette.cutout import edge, mask_cleanup, plate
from silhouette.cutout.background_model import halved
from silhouette.errors import CutterError
from silhouette.records import NO_FIGURE, Cut, Pixels

DEFAULT_MODEL = "u2netp"
"""Chosen for its licence and its size."""
LOSS = (0.64, 1.50)
"""Fitted on 147 rendered cuts: ln(lost overlap) = LOSS[0] + LOSS[1] ln(what the model expects to lose)."""
PER_CONTRAST = 1.0 / 9.0
"""How much the colours are believed at the edge. Less than by the backdrop cutter: this one is asked where figure and
backdrop look alike."""


def _homes() -> tuple[Path, Path]:
    """Where rembg keeps its models: the root of today's versions, and the flat folder of older ones."""
    xdg = os.getenv("XDG_DATA_HOME")
    flat = Path(os.getenv("U2NET_HOME") or Path(xdg or "~") / ".u2net").expanduser()
    if os.getenv("U2NET_HOME"):
        return flat, flat
    return Path(os.getenv("REMBG_HOME") or (Path(xdg) / "rembg" if xdg else Path("~") / ".rembg")).expanduser(), flat


def _is_path(model: str) -> bool:
    return model.endswith(".onnx") or os.sep in model


def find(model: str | None = None) -> Path | None:
    """The model's file, or None where it is not there. Looks at the disk only.

    Parameters
    ----------
    model : str or None
        A name that rembg knows, or the path of an ``.onnx`` file; None is :data:`DEFAULT_MODEL`.
    """
    name = model or DEFAULT_MODEL
    if _is_path(name):
        path = Path(name).expanduser()
        return path if path.is_file() else None
    root, flat = _homes()
    for path in (root / "models" / name / f"{name}.onnx", flat / f"{name}.onnx"):
        if path.is_file():
            return path
    return None


def at_hand(model: str | None = None) -> bool:
    """Whether the neural cutter has its model on this machine. Cheap: nothing is imported, nothing fetched."""
    return find(model) is not None


def _require(model: str | None) -> Path:
    found = find(model)
    if found is not None:
        return found
    name = model or DEFAULT_MODEL
    if _is_path(name):
        raise CutterError("the neural cutter's model is not there.", path=name, do="Check the path given with --model.")
    place = _homes()[0] / "models" / name / f"{name}.onnx"
    raise CutterError(
        f"The neural cutter needs the file {name}.onnx, which is not on this computer, and nothing is fetched unasked.",
        do=f'Get it once, by yourself; no picture leaves this computer: pip install "rembg[cli]" && rembg d {name}. '
        f"Or put the file at {place}, or point to it with --model PATH, or leave --cutter neural out.",
    )


@lru_cache(maxsize=2)
def _session(path: Path, name: str) -> Any:
    """A rembg session on exactly this file."""
    try:
        onnxruntime, models = quiet.onnxruntime(), quiet.rembg_models()
    except (ImportError, SystemExit) as error:
        raise CutterError(
            "The neural cutter needs rembg with onnxruntime.", do='Install it with: pip install "rembg[cpu]"'
        ) from error
    kind = models.get(path.stem, models[DEFAULT_MODEL]) if _is_path(name) else models.get(name)
    if kind is None:
        raise CutterError(f"rembg has no model called {name} that runs on this computer from one file.",
                          do=f"Leave --model out to use {DEFAULT_MODEL}.")
    # rembg would look for the file by itself and fetch it where it finds none; it is told where it lies instead.
    local = type("LocalSession", (kind,), {"download_models": classmethod(lambda cls, *a, **k: str(path))})
    options = onnxruntime.SessionOptions()
    options.log_severity_level = 3
    try:
        return local(kind.name(), options)
    except Exception as error:
        raise CutterError("this file is not a model that rembg can run.", path=path, do="Fetch it anew.") from error


def _predict(session: Any, picture: NDArray[np.uint8]) -> plate.Floats:
    """How surely each pixel is figure, 0 to 1, (h, w)."""
    from PIL import Image

    map_ = session.predict(Image.fromarray(cv2.cvtColor(picture, cv2.COLOR_BGR2RGB)))[0]
    return np.asarray(map_, np.float32) / 255.0


def _closer(session: Any, picture: NDArray[np.uint8], first: plate.Floats) -> plate.Floats:
    """The model sees 320 x 320 pixels whatever it is given: a second look at the figure alone shows it more."""
    figure, flags = mask_cleanup.one_figure(first > 0.5)
    if NO_FIGURE in flags:
        return first
    h, w = first.shape
    x, y, bw, bh = cv2.boundingRect(figure.astype(np.uint8))
    margin = round(0.12 * max(bw, bh))
    x0, y0, x1, y1 = max(0, x - margin), max(0, y - margin), min(w, x + bw + margin), min(h, y + bh + margin)
    if (x1 - x0) * (y1 - y0) > 0.75 * h * w:
        return first
    result = np.zeros_like(first)
    result[y0:y1, x0:x1] = _predict(session, np.ascontiguousarray(picture[y0:y1, x0:x1]))
    return result


def cut(pixels: Pixels, model: str | None = None) -> Cut:
    """Cut the figure out with the neural model.

    Parameters
    ----------
    pixels : (h, w, 3) uint8, BGR
    model : str or None
        A name that rembg knows, or the path of an ``.onnx`` file; None is :data:`DEFAULT_MODEL`.

    Raises
    ------
    CutterError
        When the model's file is not there, or rembg cannot run it.
    """
    path = _require(model)
    session = _session(path, model or DEFAULT_MODEL)
    first = _predict(session, pixels)
    soft = _closer(session, pixels, first)
    half = halved(pixels)
    sigma = plate.noise(half)
    small = np.clip(cv2.resize(soft, half.shape[1::-1], interpolation=cv2.INTER_AREA), 1e-3, 1 - 1e-3)
    odds = np.log(small / (1 - small))
    odds, flags = mask_cleanup.whole(odds)
    if NO_FIGURE in flags:
        return Cut(np.zeros(pixels.shape[:2], np.bool_), 0.0, "neural", flags)
    mask, softness = edge.refine(pixels, half, odds, sigma, per_contrast=PER_CONTRAST)
    return mask_cleanup.finished(mask, _confidence(small, odds > 0), "neural", flags, softness)


def _confidence(chance: plate.Floats, coarse: NDArray[np.bool_]) -> float:
    """Expected overlap with the true figure, from what the model itself expects."""
    inside = float(chance[coarse].sum())
    expected = inside / (float(coarse.sum()) + float(chance.sum()) - inside)
    return float(np.clip(1.0 - np.exp(LOSS[0] + LOSS[1] * np.log(1.0 - expected + 0.002)), 0.0, 0.995))
