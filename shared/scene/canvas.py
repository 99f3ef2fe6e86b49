"""What a scene looks like before light falls on it: who is where, drawn once, so that a frame only looks things up."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import gaussian_filter

from shared.scene.description import Point, Scene
from shared.scene.dye import node_level, vessel_profile
from shared.scene.kernel import SURFACE_STEP
from shared.scene.texture import MOTTLE_BANDS_MM, RELIEF_BANDS_MM, relief

_SUPERSAMPLING = 4
U8 = NDArray[np.uint8]
I32 = NDArray[np.int32]
F32 = NDArray[np.float32]


@dataclass(frozen=True)
class Tissues:
    """Which tissues share each pixel: the three strongest, which is all of them but where four meet.

    ``numbers`` is (3, height, width), rising: 0 no tissue, 1 the scene's first. ``shares`` is (2, height, width), those of the
    second and third in 255ths. The same as runs of equal numbers a row: run r of ``run_starts[row]:run_starts[row+1]`` ends at
    ``run_ends[r]`` and has ``run_numbers[r]``.
    """

    numbers: U8
    shares: U8
    run_starts: I32
    run_ends: I32
    run_numbers: U8


@dataclass(frozen=True)
class Sparse:
    """Pixels of vessels and nodes, sorted by row: entry k of ``row_starts[row]:row_starts[row+1]`` adds ``shares[k]`` times
    the level of slot ``slots[k]`` at ``columns[k]``. A slot is a step along a vessel, or a node.
    """

    row_starts: I32
    columns: I32
    shares: F32
    slots: I32


class Canvas:
    """The drawn scene, ``margin_px`` larger than the picture on every side. Planes are (height, width) of that size."""

    def __init__(self, scene: Scene, margin_px: int, seed: int) -> None:
        self.scene = scene
        self.margin_px = margin_px
        self.shape = (scene.camera.height + 2 * margin_px, scene.camera.width + 2 * margin_px)
        self._scale = scene.optics.mm_per_px
        shares = self._tissue_shares()
        self.tissues = _three_strongest(shares, self.shape)
        body = 1.0 - shares[0]
        self.reflectance = self._drawn_reflectance(body, seed)
        self.mottle = self._drawn_mottle(shares, seed)
        self.slot_lengths_mm: list[NDArray[np.float64]] = []
        self.sparse = self._drawn_sparse()

    def slot_levels(self, since_injections_s: Sequence[float]) -> F32:
        """Level of every slot, summed over injections that many seconds ago."""
        parts = [
            sum((vessel_profile(vessel, along, since) for since in since_injections_s), np.zeros_like(along))
            for vessel, along in zip(self.scene.vessel, self.slot_lengths_mm, strict=True)
        ]
        nodes = [sum(node_level(node, since) for since in since_injections_s) for node in self.scene.node]
        return np.concatenate([*parts, np.array([*nodes, 0.0])]).astype(np.float32)

    def to_px(self, points_mm: Sequence[Point]) -> NDArray[np.float64]:
        """Positions on the canvas in pixels, (n, 2) as x, y, where the centre of the first pixel is at 0.5."""
        camera = self.scene.camera
        middle = np.array([camera.width, camera.height]) / 2
        from_middle = np.asarray(points_mm, np.float64) / self._scale - middle
        radius2 = (from_middle**2).sum(axis=-1, keepdims=True) / (middle**2).sum()
        return np.asarray(middle + from_middle * (1.0 + self.scene.optics.distortion * radius2) + self.margin_px)

    def _tissue_shares(self) -> list[F32]:
        """Share of every tissue in every pixel, [0] being none; they add up to 1."""
        fine = _SUPERSAMPLING
        labels = np.zeros((self.shape[0] * fine, self.shape[1] * fine), np.uint8)
        for number, tissue in enumerate(self.scene.tissue, start=1):
            _fill(labels, self.to_px(tissue.polygon_mm) * fine, number)
        picture = Image.fromarray(labels)
        shares = []
        for number in range(len(self.scene.tissue) + 1):
            stencil = picture.point([255 * (each == number) for each in range(256)]).reduce(fine)
            shares.append(np.rint(np.asarray(stencil, np.float32) * np.float32(fine**2 / 255)) / np.float32(fine**2))
        sigma_px = self.scene.optics.scatter_mm / self._scale
        return _scattered(shares, sigma_px) if sigma_px > 0 else shares

    def _drawn_reflectance(self, body: F32, seed: int) -> U8:
        surface = self.scene.surface
        drape = surface.drape_reflectance
        texture = surface.texture * relief(self.shape, self._scale, RELIEF_BANDS_MM, np.random.default_rng([seed, 72]))
        plane = drape + body * (1.0 - drape) + texture * np.where(body > 0.5, 1.0, 0.6 * drape).astype(np.float32)
        for mark in self.scene.mark:
            for rows, columns, share, _ in _along_path(
                self.to_px(mark.path_mm), mark.width_mm / self._scale, self.shape
            ):
                plane[rows, columns] *= 1.0 + share * body[rows, columns] * (mark.reflectance - 1.0)
        return _surface_steps(plane)

    def _drawn_mottle(self, shares: list[F32], seed: int) -> U8:
        strength = self.scene.surface.mottle
        if strength == 0:
            return np.full(self.shape, round(1 / SURFACE_STEP), np.uint8)
        rng = np.random.default_rng([seed, 73])
        plane = 1.0 + strength * relief(self.shape, self._scale, MOTTLE_BANDS_MM, rng)
        for share in shares[1:]:
            total = float(share.sum())
            if total > 0:
                plane -= share * np.float32((share * plane).sum() / total - 1.0)
        return _surface_steps(plane)

    def _drawn_sparse(self) -> Sparse:
        step_mm = self._scale / 2
        rows, columns, shares, slots = [], [], [], []
        begin = 0
        for vessel in self.scene.vessel:
            path = self.to_px(vessel.path_mm)
            length_mm = float(np.hypot(*np.diff(path, axis=0).T).sum()) * self._scale
            along_mm = np.arange(int(length_mm / step_mm) + 2, dtype=np.float64) * step_mm
            self.slot_lengths_mm.append(along_mm)
            for row, column, share, along_px in _along_path(path, vessel.width_mm / self._scale, self.shape):
                rows.append(row)
                columns.append(column)
                shares.append(share)
                slots.append(begin + np.rint(along_px * self._scale / step_mm).astype(np.int32))
            begin += along_mm.size
        for node in self.scene.node:
            row, column, share = _spot(self.to_px([node.centre_mm])[0], node.radius_mm / self._scale, self.shape)
            rows.append(row)
            columns.append(column)
            shares.append(share)
            slots.append(np.full(row.size, begin, np.int32))
            begin += 1
        return _by_row(rows, columns, shares, slots, self.shape[0])


def _fill(labels: U8, corners: NDArray[np.float64], number: int) -> None:
    """Write ``number`` where a pixel's centre lies inside the polygon (even-odd rule); corners are (n, 2) as x, y in pixels."""
    x0, y0 = corners.T
    x1, y1 = np.roll(corners, -1, axis=0).T
    top = max(int(np.ceil(y0.min() - 0.5)), 0)
    bottom = min(int(np.ceil(y0.max() - 0.5)), labels.shape[0])
    centres = np.arange(top, bottom)[:, np.newaxis] + 0.5
    crossed = (y0 <= centres) != (y1 <= centres)
    rise = np.where(y1 == y0, 1.0, y1 - y0)
    crossings = np.where(crossed, x0 + (centres - y0) / rise * (x1 - x0), np.inf)
    crossings.sort(axis=1)
    edges = np.ceil(np.clip(crossings, 0.0, labels.shape[1]) - 0.5).astype(np.int64)
    for row, (found, count) in enumerate(zip(edges, crossed.sum(axis=1), strict=True), start=top):
        for begin, end in found[:count].reshape(-1, 2):
            labels[row, begin:end] = number


