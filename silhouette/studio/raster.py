"""Draws a coloured mesh from any viewpoint, off screen: colours and distances of every pixel.

A thin layer over VTK's software renderer. All light is worked out beforehand, vertex by vertex, so that the renderer
has nothing to do but fill triangles: about 20 ms for 1200 x 1600 pixels.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
Floats = NDArray[np.float64]
Triangles = NDArray[np.int64]


@dataclass(frozen=True)
class Mesh:
    """A triangle mesh with a colour at every vertex."""

    points: Points
    """(n, 3) metres, z up."""
    triangles: Triangles
    """(m, 3) vertex numbers."""
    albedo: NDArray[np.float64]
    """(n, 3) share of red, green and blue light thrown back, 0 to 1, linear."""

    def moved(self, angle_deg: float = 0.0, to: tuple[float, float] = (0.0, 0.0)) -> Mesh:
        """The mesh turned about the upright axis (anticlockwise seen from above) and then moved over the floor."""
        return Mesh(turned(self.points, angle_deg) + np.array([to[0], to[1], 0.0]), self.triangles, self.albedo)


def turned(points: Points, angle_deg: float) -> Points:
    """Points turned about the axis x = y = 0, anticlockwise seen from above."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def joined(meshes: list[Mesh]) -> Mesh:
    """Several meshes as one."""
    offsets = np.cumsum([0, *(len(m.points) for m in meshes)])
    return Mesh(
        np.concatenate([m.points for m in meshes]),
        np.concatenate([m.triangles + o for m, o in zip(meshes, offsets, strict=False)]),
        np.concatenate([m.albedo for m in meshes]),
    )


def vertex_normals(points: Points, triangles: Triangles) -> Points:
    """(n, 3) unit normals, each the area-weighted mean of its triangles'."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    face = np.cross(b - a, c - a)
    normals = np.stack([
        sum(np.bincount(triangles[:, k], face[:, axis], len(points)) for k in range(3)) for axis in range(3)
    ], axis=1)
    return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)


@dataclass(frozen=True)
class Eye:
    """A pinhole: where it is, what it looks at, and how wide."""

    position: tuple[float, float, float]
    target: tuple[float, float, float]
    focal_px: float
    """Focal length in pixels of the picture it draws."""
    width: int
    height: int
    aim: tuple[float, float] = (0.0, 0.0)
    """Shift of the picture's centre, right and down, pixels."""

    def axes(self) -> Points:
        """(3, 3) rows: picture right, picture down, forward, as unit vectors of the room."""
        forward = np.subtract(self.target, self.position).astype(float)
        forward /= np.linalg.norm(forward)
        up = np.array([0.0, 0.0, 1.0]) if abs(forward[2]) < 0.99 else np.array([0.0, 1.0, 0.0])
        right = np.cross(forward, up)
        right /= np.linalg.norm(right)
        return np.stack([right, np.cross(forward, right), forward])

    def project(self, points: Points) -> Points:
        """(..., 3) picture x and y in pixels (pixel centres at .5), distance along the line of sight in metres."""
        local = (points - np.array(self.position)) @ self.axes().T
        depth = np.maximum(local[..., 2], 1e-6)
        x = local[..., 0] / depth * self.focal_px + self.width / 2 + self.aim[0]
        y = local[..., 1] / depth * self.focal_px + self.height / 2 + self.aim[1]
        return np.stack([x, y, local[..., 2]], axis=-1)

    def rays(self) -> Points:
        """(height, width, 3) direction through the middle of every pixel; its forward part is 1."""
        x = (np.arange(self.width) + 0.5 - self.width / 2 - self.aim[0]) / self.focal_px
        y = (np.arange(self.height) + 0.5 - self.height / 2 - self.aim[1]) / self.focal_px
        right, down, forward = self.axes()
        return x[None, :, None] * right + y[:, None, None] * down + forward


NEAR, FAR = 0.3, 30.0


