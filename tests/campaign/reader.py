"""Spoilt pictures straight through the reader: the widest net, since it costs a millisecond or two a picture."""

from __future__ import annotations

import os
import traceback
from functools import cache
from pathlib import Path

from campaign import mutate, samples, trees
from campaign.harness import LIMIT_MB, LIMIT_S, Case, caught, peak_mb, within

SUFFIXES = (".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif", ".HEIC", ".avif")


def prepare(case: Case) -> None:
    """Whole pictures in every format."""
    for name, data in samples.stills().items():
        (case.prepared / name).write_bytes(data)


@cache
def corpus(folder: Path) -> dict[str, bytes]:
    """Name to file of what was prepared."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if p.is_file()}


def spoilt(case: Case) -> tuple[str, bytes]:
    """A picture of the case's choosing, spoilt; sometimes under the suffix of another format."""
    whole = corpus(case.prepared)
    name = case.dice.choice(list(whole))
    data = mutate.mutate(case.dice, whole[name], list(whole.values()))
    suffix = Path(name).suffix if case.dice.random() < 0.85 else case.dice.choice(SUFFIXES)
    return suffix, data


def run(case: Case) -> None:
    """One picture: it is read, or refused with an error of the program's own."""
    from silhouette.errors import SilhouetteError
    from silhouette.intake.stills import read_still

    suffix, data = spoilt(case)
    path = Path(f"{case.number % 2}{suffix}").resolve()
    path.write_bytes(data)
    before = trees.look(str(path))
    case.note(["read_still", path])
    with within(LIMIT_S), caught():  # decoders may remark: the command keeps that off the screen, see stills.py
        try:
            read_still(path, 200)
        except SilhouetteError:
            pass
        except BaseException:
            case.find("tracebacks", traceback.format_exc())
    if trees.look(str(path)) != before:
        case.find("originals changed", str(path))
    if (peak := peak_mb()) > LIMIT_MB:
        case.find("other", f"memory over {LIMIT_MB:.0f} MB: {peak:.0f} MB")
    case.peak_mb = peak
    case.scratch_is_empty()
    if case.loud:
        kept = case.lab / f"case-{case.number}{suffix}"
        kept.write_bytes(data)
        print(f"the picture is kept as {kept}")
    os.unlink(path)  # noqa: PTH108
