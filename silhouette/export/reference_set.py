"""Turn a turnaround into a reference set: lay the stops out on one scale, one ground line and one plumb line.

Pure: nothing is read or written here; ``write_set.py`` writes the set. A fixed camera and a model that turns on the
spot give that common scale by themselves: the pictures' own pixels. Where the pictures do not share it (cropped, or
taken by hand), each figure is set to its own height and ground, and the set says so. Of a pose shot in several rings
each ring has its own camera, and so its own plumb line and ground line; where it is known how high the pose comes out
from each, all rings share the scale too.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import affinity

from silhouette.errors import PoseError, SettingsError
from silhouette.geometry.angles import apart
from silhouette.records import CloseUp, Note, RingCamera
from silhouette.records_shoot import SetFigure, SetLayout, SetRing, SetView
from silhouette.settings import RINGS, Ring
from silhouette.writing import CLOSE_UP

HEAD_SHARE = 0.130
"""Head height (chin to crown) over stature: 1 - 0.870, after Drillis & Contini 1966."""
LOOSE = 0.25
"""Most by which heights and ground lines of one fixed camera differ, over the figure's height. Perspective alone moves
them by a few per cent (a foot 0.35 m nearer, at 3 m, comes 13 % larger); cropping by hand moves them at will."""
MARGIN = 0.06
"""White round the figures of a set, heights of the pose."""
NEAR = 0.75
"""Of a ring's usual step: where another ring has a stop and this one none within so much, a stop is missing. Rings
whose stops lie half a step apart miss none."""
OPPOSITE = 10.0
"""Degrees by which two stops may miss being opposite and still count as such."""


@dataclass(frozen=True)
class _Placed:
    """Where one outline lies in its full picture, pixels."""

    left: float
    right: float
    ground: float
    height: float
    origin_x: float


def lay_out(
    name: str,
    views: Sequence[SetView],
    *,
    pose_height_m: float | None = None,
    model_height_m: float | None = None,
    head_m: float | None = None,
    cameras: Mapping[Ring, RingCamera] | None = None,
    sizes: Mapping[Ring, float] | None = None,
) -> SetLayout:
    """Put the stops of one pose on one scale and name them.

    Parameters
    ----------
    name : str
        The pose's name; made safe for file names.
    views : sequence of SetView
        Real stops only (nothing mirrored), in any order.
    pose_height_m : float, optional
        Height of the figure in this pose, from the ground to its highest point, m, as read off the height stick. None
        takes ``model_height_m``: the model stands at full height.
    model_height_m : float, optional
        The model's stature, m; the head-height grid starts there. None takes the pose's height.
    head_m : float, optional
        The model's head, chin to crown, m; None takes 0.13 of the stature.
    cameras : mapping of ring to RingCamera, optional
        Where the camera of each of several rings stood.
    sizes : mapping of ring to float, optional
        Pixels of the full picture for one length at the turning axis, by :func:`pixels_per_stature`. Where all rings
        have one, they share a scale.

    Raises
    ------
    PoseError
        If no stop has an outline.
    SettingsError
        If a height makes no sense.
    """
    refuse_heights(pose_height_m=pose_height_m, model_height_m=model_height_m, head_m=head_m)
    ordered = sorted(views, key=lambda v: (RINGS.index(v.ring), v.angle % 360, v.time or 0.0))
    placed = [(v, _place(v)) for v in ordered if v.outline is not None]
    if not placed:
        raise PoseError(f"No stop of {name} shows a figure that could be cut out, so there is no set to lay out.")
    stems = _stems(name, ordered)
    rings = _rings(ordered, cameras or {})
    units, loose = dict[Ring, float](), list[Ring]()
    for ring in sorted({v.ring for v, _ in placed}, key=RINGS.index):
        own = [(v, p) for v, p in placed if v.ring == ring]
        if _one_camera([v for v, _ in own], [p for _, p in own]):
            units[ring] = float(np.median([p.height for _, p in own]))
        else:
            loose.append(ring)
    units, shared = _on_one_scale(units, sizes or {})
    figures = _figures(placed, stems, units)
    pose_m = pose_height_m or model_height_m
    crown = model_height_m / pose_m if model_height_m and pose_m else 1.0
    head = head_m / pose_m if head_m and pose_m else HEAD_SHARE * crown
    boxes = np.array([f.polygon.bounds for f in figures])
    (left, top), (right, bottom) = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return SetLayout(
        name=name, figures=tuple(figures), views=tuple((stems[id(v)], v) for v in ordered),
        bounds=(float(left), float(top), float(right), float(bottom)),
        window=(float(left) - MARGIN, float(top) - MARGIN, float(right) + MARGIN, float(bottom) + MARGIN),
        head=head, crown=crown, pose_height_m=pose_m,
        notes=_notes(ordered, loose, shared, pose_height_m, model_height_m),
        rings=rings,
    )


def refuse_heights(
    *, pose_height_m: float | None = None, model_height_m: float | None = None, head_m: float | None = None
) -> None:
    """Stop where a height makes no sense: see :func:`lay_out`."""
    for what, value, low, high in (("pose height", pose_height_m, 0.1, 4.0), ("model height", model_height_m, 0.5, 2.5),
                                   ("head", head_m, 0.1, 0.4)):
        if value is not None and not low <= value <= high:  # a nan fails this too
            raise SettingsError(f"{what} is {low:g} to {high:g} m, not {value:g}.")


def file_stem(name: str, nameless: str = "pose") -> str:
    """A name with everything that a file system may refuse taken out; ``nameless`` where nothing is left."""
    return re.sub(r"[^\w-]+", "_", name, flags=re.UNICODE).strip("_-")[:60] or nameless


def _stems(name: str, ordered: Sequence[SetView]) -> dict[int, str]:
    """``keeper_045`` by the identity of each stop, of several rings ``keeper_low_045``; a second one at an angle is
    ``keeper_045b``."""
    several = len({view.ring for view in ordered}) > 1
    taken: dict[str, int] = {}
    stems: dict[int, str] = {}
    for view in ordered:
        stem = f"{file_stem(name)}{f'_{view.ring}' if several else ''}_{round(view.angle) % 360:03d}"
        taken[stem] = taken.get(stem, 0) + 1
        again = taken[stem] - 1
        stems[id(view)] = f"{stem}{'bcdefghijklmnopqrstuvwxyz'[again - 1]}" if 0 < again < 26 else stem
        if again >= 26:
            stems[id(view)] = f"{stem}_{again}"
    return stems


def _rings(ordered: Sequence[SetView], cameras: Mapping[Ring, RingCamera]) -> tuple[SetRing, ...]:
    """What is told of each of several rings; nothing of one."""
    angles = {ring: [v.angle for v in ordered if v.ring == ring] for ring in RINGS}
    rings = [ring for ring in RINGS if angles[ring]]
    if len(rings) == 1:
        return ()
    return tuple(
        SetRing(ring, len(angles[ring]), cameras.get(ring, RingCamera("unknown")),
                _missing(angles[ring], [a for other in rings if other != ring for a in angles[other]]))
        for ring in rings
    )


def _missing(own: Sequence[float], others: Sequence[float]) -> tuple[float, ...]:
    """Angles at which other rings have a stop and this one has none near."""
    step = float(np.median(np.diff(sorted(own)))) if len(own) > 1 else 360.0
    return tuple(sorted({round(a, 1) % 360 for a in others if min(apart(a, b) for b in own) > NEAR * step}))


def pixels_per_stature(camera: RingCamera, longer: int, top: float) -> float | None:
    """Pixels for a stature at the turning axis, half way up the pose, of a camera that stands so; None where that is
    not known.

    Parameters
    ----------
    camera : RingCamera
    longer : int
        Longer side of the full picture, pixels.
    top : float
        Height of the pose, statures.
    """
    if camera.height is None or camera.tilt is None or camera.distance is None or camera.lens is None:
        return None
    tilt = math.radians(camera.tilt)
    depth = camera.distance * math.cos(tilt) + (top / 2 - camera.height) * math.sin(tilt)
    return camera.lens * longer / depth if depth > 0 else None


def close_up_stems(name: str, close_ups: Sequence[CloseUp]) -> list[tuple[str, list[str]]]:
    """What each close-up shows, and ``keeper_closeup_left_hand_1`` for each of its pictures.

    Two that a file system may take for one (``Left hand``, ``left_hand``) are counted on.
    """
    count = Counter[str]()
    stems: list[tuple[str, list[str]]] = []
    for one in close_ups:
        detail = file_stem(one.name, "detail")
        numbers = range(count[detail.casefold()] + 1, count[detail.casefold()] + len(one.files) + 1)
        count[detail.casefold()] += len(one.files)
        stems.append((one.name, [f"{file_stem(name)}{CLOSE_UP}{detail}_{number}" for number in numbers]))
    return stems


def _place(view: SetView) -> _Placed:
    outline = view.outline
    assert outline is not None
    height, (x, y) = outline.height_px / view.scale, (v / view.scale for v in outline.origin_px)
    left, _, right, bottom = outline.polygon.bounds
    return _Placed(x + left * height, x + right * height, y + bottom * height, height, x)


def _one_camera(views: Sequence[SetView], placed: Sequence[_Placed]) -> bool:
    """True if these pictures can all come from one camera that did not move."""
    heights, grounds = np.array([p.height for p in placed]), np.array([p.ground for p in placed])
    usual = float(np.median(heights))
    same = len({v.full_size for v in views}) == 1
    return same and bool(np.ptp(heights) <= LOOSE * usual and np.ptp(grounds) <= LOOSE * usual)


def _axis(placed: Sequence[tuple[SetView, _Placed]]) -> float:
    """Where the turning axis stands in the picture, pixels.

    What reaches a to the left of the axis in one view reaches a to the right of it in the opposite view, so the axis is
    half way between the two (for a far camera; the median shares the error out). Without opposite stops: half way
    between the left and the right edge, the median of all.
    """
    middles = []
    for view, here in placed:
        other, there = min(placed, key=lambda p: apart(p[0].angle, view.angle + 180))
        if apart(other.angle, view.angle + 180) <= OPPOSITE:
            middles += [(here.left + there.right) / 2, (here.right + there.left) / 2]
    return float(np.median(middles or [(p.left + p.right) / 2 for _, p in placed]))


def _on_one_scale(units: dict[Ring, float], sizes: Mapping[Ring, float]) -> tuple[dict[Ring, float], bool]:
    """Pixels for a height of the pose in each ring, from what its outlines say of it alone, and whether the rings could
    be brought to one scale: that of the level ring, or of the first."""
    if len(units) < 2 or not set(units) <= set(sizes):
        return units, False
    main: Ring = "level" if "level" in units else next(iter(units))
    return {ring: units[main] * (sizes[ring] / sizes[main]) for ring in units}, True


def _figures(
    placed: Sequence[tuple[SetView, _Placed]], stems: dict[int, str], units: Mapping[Ring, float]
) -> list[SetFigure]:
    """Each stop on the plumb line and ground line of its ring, or, where its ring has no unit, on its own."""
    figures = list[SetFigure]()
    for ring in sorted({v.ring for v, _ in placed}, key=RINGS.index):
        own = [(v, p) for v, p in placed if v.ring == ring]
        axis, ground = _axis(own), float(np.median([p.ground for _, p in own]))
        for v, p in own:
            line = (units[ring], axis, ground) if ring in units else (p.height, (p.left + p.right) / 2, p.ground)
            figures.append(_figure(v, p, stems[id(v)], *line))
    return figures


def _figure(view: SetView, p: _Placed, stem: str, unit: float, axis: float, ground: float) -> SetFigure:
    assert view.outline is not None
    grow = p.height / unit
    top = p.ground - view.outline.polygon.bounds[3] * p.height
    shift = [(p.origin_x - axis) / unit, (top - ground) / unit]
    polygon = affinity.affine_transform(view.outline.drawn, [grow, 0, 0, grow, *shift])
    return SetFigure(angle=view.angle % 360, stem=stem, polygon=polygon, to_px=(unit, axis, ground), view=view)


def _notes(
    views: Sequence[SetView], loose: Sequence[Ring], shared: bool, pose_m: float | None, model_m: float | None
) -> tuple[Note, ...]:
    rings = sorted({view.ring for view in views}, key=RINGS.index)
    notes, left_out = list[Note](), sum(view.outline is None for view in views)
    if len(rings) == 1 and loose:
        notes.append(Note.of("no common camera"))
    elif len(rings) > 1:
        notes += [Note.of("no common camera in rings", rings=loose)] if loose else []
        notes.append(Note.of("rings on one scale" if shared and not loose else "rings on their own scales"))
    if left_out:
        notes.append(Note.of("stops without figure", count=left_out))
    if model_m and not pose_m:
        notes.append(Note.of("pose at full height", height_m=model_m))
    return tuple(notes)
