"""The end of the maps reader: a run that it has is finished, loops that it only loads are not waited for."""

import multiprocessing
import os
import signal
import threading
from pathlib import Path

import pytest

from device import maps_reader
from device.maps_reader import MapsReader
from shared.inflow.handover import Answer, Order

FORK = multiprocessing.get_context("fork")


def test_loading_is_not_waited_for():
    reader = MapsReader(FORK)
    assert reader.pid is not None
    os.kill(reader.pid, signal.SIGSTOP)  # as far from finishing as a process can be
    reader.load()
    reader.close()
    with pytest.raises(ProcessLookupError):
        os.kill(reader.pid, 0)
    reader.close()


def test_a_run_that_it_has_is_finished_first(monkeypatch, tmp_path):
    begun, may_end = FORK.Event(), FORK.Event()

    def slow(_order: Order, _folder: Path) -> Answer:
        begun.set()
        may_end.wait(60.0)
        return Answer("", 1.0)

    monkeypatch.setattr(maps_reader, "carried_out", slow)
    monkeypatch.setattr(maps_reader, "warm_up", lambda: None)
    reader = MapsReader(FORK)
    answers: list[Answer] = []
    asking = threading.Thread(target=lambda: answers.append(reader.read(Order(str(tmp_path), "", None), tmp_path)))
    asking.start()
    assert begun.wait(60.0)
    ending = threading.Thread(target=reader.close)
    ending.start()
    may_end.set()
    asking.join()
    ending.join()
    assert answers == [Answer("", 1.0)]
