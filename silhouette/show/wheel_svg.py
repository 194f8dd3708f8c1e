"""Paints a :class:`~silhouette.show.wheel.Wheel` as inline SVG that takes its inks from CSS. It decides nothing."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from silhouette.geometry.angles import Arc
from silhouette.records import Pose
from silhouette.show import words
from silhouette.show.svg import UNIT, figure_class
from silhouette.show.wheel import Band, Body, Figure, Letter, Points, RingName, Wheel, wheel_of
from silhouette.show.wheel_layout import Room
from silhouette.texts import printable

SIZE = (480.0, 460.0)
"""Width and height of the wheel's own units; type in it is 11 of them."""
TYPE = 11.0
# A letter's width over its size, good enough to keep angles apart whatever face the reader's machine has.
LETTER = 0.62


def wheel_for_page(pose: Pose, arc: Arc | None = None) -> Wheel:
    """The wheel as it is laid out for the page; with an ``arc`` (from, to, clockwise) a bracket marks it."""
    room = Room(SIZE[0] / 2 - 4, SIZE[1] / 2 - 4, lambda view: words.degrees(view.angle),
                lambda text: LETTER * TYPE * len(text) + 2, TYPE + 3)
    return wheel_of(pose, room, TYPE, arc=arc)


def wheel_svg(pose: Pose, key: str, wheel: Wheel) -> str:
    """Ring, line, figures, a letter on each weak arc, and a mark for the camera that a script can turn.

    Figures are taken from ``svg.definitions`` of the same pose and key.
    """
    width, height = SIZE
    summary = escape(printable(f"{pose.name} {words.in_full(pose)}, seen from above."), quote=True)
    index = {id(view): i for i, view in enumerate(pose.views)}
    numbered = [(index[id(figure.view)], figure) for figure in wheel.figures]
    names = f'<g class="names">{"".join(map(_name, wheel.names))}</g>' if wheel.names else ""
    ways = "".join(f'<path class="way" d="{line_d(f.way)}"/>' for f in wheel.figures if f.way is not None)
    return (f'<svg class="wheel" role="img" data-rim="{wheel.rim:.1f}" aria-label="{summary}" '
            f'viewBox="{-width / 2:g} {-height / 2:g} {width:g} {height:g}"><title>{summary}</title>'
            f'{_ring(wheel)}{_line(wheel)}{_body(wheel.body)}{ways}'
            f'<g class="figures">{"".join(_figure(i, figure, key) for i, figure in numbered)}</g>'
            f'<g class="labels">{"".join(_label(i, figure) for i, figure in numbered)}</g>'
            f'{"".join(map(_letter, wheel.letters))}{names}'
            f'<path class="camera" d="M0 {wheel.rim - 1:.1f}l-7 -15h14z"/></svg>')


def line_d(points: Points, close: bool = False) -> str:
    """Path data of a line given with y upwards, in whole units and tenths, y downwards."""
    return "M" + "L".join(f"{x:.1f} {-y:.1f}" for x, y in points.tolist()) + ("Z" if close else "")


def _paths(kind: str, edges: Iterable[Points], close: bool = True) -> str:
    return "".join(f'<path class="{kind}" d="{line_d(edge, close)}"/>' for edge in edges)


def _ring(wheel: Wheel) -> str:
    bracket = "" if wheel.bracket is None else _paths("bracket", [wheel.bracket], close=False)
    others = "".join(f'<g class="other {other.ring}" data-rim="{other.inner:.1f}">{_bands(other.bands)}'
                     f'{_paths("notch", other.notches, close=False)}</g>' for other in wheel.others)
    return f'<g class="ring">{_bands(wheel.bands)}{_paths("notch", wheel.notches, close=False)}{bracket}</g>{others}'


def _bands(bands: Iterable[Band]) -> str:
    return "".join(_paths(band.kind.replace(" ", "") + (" half" if band.inferred else ""), [band.edge[:-1]])
                   for band in bands)


def _name(name: RingName) -> str:
    """A ring's name along its band; the headline's bold."""
    bold = ' style="font-weight:700"' if name.headline else ""
    return (f'<text{bold} transform="translate({name.x:.1f} {-name.y:.1f}) rotate({-name.turn:g})" '
            f'y="{0.36 * TYPE:.1f}">{name.word}</text>')


def _line(wheel: Wheel) -> str:
    """The ground under the line of readability, what is missing on the weak arcs, the line, the two limits."""
    lines = "".join(_paths(f"line {'dashed' if far else 'drawn'}", [line], close=False) for far, line in wheel.lines)
    limits = "".join(f'<circle class="limit" r="{limit:.1f}"/>' for limit in wheel.limits)
    return _paths("ground", wheel.ground) + _paths("lost", wheel.lost) + lines + limits


def _body(body: Body) -> str:
    """The figure from above, looking down the page."""
    (wide, deep), (head, long) = body.shoulders, body.head
    sides = {"middle": ("middle", 0.8 * TYPE), "right": ("end", 0.36 * TYPE), "left": ("start", 0.36 * TYPE)}
    names = "".join(
        f'<text x="{x:.1f}" y="{sides[side][1] - y:.1f}" style="text-anchor:{sides[side][0]}">{word}</text>'
        for word, x, y, side in body.names)
    return (f'<g class="body"><ellipse class="shoulders" cy="{-body.y:.1f}" rx="{wide / 2:.1f}" ry="{deep / 2:.1f}"/>'
            f'{_paths("head", [body.nose])}<ellipse class="head" cy="{-body.y:.1f}" rx="{head / 2:.1f}" '
            f'ry="{long / 2:.1f}"/>{names}</g>')


def _figure(i: int, figure: Figure, key: str) -> str:
    x, feet, scale = figure.x, -figure.feet, figure.height / UNIT
    drawn = "" if figure.view.outline is None else (
        f'<use href="#{key}v{i}" class="{figure_class(figure.view)}" data-i="{i}" '
        f'transform="translate({x:.1f} {feet - figure.height:.1f}) scale({scale:.4f})"/>')
    bar = f'<path class="bar" d="M{x - figure.bar:.1f} {feet + 2:.1f}h{2 * figure.bar:.1f}"/>' if figure.bar else ""
    return drawn + bar


def _label(i: int, figure: Figure) -> str:
    return f'<text data-i="{i}" x="{figure.x:.1f}" y="{TYPE + 2 - figure.feet:.1f}">{figure.label}</text>'


def _letter(letter: Letter) -> str:
    return (f'<g class="letter" transform="translate({letter.x:.1f} {-letter.y:.1f})"><circle r="{letter.radius:.1f}"/>'
            f'<text y="{0.36 * TYPE:.1f}">{letter.letter}</text></g>')