def _scattered(shares: list[F32], sigma_px: float) -> list[F32]:
    """Blur within the body: drapes hide scattered light, so the body's own outline stays as sharp as it was."""
    body = 1.0 - shares[0]
    reach = np.maximum(_blurred(body, sigma_px), 1e-6)
    return [shares[0]] + [_blurred(share, sigma_px) / reach * body for share in shares[1:]]


def _blurred(plane: F32, sigma_px: float) -> F32:
    """Gaussian blur; a wide one from means of blocks two fifths of sigma wide, within 1 % and many times as fast."""
    block = int(sigma_px / 2.5)
    if block < 2:
        return np.asarray(gaussian_filter(plane, sigma_px, truncate=3))
    padded = np.pad(plane, [(0, -size % block) for size in plane.shape], mode="edge")
    means = padded.reshape(padded.shape[0] // block, block, -1, block).mean(axis=(1, 3), dtype=np.float32)
    down, across = (_kernel(size, block, sigma_px) for size in plane.shape)
    return np.asarray(down @ means @ across.T)


def _kernel(size: int, block: int, sigma_px: float) -> F32:
    """Weights, (size, blocks), of block means for each pixel; they add up to 1."""
    centres = (np.arange(-(-size // block)) + 0.5) * block
    distance = (np.arange(size) + 0.5)[:, np.newaxis] - centres
    weights = np.exp(-0.5 * (distance / sigma_px) ** 2)
    return np.asarray(weights / weights.sum(axis=1, keepdims=True), np.float32)


def _three_strongest(shares: list[F32], shape: tuple[int, int]) -> Tissues:
    numbers = np.zeros((3, *shape), np.uint8)
    best = np.zeros((3, *shape), np.float32)
    for number, share in enumerate(shares):
        carried, carried_number = share.copy(), np.full(shape, number, np.uint8)
        for place in range(3):
            wins = carried > best[place]
            best[place][wins], carried[wins] = carried[wins], best[place][wins]
            numbers[place][wins], carried_number[wins] = carried_number[wins], numbers[place][wins]
    best[best < 0.5 / 255] = 0.0
    numbers = np.where(best > 0, numbers, numbers[0])
    for low, high in ((0, 1), (1, 2), (0, 1)):
        wrong = numbers[low] > numbers[high]
        for plane in (numbers, best):
            plane[low], plane[high] = np.where(wrong, plane[high], plane[low]), np.where(wrong, plane[low], plane[high])
    steps = np.rint(best[1:] / np.maximum(best.sum(axis=0), 1e-9) * 255).astype(np.uint8)
    return _with_runs(numbers, steps)


def _with_runs(numbers: U8, shares: U8) -> Tissues:
    ends = np.ones(numbers.shape[1:], np.bool_)
    ends[:, :-1] = (numbers[:, :, 1:] != numbers[:, :, :-1]).any(axis=0)
    rows, columns = np.nonzero(ends)
    starts = np.concatenate([[0], np.cumsum(ends.sum(axis=1))]).astype(np.int32)
    run_numbers = np.ascontiguousarray(numbers[:, rows, columns].T)
    return Tissues(numbers, shares, starts, (columns + 1).astype(np.int32), run_numbers)


def _surface_steps(plane: F32) -> U8:
    steps: U8 = np.clip(np.rint(plane / SURFACE_STEP), 0, 255).astype(np.uint8)
    return steps


def _along_path(
    path_px: NDArray[np.float64], width_px: float, shape: tuple[int, int]
) -> Iterator[tuple[I32, I32, F32, NDArray[np.float64]]]:
    """Pixels near a polyline as (rows, columns, share across it, distance along it in pixels), each pixel once.

    The share is a Gaussian of full width at half maximum ``width_px`` about the nearest point of the line.
    """
    reach = 1.5 * width_px + 1
    left, top = np.floor(np.maximum(path_px.min(axis=0) - reach, 0)).astype(int)
    right, bottom = np.ceil(np.minimum(path_px.max(axis=0) + reach, (shape[1], shape[0]))).astype(int)
    if right <= left or bottom <= top:
        return
    nearest2 = np.full((bottom - top, right - left), np.inf)
    along = np.zeros_like(nearest2)
    before = 0.0
    for (x0, y0), (x1, y1) in itertools.pairwise(path_px):
        length = float(np.hypot(x1 - x0, y1 - y0))
        if length == 0:
            continue
        x_begin, x_end = _span(x0, x1, reach, left, right)
        y_begin, y_end = _span(y0, y1, reach, top, bottom)
        if x_end <= x_begin or y_end <= y_begin:
            before += length
            continue
        y, x = np.mgrid[y_begin:y_end, x_begin:x_end] + 0.5
        part = np.clip(((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length**2, 0.0, 1.0)
        distance2 = (x - x0 - part * (x1 - x0)) ** 2 + (y - y0 - part * (y1 - y0)) ** 2
        window = np.s_[y_begin - top : y_end - top, x_begin - left : x_end - left]
        closer = distance2 < nearest2[window]
        nearest2[window] = np.where(closer, distance2, nearest2[window])
        along[window] = np.where(closer, before + part * length, along[window])
        before += length
    rows, columns = np.nonzero(nearest2 < reach**2)
    share = np.exp2(-4.0 * nearest2[rows, columns] / width_px**2)
    yield (
        (rows + top).astype(np.int32),
        (columns + left).astype(np.int32),
        share.astype(np.float32),
        along[rows, columns],
    )


def _span(a: float, b: float, reach: float, low: int, high: int) -> tuple[int, int]:
    return max(int(np.floor(min(a, b) - reach)), low), min(int(np.ceil(max(a, b) + reach)), high)


def _spot(centre_px: NDArray[np.float64], radius_px: float, shape: tuple[int, int]) -> tuple[I32, I32, F32]:
    reach = 3.0 * radius_px
    left, right = _span(centre_px[0], centre_px[0], reach, 0, shape[1])
    top, bottom = _span(centre_px[1], centre_px[1], reach, 0, shape[0])
    rows, columns = np.mgrid[top : max(bottom, top), left : max(right, left)].reshape(2, -1)
    distance2 = (columns + 0.5 - centre_px[0]) ** 2 + (rows + 0.5 - centre_px[1]) ** 2
    near = distance2 < reach**2
    share = np.exp2(-distance2[near] / radius_px**2)
    return rows[near].astype(np.int32), columns[near].astype(np.int32), share.astype(np.float32)


def _by_row(rows: list[I32], columns: list[I32], shares: list[F32], slots: list[I32], height: int) -> Sparse:
    if not rows:
        none = np.zeros(0, np.int32)
        return Sparse(np.zeros(height + 1, np.int32), none, np.zeros(0, np.float32), none)
    row = np.concatenate(rows)
    order = np.argsort(row, kind="stable")
    starts = np.concatenate([[0], np.cumsum(np.bincount(row, minlength=height))]).astype(np.int32)
    return Sparse(starts, np.concatenate(columns)[order], np.concatenate(shares)[order], np.concatenate(slots)[order])
