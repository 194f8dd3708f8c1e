"""Texts from outside, such as the names of poses and files, made fit to be shown."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

_BREAKS = re.compile(r"[\t-\r\x1c-\x1e\x85\u2028\u2029]+")
# Control characters, which no page, svg or terminal may get; those that would turn round the line they stand in;
# signs of no width that mean nothing by themselves.
_UNFIT = re.compile(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u200b\u2060-\u2064\ufeff\ufffe\uffff]")
_HALVES = re.compile(r"[\ud800-\udfff]")

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""How a cell begins that a spreadsheet may take for a formula; full-width signs count as the plain ones."""
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")


def printable(name: str | Path) -> str:
    """A name on one line and as it is, but for what cannot be shown.

    Breaks and tabs become spaces, control characters go, and bytes of a file name that are no text (surrogates) become
    the sign for an unknown letter. The result can be written as UTF-8 and may stand in HTML, XML and on a terminal,
    once it is escaped.
    """
    text = str(name)
    if text.isprintable():
        return text
    return _HALVES.sub("\ufffd", _UNFIT.sub("", _BREAKS.sub(" ", text)))


def csv_cell(value: Any) -> Any:
    """A cell of a CSV file: a text that a spreadsheet would run as a formula gets an apostrophe before it.

    Numbers stay as they are, also such as are text; other texts lose only what cannot be shown.
    """
    if not isinstance(value, str):
        return value
    text = printable(value)
    runs = value.startswith(_FORMULA) or text.lstrip().startswith(_FORMULA)
    return f"'{text}" if runs and not _NUMBER.fullmatch(text) else text
