"""Drawings in millimetres laid on pages."""

from __future__ import annotations

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from silhouette.show.paper import PAPER_MM
from silhouette.show.tiles import Tile, laid_out, live_of
from silhouette.show.true_size import TITLE_MM, Piece, grouped, sheets_of


def piece(width: float, height: float, title: str = "A") -> Piece:
    box = (-width / 2, 0.0, width / 2, height)
    return Piece(title, box, lambda canvas: None, shapely.box(*box))


@given(st.lists(st.tuples(st.floats(5, 190), st.floats(5, 230)), min_size=1, max_size=12),
       st.sampled_from(sorted(PAPER_MM)))
@settings(max_examples=80, deadline=None)
def test_drawings_on_one_page_lie_in_order_apart_and_inside(sizes, paper):
    pieces = [piece(*size, title=str(i)) for i, size in enumerate(sizes)]
    groups = grouped(pieces, paper)
    assert [p.title for g in groups for p in g.pieces] == [p.title for p in pieces]
    for group in groups:
        width, height = live_of(*(PAPER_MM[paper][::-1] if group.turned else PAPER_MM[paper]))
        title = TITLE_MM if len(group.pieces) > 1 else 0
        boxes = [shapely.box(x, y, x + p.size[0], y + p.size[1] + title)
                 for p, (x, y) in zip(group.pieces, group.places, strict=True)]
        assert all(shapely.box(-1e-6, -1e-6, width + 1e-6, height + 1e-6).contains(box) for box in boxes)
        assert all(a.intersection(b).area < 1e-9 for i, a in enumerate(boxes) for b in boxes[i + 1:])


def test_what_fits_only_lying_is_turned_and_what_fits_not_is_tiled():
    wide, large = grouped([piece(250, 100), piece(400, 600)], "a4")
    assert wide.turned and wide.places == [(0.0, 0.0)]
    assert large.places == [] and sheets_of(large.pieces[0], "a4") == 8
    assert grouped([piece(5000, 5000)], "a4") == [], "nobody tapes that many sheets together"


@pytest.mark.parametrize(("row", "column", "name"), [(0, 0, "A1"), (1, 2, "B3"), (25, 0, "Z1"), (26, 9, "AA10")])
def test_sheets_have_names(row, column, name):
    assert Tile(0.0, 0.0, column, row).name == name


def test_sheets_on_which_nothing_falls_are_left_out():
    ell = shapely.box(0, 0, 20, 900).union(shapely.box(0, 0, 600, 20))
    whole = laid_out((0, 0, 600, 900), "a4", shapely.box(0, 0, 600, 900)).tiles
    assert len(laid_out((0, 0, 600, 900), "a4", ell).tiles) < len(whole)
