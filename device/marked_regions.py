"""Which reference and which regions are meant: given now, marked while recording, or drawn in the scene of a rehearsal."""

import contextlib
import tomllib
from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt

from shared.errors import Refused
from shared.recording import Recording
from shared.region import Region
from shared.scene.description import Scene

_HOW = "give --reference name:x,y,width,height, healthy tissue in pixels"


def reference_of(recording: Recording, given: str | None = None) -> Region:
    """The reference given, else the last one marked, else that of the simulated scene; raises Refused where there is none."""
    if given is not None:
        return _named_or_parsed(recording, given)
    marked = _marked(recording, "reference")
    if marked:
        return list(marked.values())[-1]
    scene = _scene_of(recording)
    if scene is not None and scene.tissue:
        return scene_region(scene, scene.dye.reference or scene.tissue[0].name)
    raise Refused("no reference is marked in this recording", recording.name, _HOW)


def regions_of(recording: Recording, given: Sequence[str] = ()) -> tuple[Region, ...]:
    """The regions given, else those marked and not taken away, else what shows of a simulated scene's tissues.

    Raises Refused for one given twice or that cannot be read.
    """
    if not given:
        marked = tuple(_marked(recording, "region").values())
        scene = _scene_of(recording)
        return marked if marked or scene is None else _shown_tissues(scene)
    regions = tuple(_named_or_parsed(recording, text) for text in given)
    names = [region.name for region in regions]
    for name in names:
        if names.count(name) > 1:
            raise Refused("two regions have the same name", name, "name them apart")
    return regions


def _shown_tissues(scene: Scene) -> tuple[Region, ...]:
    found: list[Region] = []
    for tissue in scene.tissue:
        with contextlib.suppress(Refused):
            found.append(scene_region(scene, tissue.name))
    return tuple(found)


def scene_region(scene: Scene, name: str) -> Region:
    """Square well inside what shows of a scene's tissue; raises Refused for an unknown name or a tissue that cannot be seen."""
    names = [tissue.name for tissue in scene.tissue]
    if name not in names:
        raise Refused("no such region or tissue", name, f"known here: {', '.join(names)}")
    camera, scale = scene.camera, scene.optics.mm_per_px
    stencil = Image.new("L", (camera.width, camera.height))
    for number, tissue in enumerate(scene.tissue, 1):
        corners = [(x / scale, y / scale) for x, y in tissue.polygon_mm]
        ImageDraw.Draw(stencil).polygon(corners, fill=number)
    seen = np.pad(np.asarray(stencil) == names.index(name) + 1, 1)
    depth = distance_transform_edt(seen)[1:-1, 1:-1]
    y, x = (int(place) for place in np.unravel_index(int(np.argmax(depth)), depth.shape))
    if depth[y, x] < 2:
        raise Refused("this tissue shows nowhere in the scene", name, "name another")
    return Region.around(name, x, y, max(int(depth[y, x] * 0.4), 1))


def _named_or_parsed(recording: Recording, text: str) -> Region:
    if ":" in text:
        return Region.parse(text)
    known = _marked(recording, "region") | _marked(recording, "reference")
    if text in known:
        return known[text]
    scene = _scene_of(recording)
    if scene is not None:
        return scene_region(scene, text)
    marked = ", ".join(known) or "none"
    raise Refused(
        "no region of this name is marked", text, f"marked: {marked}; or write name:x,y,width,height in pixels"
    )


def _marked(recording: Recording, kind: str) -> dict[str, Region]:
    found: dict[str, Region] = {}
    for event in recording.events:
        if event.kind != kind:
            continue
        text = event.fields.get("region")
        if isinstance(text, str) and text:
            region = Region.parse(text)
            if kind == "reference":
                found.clear()
            found.pop(region.name, None)
            found[region.name] = region
        elif kind == "reference":
            found.clear()
        else:
            found.pop(str(event.fields.get("name", "")), None)
    return found


def _scene_of(recording: Recording) -> Scene | None:
    text = recording.extra.get("scene")
    if not isinstance(text, str) or not text:
        return None
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refused(f"scene stored in {recording.name}: not valid TOML, {error}", remedy=_HOW) from None
    return Scene.from_values(values, f"scene stored in {recording.name}")
