"""Furniture, appliances, lamps and plants as small meshes, out of the catalogues that `person_material.json` names.

A catalogue is a zip file of OBJ models. Each model is brought to the size that the catalogue gives, and thinned to at
most `FACES` triangles. Nobody is among them: people, animals, mannequins and dolls were left out when they were chosen.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import fast_simplification
import numpy as np
from scipy.spatial import cKDTree

FACES = 700
Mesh = tuple[np.ndarray, np.ndarray, np.ndarray]


def outline(text: str) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """An OBJ file's points (n, 3), triangles (m, 3), and the material's name for each triangle."""
    points: list[list[float]] = []
    faces: list[tuple[int, int, int]] = []
    names: list[str] = []
    material = ""
    for line in text.splitlines():
        word = line.split()
        if not word:
            continue
        if word[0] == "v":
            points.append([float(x) for x in word[1:4]])
        elif word[0] == "usemtl":
            material = word[1] if len(word) > 1 else ""
        elif word[0] == "f":
            corner = [int(w.split("/")[0]) for w in word[1:]]
            corner = [c - 1 if c > 0 else len(points) + c for c in corner]
            for k in range(1, len(corner) - 1):
                faces.append((corner[0], corner[k], corner[k + 1]))
                names.append(material)
    return np.array(points), np.array(faces, int).reshape(-1, 3), names


def paints(archive: zipfile.ZipFile, model: str, text: str) -> dict[str, np.ndarray]:
    """The colour (3,) uint8 RGB of each material: its own, or the mean of its picture."""
    found: dict[str, np.ndarray] = {}
    held = set(archive.namelist())
    folder = model.rpartition("/")[0]
    for library in re.findall(r"^mtllib\s+(.+?)\s*$", text, re.M):
        if f"{folder}/{library}" not in held:
            continue
        name = ""
        for line in archive.read(f"{folder}/{library}").decode("latin-1").splitlines():
            word = line.split()
            if word[:1] == ["newmtl"]:
                name = word[-1]
            elif word[:1] == ["Kd"] and name not in found:
                found[name] = (np.clip([float(x) for x in word[1:4]], 0, 1) * 255 + 0.5).astype(np.uint8)
            elif word[:1] == ["map_Kd"] and f"{folder}/{word[-1]}" in held:
                data = np.frombuffer(archive.read(f"{folder}/{word[-1]}"), np.uint8)
                picture = cv2.imdecode(data, cv2.IMREAD_COLOR)
                if picture is not None:
                    found[name] = (picture.reshape(-1, 3).mean(0)[::-1] + 0.5).astype(np.uint8)
    return found


def gathered(points: np.ndarray, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The mesh with its points drawn together on a grid, as coarse as `FACES` triangles ask for (leaves, above all)."""
    cell = 0.01
    kept = faces
    spots = points
    while len(kept) > FACES:
        _, first, to = np.unique(np.floor(points / cell), axis=0, return_index=True, return_inverse=True)
        spots, kept = points[first], to.reshape(-1)[faces]
        kept = kept[(kept[:, 0] != kept[:, 1]) & (kept[:, 1] != kept[:, 2]) & (kept[:, 2] != kept[:, 0])]
        kept = kept[np.unique(np.sort(kept, 1), axis=0, return_index=True)[1]]
        cell *= 1.2
    return spots, kept


def furnished(root: Path, group: dict[str, Any]) -> Iterator[Mesh]:
    """Points (n, 3) in metres, z up, standing on 0; triangles (m <= 700, 3); their colours (m, 3) uint8 RGB."""
    with zipfile.ZipFile(root / group["package"] / group["folder"]) as archive:
        for model, wide, deep, high in group["files"]:
            text = archive.read(model).decode("latin-1")
            points, faces, names = outline(text)
            paint = paints(archive, model, text)
            colours = np.array([paint.get(n, np.full(3, 160, np.uint8)) for n in names])
            low, top = points[faces].min((0, 1)), points[faces].max((0, 1))
            size = np.array([wide, high, deep]) / 100
            points = ((points - (low + top) / 2) / np.maximum(top - low, 1e-9) * size)[:, [0, 2, 1]] * [1, -1, 1]
            points[:, 2] += high / 200
            points, back = np.unique(np.round(points, 4), axis=0, return_inverse=True)
            faces = back.reshape(-1)[faces]
            whole = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
            faces, colours = faces[whole], colours[whole]
            centres = points[faces].mean(1)
            if len(faces) > FACES:
                points, faces = fast_simplification.simplify(
                    points.astype(np.float32), faces.astype(np.int32), target_count=FACES, agg=4
                )
                faces = np.asarray(faces, int)
            points, faces = gathered(points, faces)
            colours = colours[cKDTree(centres).query(points[faces].mean(1))[1]]
            used, faces = np.unique(faces, return_inverse=True)
            points = points[used]
            middle = (points.min(0) + points.max(0)) / 2
            yield points - [middle[0], middle[1], points[:, 2].min()], faces.reshape(-1, 3), colours


def joined(meshes: list[Mesh]) -> dict[str, np.ndarray]:
    """The meshes one after the other, and where the points (`vat`) and the triangles (`fat`) of each begin."""
    return {
        "vertices": np.concatenate([points for points, _, _ in meshes]).astype(np.float16),
        "faces": np.concatenate([faces for _, faces, _ in meshes]).astype(np.int32),
        "vat": np.cumsum([0] + [len(points) for points, _, _ in meshes]).astype(np.int64),
        "fat": np.cumsum([0] + [len(faces) for _, faces, _ in meshes]).astype(np.int64),
        "colours": np.concatenate([colours for _, _, colours in meshes]).astype(np.uint8),
    }
