"""The netlist: written out by our reader it is the circuit that ngspice itself reads, and nonsense is refused."""

import numpy as np
import pytest

from hardware.circuits.netlist import NETLIST, read
from tests.hardware.circuits import bench
from tests.hardware.circuits.bench import driven, edges, even, run, supply


def test_written_out_it_behaves_as_ngspice_reads_the_file_itself(tmp_path):
    beats = even(0.02, 0.02, 8)
    stimuli = [supply(), driven("enable", 3.3), driven("pulses", 3.3), driven("heartbeat", edges(beats))]
    nodes = ("alive1", "alive2", "supply", "wish", "back3", "back6")
    ours, theirs = (
        run(tmp_path, stimuli, 0.45, keep=nodes, elements=elements)
        for elements in (bench.BOARD.elements, [f".include {NETLIST}"])
    )
    moments_s = np.linspace(0.001, 0.45, 400)
    for node in (f"v({name})" for name in nodes):
        at = [np.interp(moments_s, traces.time_s, traces[node]) for traces in (ours, theirs)]
        assert np.mean(np.abs(at[0] - at[1]) > 0.02) < 0.02  # steps may fall a moment apart


def test_every_designator_stands_for_one_part():
    names = [element.name for element in bench.BOARD.elements]
    assert len(set(names)) == len(names)
    assert len(bench.BOARD.parts()) == 103


def test_a_line_of_no_known_form_is_refused(tmp_path):
    odd = tmp_path / "odd.cir"
    odd.write_text("L01 a b 1u\n")
    with pytest.raises(ValueError, match="L01"):
        read(odd)
