"""The files of the massing model, opened by readers that are not ours."""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pytest

from silhouette.export.massing_files import stl_bytes, threemf_bytes
from silhouette.records_space import Solid
from silhouette.space import sections
from silhouette.space.hull import triangles

COMMENT = "Hollows that no outline shows are filled: the small of the back & <eye sockets>."


def ball() -> Solid:
    """A ball of 30 mm radius that stands at z = 0."""
    axis = np.arange(-34.25, 35, 1.5)
    points = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1)
    solid = triangles((30 - np.linalg.norm(points, axis=-1)).astype(np.float32), np.full(3, axis[0]), 1.5)
    return Solid(solid.vertices + np.array([0, 0, 30.0]), solid.faces)


def test_the_stl_holds_the_same_body_for_two_other_readers(tmp_path) -> None:  # type: ignore[no-untyped-def]
    import stl
    import trimesh

    data = stl_bytes(ball(), "Millimetres. " + COMMENT)
    (tmp_path / "massing.stl").write_bytes(data)
    mesh = trimesh.load(tmp_path / "massing.stl")
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.body_count == 1
    assert mesh.volume == pytest.approx(sections.volume(ball()), rel=1e-5)
    assert mesh.volume == pytest.approx(4 / 3 * np.pi * 30**3, rel=0.005)
    other = stl.mesh.Mesh.from_file(str(tmp_path / "massing.stl"))
    volume, centre, _ = other.get_mass_properties()
    assert volume == pytest.approx(mesh.volume, rel=1e-5) and centre == pytest.approx([0, 0, 30], abs=0.01)
    normals = other.normals / np.linalg.norm(other.normals, axis=1, keepdims=True)
    outward = other.vectors.mean(1) - [0, 0, 30]
    assert ((normals * outward).sum(1) > 0).all()


def test_the_3mf_says_its_unit_and_what_it_cannot_know(tmp_path) -> None:  # type: ignore[no-untyped-def]
    import trimesh
    from lxml import etree

    data = threemf_bytes(ball(), COMMENT, "A model's massing")
    (tmp_path / "massing.3mf").write_bytes(data)
    mesh = trimesh.load(tmp_path / "massing.3mf", force="mesh")
    assert mesh.is_watertight and mesh.units in ("millimeter", "millimeters", "mm")
    assert mesh.volume == pytest.approx(sections.volume(ball()), rel=1e-4)
    with zipfile.ZipFile(io.BytesIO(data)) as held:
        assert held.testzip() is None
        assert set(held.namelist()) == {"[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"}
        assert {i.date_time for i in held.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        root = etree.fromstring(held.read("3D/3dmodel.model"))
    space = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
    told = {e.get("name"): e.text for e in root.iter(f"{space}metadata")}
    assert told == {"Title": "A model's massing", "Description": COMMENT} and root.get("unit") == "millimeter"


def test_the_same_body_gives_the_same_bytes() -> None:
    assert stl_bytes(ball(), COMMENT) == stl_bytes(ball(), COMMENT)
    assert threemf_bytes(ball(), COMMENT) == threemf_bytes(ball(), COMMENT)


def test_the_stl_comment_is_short_and_never_begins_with_solid() -> None:
    data = stl_bytes(ball(), "Höhlen " + "x" * 200)
    assert data[:80].decode("ascii").startswith("H?hlen xxx")
    assert int(np.frombuffer(data[80:84], "<u4")[0]) == len(ball().faces) == (len(data) - 84) // 50
    with pytest.raises(ValueError, match="solid"):
        stl_bytes(ball(), "Solid of a figure")
