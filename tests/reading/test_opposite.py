"""What the opposite view shows lies on the other side of the picture."""

from __future__ import annotations

from shapely.geometry import Polygon, box

from silhouette.reading import opposite
from silhouette.records import Gap, Joint, Measures, Outline, Part, Tangent

FLAG = Polygon([(0, 0), (0.4, 0), (0.4, 0.2), (0.1, 0.2), (0.1, 1), (0, 1)])


def test_an_outline_lands_on_the_mirrored_pixels() -> None:
    line = Outline(FLAG, 200.0, (30.0, 10.0), (400, 300))
    other = opposite.outline(line)
    x0, _, x1, _ = (c * line.height_px for c in line.polygon.bounds)
    a0, _, a1, _ = (c * other.height_px for c in other.polygon.bounds)
    assert (400 - (x1 + 30), 400 - (x0 + 30)) == (a0 + other.origin_px[0], a1 + other.origin_px[0])
    assert other.origin_px[1] == 10 and other.picture_size == (400, 300)


def test_measures_keep_their_numbers_and_change_places() -> None:
    part = Part(box(0.2, 0, 0.4, 0.1), ((0.2, 0.0), (0.2, 0.1)), (0.4, 0.05), 0.1, 4.0, 0.2)
    found = Measures(0.1, 2.0, 0.5, (Gap(box(0.1, 0, 0.2, 1), "open", 0.1, 0.1),), (part,),
                     (Tangent((0.15, 0.5), 0.01),), 0.7, 0.4, 0.8, 0.6)
    other = opposite.measures(found)
    assert other.gaps[0].polygon.bounds == (-0.2, 0, -0.1, 1) and other.gaps[0].share == 0.1
    assert (other.parts[0].base, other.parts[0].tip) == (((-0.2, 0.0), (-0.2, 0.1)), (-0.4, 0.05))
    assert other.parts[0].polygon.bounds == (-0.4, 0, -0.2, 0.1)
    assert other.tangents == (Tangent((-0.15, 0.5), 0.01),)
    assert (other.solidity, other.symmetry, other.negative_space) == (0.7, 0.6, 0.1)


def test_a_joint_is_mirrored_about_the_middle_of_the_picture_with_its_other_place() -> None:
    assert opposite.joint(Joint("hand", 0.25, 0.5, 0.02, 0.75, (0.5, 0.125))) == (
        Joint("hand", 0.75, 0.5, 0.02, 0.75, (0.5, 0.125)))
    assert opposite.joint(Joint("head", 0.25, 0.125, 0.02)).also is None
