"""Sets of shoots with known truth, for measuring the clip reader and the shoot check.

    python -m silhouette.studio.shoots clips|turns|distance FOLDER [NAME ...]

clips: see clips.py. turns: good turnarounds, ``IMG_0001.jpg ...`` in the order shot with ``truth.json`` (a row a still:
file, angle, turned); the pose is held, the model sways a little, the steps are uneven. distance: stills from known
distances with the focal length in EXIF, and ``truth.json`` (file, distance_m, height_m of the camera, focal_35mm,
model_m).
"""

from __future__ import annotations

import json
import struct
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from silhouette.studio.bodies import Build, pose_body
from silhouette.studio.cameras import Camera
from silhouette.studio.clips import Clip, Faults, render_clip
from silhouette.studio.clothes import Outfit, dress
from silhouette.studio.photo import save_photo
from silhouette.studio.poses import NAMED
from silhouette.studio.room import Backdrop, Lamp
from silhouette.studio.scene import FILL, KEY, Scene, Stage, Standing, posed
from silhouette.studio.trials import HARD, HEAVY, KEEPER, MAN, OLD, SLIGHT, SOFT, WOMAN, figure_of

BARE = Outfit(skin="tan")
LIGHT = Outfit(skin="brown", shirt=(0.85, 0.82, 0.74), trousers=(0.42, 0.45, 0.5), hair=(0.06, 0.05, 0.05))
ROOM = Scene(Backdrop("wall", (0.7, 0.68, 0.62), (0.45, 0.4, 0.34), skirting_m=0.09))
PAPER = Scene(Backdrop("sweep", (0.6, 0.62, 0.65)), noise=2.0)
WARM = Scene(Backdrop("sweep", (0.72, 0.66, 0.58)), SOFT, vignette=0.25)
DARK = Scene(Backdrop("sweep", (0.22, 0.24, 0.27)), exposure=1.15)
LAMPLIT = Scene(Backdrop("wall", (0.78, 0.76, 0.72), (0.55, 0.5, 0.44), behind_m=1.5), HARD, ambient=0.14)
SMALL = Camera(distance_m=4.3, height_m=1.0, focal_35mm=50, width=360, height=640)


def clip_set() -> dict[str, Clip]:
    """Name -> clip; the first ones are good, the others are called by their fault."""

    def small(pose: str, build: Build, outfit: Outfit, scene: Scene, **more: object) -> Clip:
        return replace(Clip(NAMED[pose], build, outfit, scene, camera=SMALL), **more)  # type: ignore[arg-type]

    middling = replace(SMALL, width=450, height=800)
    phone = small("pointing", WOMAN, KEEPER, PAPER, stops=12, seed=31)
    return {
        "twelve": Clip(NAMED["waving"], WOMAN, KEEPER, ROOM, stops=12, seed=1),
        "thirtysix": Clip(NAMED["lunge"], MAN, LIGHT, PAPER, stops=36, seed=2, camera=middling),
        "half_second": small("contrapposto", SLIGHT, BARE, WARM, hold_s=(0.5, 0.6), move_s=(0.35, 0.5), seed=3),
        "one_second": small("akimbo", HEAVY, KEEPER, DARK, hold_s=(0.95, 1.15), seed=4),
        "skipped": small("twisted", SLIGHT, BARE, PAPER, seed=13, faults=Faults(skipped=(6, 15))),
        "droop": small("pointing", WOMAN, KEEPER, ROOM, seed=12, faults=Faults(droop_from=11, droop_deg=5)),
        "no_pauses": small("striding", MAN, BARE, WARM, seed=10, hold_s=(0.4, 0.5), faults=Faults(no_pauses=True)),
        "two_seconds": small("hauling a rope", OLD, LIGHT, ROOM, hold_s=(1.8, 2.1), seed=5, stops=12),
        "short": small("offering", HEAVY, LIGHT, WARM, seed=14, faults=Faults(end_deg=300)),
        "dark_stops": small("lunge", WOMAN, BARE, PAPER, seed=15, faults=Faults(dark=(8, 9), dark_gain=0.6)),
        "camera_moved": small("akimbo", SLIGHT, KEEPER, ROOM, seed=16, faults=Faults(camera_from=11)),
        "walk_through": small("offering", MAN, LIGHT, WARM, seed=17, faults=Faults(passer=(9.0, 12.0))),
        "wander": small("at ease", OLD, KEEPER, PAPER, seed=19, faults=Faults(wander_mm=22)),
        "cropped_hand": small("reaching up", WOMAN, BARE, WARM, seed=18, camera=replace(SMALL, aim=(0.0, -0.16))),
        "kneeling": small("kneeling on one knee", WOMAN, LIGHT, PAPER, seed=6, camera=replace(SMALL, height_m=0.7)),
        "hard_lamp": small("arms crossed overhead", MAN, BARE, LAMPLIT, seed=7),
        "thirtysix_quick": small("striding", OLD, KEEPER, ROOM, stops=36, hold_s=(0.5, 0.6), move_s=(0.3, 0.4), seed=8),
        "twentyfour_slow": small("brow shaded", HEAVY, LIGHT, PAPER, hold_s=(1.5, 2.0), move_s=(0.5, 0.7), seed=9),
        "slow_moves": small("pointing", OLD, BARE, PAPER, hold_s=(0.8, 1.0), move_s=(0.9, 1.2), seed=21),
        "quick_moves": small("carrying a load", MAN, KEEPER, ROOM, hold_s=(0.6, 0.9), move_s=(0.2, 0.3), seed=22),
        "two_seconds_24": small("waving", SLIGHT, LIGHT, WARM, hold_s=(1.8, 2.1), seed=23),
        "nobody": small("at ease", WOMAN, KEEPER, ROOM, stops=8, seed=20, faults=Faults(nobody=True)),
        "uneven_frames": replace(phone, uneven_frames=True),
        "rotation_flag": replace(phone, turned_pixels=True, seed=32),
        "hevc": replace(phone, codec="libx265", seed=33),
    }


