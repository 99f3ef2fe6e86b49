"""What to buy: well-formed, as many as ring and circuit need, and added up."""

import csv
import json
import re
import subprocess
import sys

import pytest

from hardware import parts as parts_list
from hardware.parts import CIRCUIT, COLUMNS, PARTS, RING, circuit_counts, read_parts, total_eur
from hardware.printed.render import dimension
from shared.bounded import read_toml
from shared.errors import Refused
from shared.optics.ring import read_ring


def rows() -> list[dict[str, str]]:
    with PARTS.open(newline="") as file:
        return list(csv.DictReader(file))


def test_one_piece_an_led_where_each_led_needs_one():
    parts, leds = read_parts(), read_ring(RING).leds
    for name in ("LED on board", "clean-up filter"):
        assert parts[name].quantity == leds


def test_the_ring_s_leds_are_those_of_the_circuit():
    designators = [part["designator"] for part in read_toml(CIRCUIT)["part"] if part["class"].startswith("LED")]
    assert len(designators) == len(set(designators)) == read_ring(RING).leds


def test_every_part_of_the_circuit_is_on_the_list_once():
    of_circuit = [row["class"] for row in rows() if row["quantity"] == "circuit"]
    counts = circuit_counts(of_circuit)
    others = [part for part in read_toml(CIRCUIT)["part"] if not part["class"].startswith("LED")]
    assert sum(counts.values()) == len(others)
    assert {part.part_class: part.quantity for part in read_parts().values() if part.part_class in of_circuit} == counts


def test_bought_parts_have_the_sizes_that_the_printed_ones_are_made_for():
    parts = read_parts()
    for name, part in (("filter", "emission filter"), ("clean_up", "clean-up filter")):
        assert parts[part].number("diameter_mm") == dimension(f"{name}_diameter_mm")
        assert parts[part].number("thickness_mm") == dimension(f"{name}_thickness_mm")
    plate, ring = parts["heat sink"], read_ring(RING)
    assert plate.number("outer_mm") == pytest.approx(2 * (ring.radius_mm + 13 - 2))
    assert plate.number("inner_mm") == pytest.approx(2 * (dimension("baffle_radius_mm") + 2.2))
    assert plate.number("thickness_mm") == dimension("heat_sink_mm")


def test_every_screw_of_the_printed_parts_is_on_the_list():
    """Counted in the drawings: 4 ring; 2 camera mount, 4 lid; 4 grip; 4 camera, 4 board; inserts for ring, mount and grip."""
    wanted = {"screw M3 x 16": 4, "screw M3 x 10": 2 + 4, "countersunk screw M3 x 10": 4, "screw M2.5 x 8": 4 + 4}
    assert {name: read_parts()[name].quantity for name in wanted} == wanted
    assert read_parts()["heat-set insert"].quantity == 4 + 2 + 4


def test_the_total_is_the_sum_of_the_lines():
    counts = {"ring": read_ring(RING).leds, "circuit": 0}
    plain = [row for row in rows() if row["quantity"] != "circuit"]
    by_hand = sum(
        float(row["each_eur_estimate_2026"]) * int(counts.get(row["quantity"], row["quantity"])) for row in plain
    )
    circuit = sum(part.eur for part in read_parts().values() if part.name.startswith("driver: "))
    assert total_eur(read_parts(), optional=True) == pytest.approx(by_hand + circuit)
    left_out = sum(part.eur for part in read_parts().values() if part.optional)
    assert total_eur(read_parts(), optional=False) == pytest.approx(by_hand + circuit - left_out)


def test_prices_say_that_they_are_estimates_with_currency_and_year():
    assert "each_eur_estimate_2026" in COLUMNS
    done = subprocess.run(
        [sys.executable, "-m", "hardware.parts", "--json"], capture_output=True, text=True, check=True
    )
    printed = json.loads(done.stdout)
    assert printed["estimate_eur_2026"] == round(total_eur(read_parts(), optional=False), 2)
    assert sum(line["estimate_eur_2026"] for line in printed["parts"]) == pytest.approx(
        printed["estimate_eur_2026_with_optional"], abs=0.01
    )


def test_parameters_carry_their_unit():
    for part in read_parts().values():
        for name in part.parameters:
            assert re.search(r"_(w|v|a|ma|mm|cm2|wh|g|px|um|k_w)$", name) or name in {
                "f_number",
                "efficiency",
            }


GOOD = "thing,a class,power_w=1,2,3,no"


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("thing,a class,power_w=1,2,3", r"line 2: not 6 columns; put text with commas in quotes"),
        ("thing,a class,power_w=1,2,3,no,", r"line 2: not 6 columns"),
        ("thing,a class,power_w=one,2,3,no", r"line 2: power_w is not a number: one"),
        ("thing,a class,power_w=1,two,3,no", r"line 2: quantity is not a number: two"),
        ("thing,a class,power_w=1,0,3,no", r"line 2: quantity: 0; write a whole number, ring or circuit"),
        ("thing,a class,power_w=1,1.5,3,no", r"line 2: quantity: 1.5"),
        ("thing,a class,power_w=1,2,-3,no", r"line 2: price is out of range: -3"),
        ("thing,a class,power_w=1,2,3,perhaps", r"line 2: optional is not yes or no: perhaps"),
        (f"{GOOD}\n{GOOD}", r"line 3: a second line for: thing"),
    ],
)
def test_a_malformed_line_is_refused_by_number(tmp_path, monkeypatch, line, complaint):
    path = tmp_path / "parts.csv"
    path.write_text(",".join(COLUMNS) + "\n" + line + "\n")
    circuit = tmp_path / "circuit.toml"
    circuit.write_text("part = []\n")
    monkeypatch.setattr(parts_list.circuit_counts, "__defaults__", (circuit,))
    with pytest.raises(Refused, match=complaint):
        read_parts(path)


def test_a_part_of_the_circuit_without_a_line_is_refused(tmp_path):
    circuit = tmp_path / "circuit.toml"
    circuit.write_text('[[part]]\ndesignator = "K1"\nclass = "relay"\n')
    with pytest.raises(Refused, match=r"K1 has no line in parts.csv: relay; add one"):
        circuit_counts(["resistor"], circuit)


def test_a_missing_list_is_refused(tmp_path):
    with pytest.raises(Refused, match=r"no such file: .*parts.csv; run this in the project's own folder"):
        read_parts(tmp_path / "parts.csv")


def test_a_missing_parameter_is_refused_with_part_and_name():
    with pytest.raises(Refused, match="board has no parameter: weight_kg"):
        read_parts()["board"].number("weight_kg")