class _Window:
    """One hidden window of one size and the mesh in it."""

    def __init__(self, width: int, height: int) -> None:
        import pyvista as pv

        self.size = (width, height)
        self.plotter = pv.Plotter(off_screen=True, window_size=self.size, lighting="none")
        self.plotter.disable_anti_aliasing()
        self.plotter.set_background("black")
        self.mesh: Any = None
        self.actor: Any = None
        self.triangles: Triangles | None = None
        self.shown = False

    def set_mesh(self, points: Points, triangles: Triangles, colours: NDArray[np.uint8] | None) -> None:
        import pyvista as pv

        if self.triangles is not triangles:
            faces = np.column_stack([np.full(len(triangles), 3), triangles]).ravel()
            self.mesh = pv.PolyData(np.asarray(points, np.float32), faces)
            self.mesh.point_data["rgb"] = np.full((len(points), 3), 255, np.uint8)
            if self.actor is not None:
                self.plotter.remove_actor(self.actor, render=False)
            self.actor = self.plotter.add_mesh(self.mesh, scalars="rgb", rgb=True, lighting=False, render=False,
                                               reset_camera=False, copy_mesh=False)
            self.triangles = triangles
        else:
            self.mesh.points = np.asarray(points, np.float32)
        if colours is not None:
            self.mesh.point_data["rgb"] = colours

    def draw(self, eye: Eye, colours: bool) -> tuple[NDArray[np.uint8] | None, NDArray[np.float32]]:
        from vtkmodules.util.numpy_support import vtk_to_numpy
        from vtkmodules.vtkCommonCore import vtkFloatArray, vtkUnsignedCharArray

        camera = self.plotter.camera
        camera.position, camera.focal_point, camera.up = eye.position, eye.target, tuple(-eye.axes()[1])
        camera.view_angle = float(np.degrees(2 * np.arctan(eye.height / 2 / eye.focal_px)))
        camera.SetWindowCenter(-2 * eye.aim[0] / eye.width, 2 * eye.aim[1] / eye.height)
        if not self.shown:
            self.plotter.show(auto_close=False, interactive=False)
            self.shown = True
        camera.clipping_range = (NEAR, FAR)
        self.plotter.render_window.Render()
        width, height = self.size
        z, colour = vtkFloatArray(), None
        self.plotter.render_window.GetZbufferData(0, 0, width - 1, height - 1, z)
        if colours:
            rgb = vtkUnsignedCharArray()
            self.plotter.render_window.GetPixelData(0, 0, width - 1, height - 1, 0, rgb, 0)
            colour = vtk_to_numpy(rgb).reshape(height, width, 3)[::-1]
        return colour, vtk_to_numpy(z).reshape(height, width)[::-1]


def metres(buffer: NDArray[np.float32]) -> Floats:
    """Distance along the line of sight from the depth buffer's values (0 near to 1 far; 1 where nothing stands)."""
    return np.where(buffer < 1, NEAR * FAR / (FAR - buffer.astype(float) * (FAR - NEAR)), np.inf)


@lru_cache(maxsize=6)
def _window(width: int, height: int, slot: str) -> _Window:
    return _Window(width, height)


def draw(points: Points, triangles: Triangles, eye: Eye, slot: str, colours: NDArray[np.uint8] | None = None
         ) -> tuple[NDArray[np.uint8] | None, NDArray[np.float32]]:
    """Draw a mesh with the colours given at its vertices.

    Parameters
    ----------
    points, triangles : (n, 3) metres and (m, 3) vertex numbers
    eye : Eye
    slot : str
        Meshes that are drawn by turns do best in slots of their own, so that none has to be loaded anew.
    colours : (n, 3) uint8, optional
        Without them only the depth is drawn.

    Returns
    -------
    colour : (h, w, 3) uint8, black where nothing stands; None without colours
    buffer : (h, w) float32 depth for :func:`metres`, 1 where nothing stands
    """
    window = _window(eye.width, eye.height, slot)
    window.set_mesh(points, triangles, colours)
    return window.draw(eye, colours is not None)
