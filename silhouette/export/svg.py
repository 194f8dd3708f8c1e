"""Outlines as vector files: one scale, one ground line, plumb line and head-height grid for every stop alike."""

from __future__ import annotations

from xml.sax.saxutils import escape

from silhouette.geometry.drawn import path_data, thinned
from silhouette.records_shoot import SetFigure, SetLayout
from silhouette.texts import printable

POSE_MM = 200.0
"""Printed height of the pose, mm, where no print scale is asked for."""
MARGIN_MM = 10.0
OFF_MM = 0.05
"""How far a line may lie off the figure's own contour, mm: under any pen's width."""


def outline_svg(figure: SetFigure, layout: SetLayout, *, pose_mm: float = POSE_MM) -> str:
    """One stop as an SVG document measured in millimetres, the pose ``pose_mm`` high; the same size for every stop."""
    left, top, right, bottom = layout.bounds
    top = min(top, -layout.crown)
    x = MARGIN_MM - left * pose_mm
    y = MARGIN_MM - top * pose_mm
    width = (right - left) * pose_mm + 2 * MARGIN_MM
    height = (max(bottom, 0.0) - top) * pose_mm + 2 * MARGIN_MM
    ring = f", {figure.ring} ring" if layout.rings else ""
    title = escape(printable(layout.name) + f" from {round(figure.angle) % 360} degrees{ring}")
    guides = [_line("ground", 0, y, width, y), _line("plumb", x, 0, x, height)]
    for number, over in layout.head_lines_of(figure.ring):
        guides.append(_line(f"head {number}", 0, y - over * pose_mm, width, y - over * pose_mm, faint=True))
    drawn = path_data(thinned(figure.polygon, OFF_MM / pose_mm), pose_mm, x, y, digits=2)
    return "\n".join([
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="0 0 {width:.2f} {height:.2f}">',
        f"<title>{title}</title>",
        f'<path id="figure" fill="#000" fill-rule="evenodd" d="{drawn}"/>',
        '<g id="guides" fill="none" stroke="#777">', *guides, "</g>", "</svg>", "",
    ])


def _line(what: str, x0: float, y0: float, x1: float, y1: float, *, faint: bool = False) -> str:
    look = 'stroke-width="0.12" stroke-dasharray="1.2 1.2"' if faint else 'stroke-width="0.25"'
    return f'<path id="{what.replace(" ", "-")}" {look} d="M{x0:.2f},{y0:.2f}L{x1:.2f},{y1:.2f}"/>'
