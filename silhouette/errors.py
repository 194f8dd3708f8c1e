"""One tree of errors, each written for the person in the studio.

A message says what happened, to which file, and what to do. Only ``cli.py`` turns these into exit codes.
"""

from __future__ import annotations

from pathlib import Path

from silhouette.texts import printable


class SilhouetteError(Exception):
    """Root of every error this package raises on purpose.

    Parameters
    ----------
    what : str
        One clear sentence: what happened.
    path : path-like, optional
        The file or folder it happened to.
    do : str, optional
        What the person can do about it.
    """

    exit_code = 2

    def __init__(self, what: str, *, path: str | Path | None = None, do: str | None = None) -> None:
        self.what = what
        self.path = None if path is None else Path(path)
        self.do = do
        super().__init__(str(self))

    def __str__(self) -> str:
        text = self.what if self.path is None else f"{printable(self.path)}: {self.what}"
        return text if self.do is None else f"{text} {self.do}"


class PictureError(SilhouetteError):
    """One picture cannot be read or used; the others of its pose go on without it."""


class PoseError(SilhouetteError):
    """A pose as a whole cannot be used: a wrong folder, no pictures, no usable view."""


class AnglesError(SilhouetteError):
    """The angles given for the stills contradict each other or cannot be read."""


class FilmError(SilhouetteError):
    """A clip cannot be used: no video in it, cut off, no one in it, the camera moved."""


class CutterError(SilhouetteError):
    """The asked-for way of cutting out is not at hand (the neural model is missing, say)."""


class SettingsError(SilhouetteError):
    """A setting has a value that makes no sense."""


class OutputError(SilhouetteError):
    """The result cannot be written: the place is missing, full, in use or not ours to write."""
