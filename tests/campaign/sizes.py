"""Pictures and clips that are truly large, or only say so: a few kilobytes that ask for gigabytes."""

from __future__ import annotations

from campaign import mutate, samples
from campaign.harness import Case

LARGE = ((8000, 8000), (12900, 12900), (20000, 20000), (50000, 3000), (1, 60000), (65535, 70), (100, 2**20))
WAYS = ((1, 0), (8, 0), (16, 0), (8, 2), (16, 2), (1, 3), (8, 6))

CLIPS = {"phone.mp4": (7680, 4320), "old.mov": (5000, 4000), "screen.mkv": (8192, 4320), "camera.avi": (8192, 8192)}


def prepare(case: Case) -> None:
    """Large clips; made apart, since a process passes the peak of its own memory on to those that it starts."""
    for name, size in CLIPS.items():
        (case.prepared / name).write_bytes(samples.clip(name, *size, frames=2))


def run(case: Case) -> None:
    """One file, in a process of its own, whose peak of memory is looked at."""
    folder, dice = case.fresh(), case.dice
    place = folder / "a"
    place.mkdir()
    sort = ("png", "interlaced", "mask", "says", "clip", "fax")[case.number % 6]
    if sort in ("png", "interlaced", "mask"):
        size = dice.choice(LARGE)
        bits, colour = dice.choice(WAYS) if size[0] * size[1] < 3e8 else (1, 0)
        data = mutate.flat_png(*size, bits, colour, interlaced=sort == "interlaced")
        (place / ("045.mask.png" if sort == "mask" else "045.png")).write_bytes(data)
        if sort == "mask":
            (place / "045.jpg").write_bytes(samples.still())
        target = place / ("045.jpg" if sort == "mask" else "045.png")
    elif sort == "fax":
        target = place / "045.tif"
        target.write_bytes(_fax(*dice.choice(LARGE[:3])))
    elif sort == "says":
        whole = samples.stills()
        name = dice.choice(list(whole))
        target = place / name
        target.write_bytes(mutate.declare(whole[name], *dice.choice(LARGE)))
    else:
        name = dice.choice(list(CLIPS))
        target = place / name
        target.write_bytes((case.prepared / name).read_bytes())
    case.attack(["score", target, "--work-px", 200, "--jitter", 0], apart=True)


def _fax(wide: int, high: int) -> bytes:
    """A white page of one bit a pixel, packed so that nearly nothing is left."""
    import io

    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None
    file = io.BytesIO()
    Image.new("1", (wide, high), 1).save(file, "TIFF", compression="group4")
    return file.getvalue()
