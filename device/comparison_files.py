"""A comparison as files: what the page shows of it, a picture with its legend to keep, and a table."""

import csv
import json
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from device.comparison import Comparison
from device.late_pictures import WIDEST_U_PERCENT, LatePictures, PercentPicture, late_pictures
from device.whole_folder import appearing_whole
from shared.colour import CLEAR_PERCENT, COVERED_PERCENT, VIRIDIS
from shared.compare.difference_colours import full_scale, laid_over
from shared.inflow.map_values import MEASURED, SATURATED, UNCERTAIN
from shared.inflow.parameters import Estimate
from shared.legend import BACKGROUND, INK, QUIET
from shared.live_picture import dash_pattern, stripe_pattern
from shared.papers.font import paper_font, wrapped
from shared.papers.words import ENGLISH
from shared.protocol.comparing import POINTS_FILE

FULL_SCALE_PERCENT = 120.0
_OPACITY = 0.8
_SURE = 2.0
"""A difference below so many of its standard uncertainties has no colour: about 1 in 20 such would be by chance."""
_LEAST_WIDTH = 900
Colours = NDArray[np.uint8]


def write_comparison(compared: Comparison, out: Path) -> dict[str, Any]:
    """Write comparison.json, comparison.csv and, where there can be pictures, first.png, second.png, difference.png, sheet.png and
    the values of their points.

    ``out`` appears when it is whole; raises Refused where it exists. Returns what comparison.json holds: the object of
    ``tapetum compare --json``, and ``pictures`` (None where nothing can be a percentage).
    """
    pictures = late_pictures(compared)
    result = compared.as_json() | {
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "pictures": None if pictures is None else _described(pictures) | {"outlines": _outlines(compared)},
    }
    with appearing_whole(out) as growing:
        growing.mkdir()
        (growing / "comparison.json").write_text(json.dumps(result, allow_nan=False), encoding="utf-8")
        _write_table(growing / "comparison.csv", compared)
        if pictures is not None:
            np.save(growing / POINTS_FILE, point_values((pictures.first, pictures.second, pictures.difference)))
            drawn = coloured(pictures)
            for name, picture in zip(("first", "second", "difference"), drawn, strict=True):
                Image.fromarray(picture).save(growing / f"{name}.png")
            _sheet(compared, drawn, full_scale(_certain(pictures.difference))).save(growing / "sheet.png")
    return result


def coloured(pictures: LatePictures) -> tuple[Colours, Colours, Colours]:
    """First, second and difference as (height, width, 3) red, green, blue."""
    found = pictures.difference
    sure = np.where(np.abs(found.percent) >= _SURE * found.u, _certain(found), np.float32(np.nan))
    change = laid_over(found.grey.astype(np.float32), sure, full_scale(_certain(found)))
    return (
        _marked(_percent_colours(pictures.first), pictures.first),
        _marked(_percent_colours(pictures.second), pictures.second),
        _marked(change, found),
    )


def _described(pictures: LatePictures) -> dict[str, Any]:
    height, width = pictures.first.percent.shape
    certain = pictures.difference.classes == MEASURED
    return {
        "width": width,
        "height": height,
        "full_scale_percent": FULL_SCALE_PERCENT,
        "difference_full_scale_percent": full_scale(_certain(pictures.difference)),
        "widest_u_percent": WIDEST_U_PERCENT,
        "certain_share": round(float(certain.mean()), 4),
        "median_u_percent": round(float(np.median(pictures.difference.u[certain])), 3) if certain.any() else None,
    }


def _outlines(compared: Comparison) -> dict[str, Any]:
    """Reference and regions as they lie in the pictures' view, in pixels of the sensor."""
    before = compared.runs.before
    placed = {
        name: str(curve.region if before.hand is None else before.hand.in_reference_view(curve.region))
        for name, curve in before.curves.items()
    }
    return {"reference": placed.pop(compared.reference), "regions": list(placed.values())}


def point_values(pictures: Sequence[PercentPicture]) -> NDArray[np.float16]:
    """(pictures, 3, height, width): percent, its standard uncertainty and class of each bin, as the page reads single points."""
    planes = [(one.percent, one.u, one.classes) for one in pictures]
    return np.clip(np.asarray(planes, np.float32), -6e4, 6e4).astype(np.float16)


