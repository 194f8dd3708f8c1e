"""Texts from outside, such as the names of poses and files, made fit to be shown."""

from __future__ import annotations

import re

_BREAKS = re.compile(r"[\t-\r\x1c-\x1e\x85\u2028\u2029]+")
# Control characters, which no page, svg or terminal may get; those that would turn round the line they stand in.
_UNFIT = re.compile(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
_HALVES = re.compile(r"[\ud800-\udfff]")


def printable(text: str) -> str:
    """``text`` on one line and as it is, but for what cannot be shown.

    Breaks and tabs become spaces, control characters go, and bytes of a file name that are no text (surrogates) become
    the sign for an unknown letter. The result can be written as UTF-8 and may stand in HTML, XML and on a terminal,
    once it is escaped.
    """
    if text.isprintable():
        return text
    return _HALVES.sub("\ufffd", _UNFIT.sub("", _BREAKS.sub(" ", text)))
