"""Files of parts: ready ones load, and what is wrong is one line with key, value and remedy."""

from pathlib import Path

import pytest

from shared.errors import Refused
from shared.optics.chain import chain
from shared.optics.parts_file import Parts
from shared.optics.stock import stock, stock_path

LED = "[led]\ncentre_nm = 770\n"
FILTER = "[emission_filter]\ncut_on_nm = 820\ncut_off_nm = 860\n"


@pytest.mark.parametrize("name", stock("ready"))
def test_ready_sets_load_and_have_a_title(name: str) -> None:
    parts = Parts.load(stock_path("ready", name))
    assert parts.title
    assert chain(parts).worth > 0


def test_ready_sets_span_what_a_builder_asks() -> None:
    sets = [Parts.load(path) for path in stock("ready").values()]
    assert {parts.clean_up is None for parts in sets} == {True, False}
    assert {parts.emission_filter.place for parts in sets} == {"front", "behind"}
    assert {parts.led.centre_nm for parts in sets} == {770, 785}
    assert None in {parts.emission_filter.cut_off_nm for parts in sets}


@pytest.mark.parametrize("kind", ["dyes", "sensors"])
def test_every_table_says_where_it_comes_from(kind: str) -> None:
    for path in stock(kind).values():  # type: ignore[arg-type]
        text = path.read_text(encoding="utf-8")
        assert 'origin = "' in text
        if kind == "dyes":
            assert "Permission is hereby granted, free of charge" in text
        else:
            assert "from memory" in text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[led]\ncentre_nm = 600\n" + FILTER, "led.centre_nm must be from 680 to 850: 600.0"),
        (
            "[led]\ncentre_nm = 690\nfwhm_nm = 60\n" + FILTER,
            "% of led's light lies outside dye.absorption's table of 660-900 nm",
        ),
        (
            LED + "[emission_filter]\ncut_on_nm = 860\ncut_off_nm = 820\n",
            "emission_filter: cut_on_nm 860 is not below cut_off_nm 820; swap them",
        ),
        (LED + FILTER + "blocking_od = -1\n", "emission_filter.blocking_od must be from 0.3 to 10: -1.0"),
        (LED + FILTER + "transmission = 1.2\n", "emission_filter.transmission must be from 0.01 to 1: 1.2"),
        (LED + FILTER + 'place = "inside"\n', "emission_filter.place is not one of front, behind: inside"),
        (LED + FILTER + "[lens]\nf_number = 0\n", "lens.f_number must be from 0.7 to 22: 0.0"),
        (LED + FILTER + "[clean_up]\nangle_deg = 80\n", "clean_up.angle_deg must be from 0 to 60: 80.0"),
        (LED + FILTER + "[clean_up]\nn_eff = 2\n", "clean_up: cut_on_nm and cut_off_nm are both absent; give one"),
        (
            LED + FILTER + '[dye]\nabsorption = "icg-blood"\n',
            "dye: absorption 'icg-blood' is not one of icg-plasma, icg-water",
        ),
        (LED + FILTER + "[dye]\nemission_peak_nm = 900\n", "dye.emission_peak_nm must be from 810 to 840: 900.0"),
        (LED + FILTER + '[sensor]\nresponse = "best"\n', "sensor: response 'best' is not one of colour-without"),
        (
            LED + FILTER + "[sensor]\nwavelength_nm = [600, 830]\nquantum_efficiency = [0.3, 0.2]\n",
            "% of the glow that passes lies outside sensor.wavelength_nm 600-830; extend the table",
        ),
        (
            LED + FILTER + "[sensor]\nwavelength_nm = [800, 1000]\nquantum_efficiency = [0.3, 0.2]\n",
            "of led's light lies outside sensor.wavelength_nm's table of 800-1000 nm",
        ),
        (LED + FILTER + "[target]\nconcentration_um = -1\n", "target.concentration_um must be from 0 to 5000: -1.0"),
        (
            LED + FILTER + "[lens]\nfocal_length_mm = 50\n[target]\ndistance_mm = 60\n",
            "target.distance_mm 60 is too near for lens.focal_length_mm 50; choose a longer distance",
        ),
        ("[led]\nfwhm_nm = 20\n" + FILTER, "led: centre_nm is absent; give it, or wavelength_nm with relative_power"),
        (
            "[led]\ncentre_nm = 770\nwavelength_nm = [750, 790]\nrelative_power = [1, 1]\n" + FILTER,
            "led: centre_nm stands beside a table; keep one of the two",
        ),
        (
            "[led]\nwavelength_nm = [500, 790]\nrelative_power = [1, 1]\n" + FILTER,
            "led.wavelength_nm[0] must be from 600 to 1100",
        ),
        (LED, "missing key: emission_filter"),
        (LED + FILTER + "[mirror]\nx = 1\n", "unknown key: mirror; known here: clean_up, dye"),
    ],
)
def test_what_is_wrong_is_one_line(text: str, words: str, tmp_path: Path) -> None:
    file = tmp_path / "pier.toml"
    file.write_text(text)
    with pytest.raises(Refused) as refused:
        Parts.load(file)
    assert words in refused.value.line
    assert refused.value.line.startswith(str(file))
    assert "\n" not in refused.value.line