def _certain(picture: PercentPicture) -> NDArray[np.float32]:
    return np.where(picture.classes == MEASURED, picture.percent, np.float32(np.nan))


def _percent_colours(picture: PercentPicture) -> NDArray[np.float32]:
    percent = np.nan_to_num(_certain(picture))
    cover = np.interp(percent, (CLEAR_PERCENT, COVERED_PERCENT), (0.0, _OPACITY))[..., None]
    colour = VIRIDIS[np.clip(np.rint(percent * (255.0 / FULL_SCALE_PERCENT)), 0, 255).astype(np.intp)]
    return np.asarray((1.0 - cover) * picture.grey[..., None] + cover * colour, np.float32)


def _marked(colours: NDArray[np.float32], picture: PercentPicture) -> Colours:
    """Patterns and no colour where a value is uncertain or saturated."""
    for one, pattern in ((SATURATED, stripe_pattern), (UNCERTAIN, dash_pattern)):
        luma = pattern(picture.classes.shape)
        marked = (picture.classes == one) & (luma > 0)
        colours[marked] = luma[marked][:, None]
    return np.rint(colours).astype(np.uint8)


def _sheet(compared: Comparison, drawn: Sequence[Colours], end: float) -> Image.Image:
    """All three with their legend, to be kept or printed."""
    height, width = drawn[0].shape[:2]
    scale = max(-(-_LEAST_WIDTH // (3 * width)), 1)
    across, tall = 3 * width * scale + 40, height * scale
    unit = max(across / 80.0, 14.0)
    font, small = paper_font(round(unit)), paper_font(round(unit * 0.8))
    lines = (
        f"dashes: uncertain by more than {WIDEST_U_PERCENT:g} points (one standard uncertainty); stripes: saturated",
        "no colour: no difference beyond twice its uncertainty",
        *compared.cautions[-3:],
        ENGLISH("caution-relative"),
        ENGLISH("caution-certified"),
    )
    beneath = [part for line in lines for part in wrapped(line, small, across - 20)]
    image = Image.new("RGB", (across, tall + round(unit * (7 + 1.35 * len(beneath)))), BACKGROUND)
    draw = ImageDraw.Draw(image)
    titles = (compared.first.name, compared.second.name, "second minus first, points")
    for at, (picture, title) in enumerate(zip(drawn, titles, strict=True)):
        left = 10 + at * (width * scale + 10)
        image.paste(
            Image.fromarray(picture).resize((width * scale, tall), Image.Resampling.NEAREST), (left, round(unit * 2.4))
        )
        draw.text((left, round(unit * 0.7)), title, INK, font=font)
    y = tall + round(unit * 3)
    ramp = VIRIDIS[np.rint(np.linspace(0, 255, width * scale)).astype(np.intp)]
    image.paste(Image.fromarray(ramp[None].repeat(round(unit), axis=0)), (10, y))
    draw.text(
        (10, y + round(unit * 1.2)),
        f"0 to {FULL_SCALE_PERCENT:g} % of the reference {compared.reference}, at each run's end",
        INK,
        font=small,
    )
    change = laid_over(np.full((1, width * scale), 40.0), np.linspace(-end, end, width * scale)[None], end)
    left = 10 + 2 * (width * scale + 10)
    image.paste(Image.fromarray(np.rint(change).astype(np.uint8).repeat(round(unit), axis=0)), (left, y))
    draw.text((left, y + round(unit * 1.2)), f"-{end:g} to +{end:g} points", INK, font=small)
    y += round(unit * 3)
    for line in beneath:
        draw.text((10, y), line, QUIET, font=small)
        y += round(unit * 1.35)
    return image


def _write_table(path: Path, compared: Comparison) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        heads = [f"{head}{ending}" for head in ("first", "second", "difference", "ratio") for ending in ("", " u")]
        table.writerow(["region", "figure", *heads])
        for name, change in compared.regions.items():
            for key, cells in change.compared().items():
                table.writerow([name, key, *_cells(cells)])


def _cells(figures: Iterable[Estimate]) -> Iterable[str]:
    for figure in figures:
        yield "" if figure.value is None else f"{figure.value:.6g}"
        yield "" if figure.u is None else f"{figure.u:.3g}"
