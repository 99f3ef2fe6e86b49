"""Reading dimensions off a mesh, as one would with a calliper."""

from dataclasses import dataclass

import numpy as np
import trimesh


@dataclass(frozen=True)
class Outline:
    """One closed line of a cut across z: middle and size of its bounding box, farthest and nearest point from the z axis."""

    x: float
    y: float
    width: float
    height: float
    outermost: float
    innermost: float


def cut(mesh: trimesh.Trimesh, z: float) -> list[Outline]:
    """Outlines at height z."""
    section = mesh.section(plane_origin=[0, 0, z], plane_normal=[0, 0, 1])
    assert section is not None, f"nothing at height {z}"
    outlines = []
    for points in section.discrete:
        low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
        radii = np.hypot(points[:, 0], points[:, 1])
        outlines.append(Outline(*((low + high) / 2), *(high - low), radii.max(), radii.min()))
    return outlines


def about_axis(mesh: trimesh.Trimesh, z: float) -> list[float]:
    """Radii of the circles about the axis at height z, smallest first."""
    return sorted(outline.outermost for outline in cut(mesh, z) if np.hypot(outline.x, outline.y) < 0.05)


def wall_mm(mesh: trimesh.Trimesh, samples: int = 600) -> np.ndarray:
    """Thickness of material below points spread over the surface, each along the inward normal, in mm."""
    points, faces = trimesh.sample.sample_surface(mesh, samples, seed=1)
    inward = -mesh.face_normals[faces]
    return np.array([_first_exit(mesh, point, way) for point, way in zip(points, inward, strict=True)])


def _first_exit(mesh: trimesh.Trimesh, point: np.ndarray, way: np.ndarray) -> float:
    """Distance along a ray to the next surface (Moeller and Trumbore 1997), from just below the one it starts on."""
    a, b, c = mesh.triangles[:, 0], mesh.triangles[:, 1], mesh.triangles[:, 2]
    edge1, edge2, start = b - a, c - a, point + 1e-4 * way
    across = np.cross(way, edge2)
    volume = np.einsum("ij,ij->i", edge1, across)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.einsum("ij,ij->i", start - a, across) / volume
        turned = np.cross(start - a, edge1)
        v = turned @ way / volume
        distance = np.einsum("ij,ij->i", edge2, turned) / volume
        hit = (np.abs(volume) > 1e-12) & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9) & (distance > 0)
    return float(distance[hit].min()) if hit.any() else np.inf
