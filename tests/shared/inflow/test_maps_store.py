"""Maps beside a recording, read back by ourselves and by zarr-python."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import zarr
import zarr.core.sync

from shared.errors import Refused
from shared.inflow.map_values import CLASS_WORDS, NAMES, PARAMETERS, InflowMaps, MapsAbout
from shared.inflow.maps_store import has_maps, read_maps, write_maps


@pytest.fixture(autouse=True)
def _zarr_threads() -> Iterator[None]:
    """zarr-python keeps an event loop and its pool for good; nothing of ours may."""
    yield
    zarr.core.sync.cleanup_resources()


def invented(seed: int = 0) -> InflowMaps:
    rng = np.random.default_rng(seed)
    shape = (len(NAMES), 5, 7)
    values, u = (rng.normal(size=shape).astype(np.float32) for _ in range(2))
    classes = rng.integers(0, len(CLASS_WORDS), shape).astype(np.uint8)
    values[classes > 0] = np.nan
    return InflowMaps(
        values, u, classes, MapsAbout("base:0,0,4,4", True, 5.25, 321, False, ("a note",), "of baselines")
    )


def test_zarr_python_reads_them_with_unit_and_definition(tmp_path: Path) -> None:
    maps = invented()
    write_maps(tmp_path, maps)
    group = zarr.open_group(tmp_path / "maps", mode="r")
    assert list(group.attrs["classes"]) == list(CLASS_WORDS)
    assert group.attrs["tapetum_maps"]["reference"] == "base:0,0,4,4"
    for k, parameter in enumerate(PARAMETERS):
        array = group[parameter.name]
        assert array.dtype == np.float32
        assert array.attrs["unit"] == parameter.unit
        assert array.attrs["definition"] == parameter.definition
        np.testing.assert_array_equal(array[:], maps.values[k])
        np.testing.assert_array_equal(group[f"{parameter.name}_u"][:], maps.u[k])
        np.testing.assert_array_equal(group[f"{parameter.name}_class"][:], maps.classes[k])


def test_what_was_written_is_read_again_and_newer_maps_take_its_place(tmp_path: Path) -> None:
    assert not has_maps(tmp_path)
    write_maps(tmp_path, invented(1))
    newer = invented(2)
    write_maps(tmp_path, newer)
    assert has_maps(tmp_path)
    again = read_maps(tmp_path)
    assert again.about == newer.about
    for name in ("values", "u", "classes"):
        np.testing.assert_array_equal(getattr(again, name), getattr(newer, name))
    assert [path.name for path in tmp_path.iterdir()] == ["maps"]


def test_damage_is_named(tmp_path: Path) -> None:
    with pytest.raises(Refused, match=r"maps/zarr\.json: missing"):
        read_maps(tmp_path)
    write_maps(tmp_path, invented())
    (tmp_path / "maps" / "arrival_s" / "c" / "0" / "0").write_bytes(b"nonsense")
    with pytest.raises(Refused, match=r"arrival_s.*damaged"):
        read_maps(tmp_path)