def shoot_clips(folder: Path, only: list[str]) -> None:
    """Render the clips, and make the broken ones from them."""
    for name, clip in clip_set().items():
        if (only and name not in only) or (folder / f"{name}.mp4").exists():
            continue
        path = folder / f"{name}.mp4"
        render_clip(path, clip)
        if clip.turned_pixels:
            path.write_bytes(_to_be_turned(path.read_bytes(), clip.camera.width))
    good = folder / "twelve.mp4"
    if good.exists():
        (folder / "truncated.mp4").write_bytes(good.read_bytes()[: good.stat().st_size * 6 // 10])
        late = folder / "late.mp4"
        _ffmpeg("-i", good, "-c", "copy", late)
        (folder / "truncated_no_index.mp4").write_bytes(late.read_bytes()[: late.stat().st_size * 6 // 10])
        late.unlink()
        _ffmpeg("-i", good, "-frames:v", "1", folder / "one_frame.mp4")
        _ffmpeg("-f", "lavfi", "-i", "sine=frequency=220:duration=4", folder / "sound_only.mp4")


def _to_be_turned(clip: bytes, upright_width: int) -> bytes:
    """The MP4 with its track's matrix saying: turn a quarter clockwise to show (ISO/IEC 14496-12, tkhd)."""
    plain = struct.pack(">9i", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)
    quarter = struct.pack(">9i", 0, 1 << 16, 0, -(1 << 16), 0, 0, upright_width << 16, 0, 1 << 30)
    track = clip.index(b"tkhd")
    return clip[:track] + clip[track:].replace(plain, quarter, 1)


def _ffmpeg(*arguments: object) -> None:
    subprocess.run(["ffmpeg", "-v", "error", "-y", *(str(a) for a in arguments)], check=True)


def good_turns() -> dict[str, tuple[str, Build, Outfit, Scene, Camera]]:
    """Pose, build, outfit, scene and camera of turnarounds in which nothing is wrong."""
    near = Camera(distance_m=4.2, height_m=1.0, focal_35mm=58, width=450, height=600)
    far, low = replace(near, distance_m=5.5, focal_35mm=75), replace(near, height_m=0.7, distance_m=3.6, focal_35mm=50)
    side = Scene(Backdrop("sweep", (0.5, 0.55, 0.52)), (Lamp((2.2, -2.8, 2.6), 0.8, 0.3), FILL), ambient=0.25)
    return {
        "akimbo": ("akimbo", WOMAN, KEEPER, PAPER, near), "lunge": ("lunge", MAN, BARE, side, near),
        "contrapposto": ("contrapposto", SLIGHT, LIGHT, ROOM, far), "pointing": ("pointing", OLD, KEEPER, WARM, near),
        "reaching_up": ("reaching up", HEAVY, LIGHT, side, far), "striding": ("striding", WOMAN, BARE, PAPER, far),
        "kneeling": ("kneeling on one knee", MAN, LIGHT, WARM, low),
        "hauling": ("hauling a rope", HEAVY, KEEPER, ROOM, near),
        "wrapped": ("wrapped in her arms", WOMAN, BARE, WARM, near), "attention": ("attention", MAN, LIGHT, side, near),
        "crouching": ("crouching", SLIGHT, BARE, PAPER, low), "twisted": ("twisted", OLD, BARE, DARK, near),
        "hard_lamp": ("throwing", SLIGHT, KEEPER, LAMPLIT, near),
        "pole": ("holding a pole", WOMAN, KEEPER, PAPER, near),
        "overhead": ("arms crossed overhead", HEAVY, BARE, ROOM, far),
        "offering": ("offering", OLD, LIGHT, PAPER, near),
        "waving": ("waving", MAN, KEEPER, WARM, far), "one_leg": ("on one leg", WOMAN, BARE, side, near),
        "brow": ("brow shaded", SLIGHT, KEEPER, PAPER, near), "folded": ("arms folded", HEAVY, LIGHT, WARM, near),
    }


def shoot_good_turns(folder: Path, only: list[str], stops: int = 24, sway_mm: float = 3.0, uneven_deg: float = 2.0
                     ) -> None:
    """25 stills each, the last a repeat of the first. Sway: standard deviation of the head's place, millimetres."""
    for seed, (name, (pose, build, outfit, scene, camera)) in enumerate(good_turns().items()):
        if (only and name not in only) or (folder / name / "truth.json").exists():
            continue
        rng = np.random.default_rng(100 + seed)
        stage, figure, rows = Stage(scene, camera), figure_of(build, pose, outfit), []
        for k in range(stops + 1):
            turned = k * 360 / stops + (float(rng.normal(0, uneven_deg)) if k else 0.0)
            lean, off = rng.normal(0, sway_mm / 1000, 2), rng.normal(0, sway_mm / 2000, 2)
            at = Standing((float(off[0]), float(off[1])), (float(lean[0]), float(lean[1])))
            picture, _ = stage.shoot(figure, turned, at=at)
            file = f"IMG_{k + 1:04d}.jpg"
            taken = f"2024:05:04 10:{k // 6:02d}:{k % 6 * 10:02d}"
            save_photo(folder / name / file, picture, focal_35mm=camera.focal_35mm, taken=taken)
            rows.append({"file": file, "angle": turned % 360, "turned": turned})
        (folder / name / "truth.json").write_text(json.dumps(rows, indent=1))


def shoot_distances(folder: Path) -> None:
    """Stills from 2 to 6 m, as a phone's main lens (26 mm) and longer ones take them, three models each."""
    rows = []
    for build, pose, outfit in ((WOMAN, "at ease", KEEPER), (MAN, "pointing", BARE), (SLIGHT, "akimbo", LIGHT)):
        body = pose_body(build, NAMED[pose])
        figure = posed(dress(build, body, replace(outfit, hair=None, bun=False, shoes=None)))
        tall = float(figure.mesh.points[:, 2].max())
        for distance in (2.0, 3.0, 4.0, 6.0):
            for focal in (26.0, 35.0, 52.0, 77.0):
                if 18 / focal * distance < 1.18:  # feet and head need room above and below the lens's height of 1 m
                    continue
                camera = Camera(distance_m=distance, height_m=1.0, focal_35mm=focal, width=900, height=1200)
                stage = Stage(replace(ROOM, lamps=(KEY, FILL), backdrop=replace(ROOM.backdrop, behind_m=1.6)), camera)
                for angle in (0.0, 70.0):
                    name = f"{pose.replace(' ', '_')}_{distance:.0f}m_{focal:.0f}mm_{angle:03.0f}.jpg"
                    save_photo(folder / name, stage.shoot(figure, angle)[0], focal_35mm=focal)
                    rows.append({"file": name, "distance_m": distance, "height_m": 1.0, "focal_35mm": focal,
                                 "model_m": round(tall, 4), "angle": angle})
    (folder / "truth.json").write_text(json.dumps(rows, indent=1))


def main(arguments: list[str]) -> None:
    what, folder, *only = arguments
    if what == "clips":
        shoot_clips(Path(folder), only)
    elif what == "turns":
        shoot_good_turns(Path(folder), only)
    elif what == "distance":
        shoot_distances(Path(folder))


if __name__ == "__main__":
    main(sys.argv[1:])
