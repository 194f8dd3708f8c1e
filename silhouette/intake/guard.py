"""The one place where whatever a decoder throws at a damaged file becomes a sentence for the person."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager

from silhouette.errors import SilhouetteError


@contextmanager
def decoding(refusal: SilhouetteError) -> Iterator[None]:
    """Raise ``refusal`` in place of anything that a decoder raises inside; our own errors pass.

    Decoders written by others raise what they like on a damaged file: OSError, SyntaxError, RuntimeError, EOFError,
    struct.error, zlib.error, MemoryError, cv2.error, and the next version something else. What they only warn of is
    not told: it is either seen in the picture or of no matter.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except SilhouetteError:
        raise
    except Exception as error:
        raise refusal from error
