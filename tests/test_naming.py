"""How stops are called in a sentence."""

from pathlib import Path

import pytest

from silhouette.naming import named
from silhouette.records import Stop

TURN = [Stop(k, Path(f"IMG_{k}.jpg"), f"IMG_{k}", 15.0 * k % 360, "outline") for k in range(25)]


@pytest.mark.parametrize(("which", "words"), [
    ([9], "135"), ([9, 10], "135 and 150"), ([1, 3, 5, 7, 9, 11], "15, 45, 75, 105, 135 and 165"),
    (range(3, 11), "45 to 150"), ([0, *range(3, 9), 18], "0, 45 to 120 and 270"),
    ([0, 1, 5, 8, 11, 14, 17], "0, 15, 75, 120, 165, 210 and 255"), (range(25), "all stops"), ([0, 24], "0"),
])
def test_stops_are_called_by_angle(which: list[int], words: str) -> None:
    assert named(TURN, which) == words


def test_a_turn_cut_all_round_is_not_called_by_its_one_angle() -> None:
    assert "0 to 0" not in named(TURN, range(25))


def test_a_few_stops_are_called_one_by_one() -> None:
    assert named(TURN[:4], range(4)) == "0, 15, 30 and 45"
