"""The tables of the cutter that knows the room are fitted anew on a few composites."""

import cv2
import numpy as np
import pytest

from silhouette.cutout import person_net, room
from silhouette.studio import room_fitting


@pytest.fixture(scope="module")
def turn(tmp_path_factory: pytest.TempPathFactory) -> room_fitting.Turn:
    """A composite of a drawn figure, with the truth as the map of chances."""
    top = tmp_path_factory.mktemp("fitting")
    rng = np.random.default_rng(3)
    for pose in ("one", "two"):
        (top / pose / "masks").mkdir(parents=True)
        for k in range(room_fitting.STOPS):
            mask = np.zeros((400, 300), np.uint8)
            cv2.ellipse(mask, (150, 200), (25 + 5 * k, 150), 0, 0, 360, 255, -1)
            picture = np.where(mask[..., None] > 0, rng.integers(90, 200, (400, 300, 3)), 230).astype(np.uint8)
            cv2.imwrite(str(top / pose / f"{45 * k:03d}.jpg"), picture)
            cv2.imwrite(str(top / pose / "masks" / f"{45 * k:03d}.png"), mask)
    photos = top / "photos"
    photos.mkdir()
    for k in range(2):
        place = cv2.resize(rng.integers(0, 255, (20, 15, 3)).astype(np.uint8), (600, 800))
        cv2.imwrite(str(photos / f"{k}.jpg"), place)
    figures = top / "figures"
    figures.mkdir()
    for pose in ("one", "two"):
        (top / pose).rename(figures / pose)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(person_net, "look", lambda pixels: np.zeros((4, 3), np.float32))
        first, again = (next(room_fitting.composites(figures, photos, 1, 5)) for _ in range(2))
        other = next(room_fitting.composites(figures, photos, 1, 5, held=True))
    assert all((a == b).all() for a, b in zip(first.pictures, again.pictures, strict=True))
    assert first.name != other.name
    chances = [cv2.resize(t.astype(np.float32), (189, 252)) for t in first.truths]
    return room_fitting.Turn(first.name, first.empty, first.pictures, first.truths, chances)


def test_composite_is_the_empty_room_but_for_the_figure(turn: room_fitting.Turn) -> None:
    assert len(turn.pictures) == len(turn.truths) == room_fitting.STOPS
    assert {p.shape for p in turn.pictures} == {(room_fitting.H, room_fitting.W, 3)} == {turn.empty.shape}
    cut = room.cut(turn.pictures[0], room.from_empty(turn.empty), turn.chances[0])
    both = (cut.mask & turn.truths[0]).sum() / (cut.mask | turn.truths[0]).sum()
    assert both > 0.9


def test_fitted_tables_cut_as_well(turn: room_fitting.Turn) -> None:
    known, _ = room_fitting.last_signs([turn], False, True)
    table = known.table(without=(room.POSE,))
    assert table.shape == room.WITH_PERSON.shape and table[room.POSE] == 0
    signs, figure = np.concatenate(known.signs), np.concatenate(known.truths)
    assert (((signs @ table[:-1] + table[-1]) > 0) == figure).mean() > 0.95


def test_regression_finds_known_weights() -> None:
    rng = np.random.default_rng(0)
    x = rng.normal(size=(20000, 2)) * [1.0, 3.0] + [0.0, 2.0]
    figure = rng.random(len(x)) < 1 / (1 + np.exp(-(1.5 * x[:, 0] - 0.5 * x[:, 1] + 0.3)))
    assert np.abs(room_fitting.logistic(x, figure) - [1.5, -0.5, 0.3]).max() < 0.1


def test_promise_is_less_where_more_is_lost() -> None:
    rng = np.random.default_rng(0)
    rows = np.column_stack([np.log(rng.uniform(0.01, 0.3, 300)), np.zeros((300, 2)), np.ones(300)])
    loss = room_fitting.promise(rows, 1 - np.exp(rows[:, 0]))
    assert loss[0] == pytest.approx(1.0, abs=0.1) and loss[3] == pytest.approx(0.0, abs=0.3)
