import asyncio
import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.errors import Refused
from shared.frame_bus import FrameBusReader, FrameBusWriter
from tests.shared.bus_process import payload


@pytest.fixture
def bus_path(tmp_path):
    return tmp_path / "frame_bus"


class Process:
    """A bus process, killed at the end whatever happens."""

    def __init__(self, *arguments):
        command = [sys.executable, "-m", "tests.shared.bus_process", *map(str, arguments)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2])

    def __enter__(self):
        assert self.line() == "ready"
        return self

    def line(self):
        return self.process.stdout.readline().strip()

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()


def test_newest_wins_and_nothing_comes_twice(bus_path):
    with FrameBusWriter(bus_path, 1000) as writer, FrameBusReader(bus_path) as reader:
        assert reader.latest() is None
        for number in range(1, 8):
            writer.publish(b"{}", bytes([number]) * number, sequence=number, published_ns=number * 10)
        picture = reader.latest()
        assert (picture.sequence, picture.published_ns, picture.header, picture.jpeg) == (7, 70, b"{}", b"\7" * 7)
        assert reader.latest(picture.publication) is None
        assert reader.latest(picture.publication - 1) == picture


@settings(max_examples=60, deadline=None)
@given(
    pictures=st.lists(
        st.tuples(st.binary(max_size=300), st.binary(max_size=600), st.integers(-(2**63), 2**63 - 1)), max_size=12
    ),
    slots=st.integers(2, 5),
)
def test_every_picture_comes_back_as_it_went(tmp_path_factory, pictures, slots):
    path = tmp_path_factory.mktemp("bus") / "frame_bus"
    with FrameBusWriter(path, 900, slots) as writer, FrameBusReader(path, doorbell=False) as reader:
        newest = -1
        for sequence, (header, jpeg, time_ns) in enumerate(pictures):
            publication = writer.publish(header, memoryview(jpeg), sequence=sequence, published_ns=time_ns)
            picture = reader.latest(newest)
            assert picture is not None
            assert publication == picture.publication > newest
            newest = picture.publication
            assert (picture.sequence, picture.published_ns, picture.header, picture.jpeg) == (
                sequence,
                time_ns,
                header,
                jpeg,
            )


def test_oversize_picture_is_refused_and_the_one_before_stays(bus_path):
    with FrameBusWriter(bus_path, 100) as writer, FrameBusReader(bus_path) as reader:
        writer.publish(b"{}", b"x" * 98, sequence=1, published_ns=1)
        with pytest.raises(Refused, match=r"101 bytes; its slots hold 100 bytes"):
            writer.publish(b"{}", b"x" * 99, sequence=2, published_ns=2)
        assert reader.latest().sequence == 1


def test_second_writer_is_refused_until_the_first_has_gone(bus_path):
    first = FrameBusWriter(bus_path, 100)
    with pytest.raises(Refused, match="has a writer already"):
        FrameBusWriter(bus_path, 100)
    first.close()
    first.close()
    FrameBusWriter(bus_path, 100).close()


def test_reader_may_come_first_and_follows_writers_that_come_and_go(bus_path):
    with FrameBusReader(bus_path) as reader:
        assert reader.latest() is None
        newest = -1
        for sequence, slot_bytes in enumerate([100, 100, 5000, 200]):  # same file, then two of another geometry
            with FrameBusWriter(bus_path, slot_bytes) as writer:
                writer.publish(b"{}", b"%d" % sequence, sequence=sequence, published_ns=0)
            assert reader.wait(5.0)
            picture = reader.latest(newest)
            assert picture.publication > newest
            assert picture.jpeg == b"%d" % sequence
            newest = picture.publication


def test_numbers_go_on_even_when_the_file_is_lost(bus_path):
    with FrameBusWriter(bus_path, 100) as writer:
        before = writer.publish(b"{}", b"", sequence=1, published_ns=0)
    bus_path.unlink()
    # numbers of a new file start at the milliseconds since boot
    with FrameBusReader(bus_path) as reader, FrameBusWriter(bus_path, 100) as writer:
        assert writer.publish(b"{}", b"", sequence=1, published_ns=0) >= before
        assert reader.latest(before - 1) is not None


def test_doorbell_rings_once_is_silenced_by_looking_and_wakes_asyncio(bus_path):
    async def rung(reader, writer):
        event = asyncio.Event()
        loop = asyncio.get_running_loop()
        loop.add_reader(reader.fileno(), event.set)
        writer.publish(b"{}", b"a", sequence=1, published_ns=0)
        await asyncio.wait_for(event.wait(), 5)
        loop.remove_reader(reader.fileno())

    with FrameBusWriter(bus_path, 100) as writer, FrameBusReader(bus_path) as reader:
        asyncio.run(rung(reader, writer))
        for sequence in range(2, 50):  # far more rings than a socket keeps: the writer never waits
            writer.publish(b"{}", b"a", sequence=sequence, published_ns=0)
        assert reader.wait(0)
        assert reader.latest().sequence == 49
        assert not reader.wait(0)


def test_doorbells_of_the_dead_are_taken_down(bus_path):
    folder = bus_path.with_name("frame_bus.readers")
    with FrameBusWriter(bus_path, 100) as writer:
        reader = FrameBusReader(bus_path)
        reader.doorbell.close()  # as the kernel does for a process that was killed
        (folder / "no-socket").write_text("")
        writer.publish(b"{}", b"", sequence=1, published_ns=0)
        assert list(folder.iterdir()) == []
        with FrameBusReader(bus_path):
            assert len(list(folder.iterdir())) == 1
        assert list(folder.iterdir()) == []
        reader.close()


def test_works_in_a_folder_deeper_than_socket_addresses_reach(tmp_path):
    deep = tmp_path / ("d" * 100) / ("e" * 100)
    deep.mkdir(parents=True)
    with FrameBusWriter(deep / "frame_bus", 100) as writer, FrameBusReader(deep / "frame_bus") as reader:
        writer.publish(b"{}", b"", sequence=1, published_ns=0)
        assert reader.wait(5.0)


def test_what_is_no_bus_is_refused(bus_path):
    bus_path.write_bytes(b"x" * 10_000)
    with FrameBusReader(bus_path) as reader, pytest.raises(Refused, match="not a frame bus"):
        reader.latest()
    with (
        FrameBusWriter(bus_path, 100) as writer,
        FrameBusReader(bus_path) as reader,
    ):  # a writer puts a bus in its place
        writer.publish(b"{}", b"", sequence=5, published_ns=0)
        assert reader.latest().sequence == 5


def test_no_room_is_refused_before_anything_is_mapped(bus_path):
    with pytest.raises(Refused, match="frame bus cannot be made"):
        FrameBusWriter(bus_path, 1 << 50)
    assert not bus_path.exists()
    assert [path.name for path in bus_path.parent.iterdir() if path.name.endswith(".new")] == []


@pytest.mark.parametrize("spoiled", [0, 40, 64, 70, 500])
def test_a_slot_that_is_not_whole_is_never_given(bus_path, spoiled):
    """Whatever byte of the newest slot differs (head, checksum, payload), the reader sees no picture rather than a wrong one."""
    with FrameBusWriter(bus_path, 1000) as writer, FrameBusReader(bus_path) as reader:
        publication = writer.publish(b"{}", b"y" * 900, sequence=1, published_ns=0)
        at = writer._geometry.slot_at(publication) + (spoiled if spoiled != 40 else 33)
        writer._memory[at] ^= 1
        assert reader.latest() is None
        writer._memory[at] ^= 1
        assert reader.latest().publication == publication


def test_four_readers_see_only_whole_pictures_of_a_writer_at_full_speed(bus_path):
    with Process("writer", bus_path, 200_000, 150_000):
        readers = [Process("reader", bus_path, 3000) for _ in range(4)]
        for reader in readers:
            reader.__enter__()
        seen = [reader.line() for reader in readers]
        for reader in readers:
            reader.__exit__()
    assert seen == ["3000"] * 4


def test_writer_killed_while_writing_leaves_the_last_whole_picture(bus_path):
    """Large pictures, so that nearly all the writer's time is spent writing; killed at 12 random moments."""
    moments = random.Random(5)
    newest, largest = -1, 3_000_000
    with FrameBusReader(bus_path) as reader:
        for _ in range(12):
            with Process("writer", bus_path, largest + 1000, largest) as writer:
                for _ in range(moments.randrange(3, 9)):
                    assert reader.wait(10.0)
                    assert reader.latest(newest) is not None
                os.kill(writer.process.pid, 9)
                writer.process.wait()
            picture = reader.latest()
            assert picture is not None
            assert picture.publication > newest
            assert picture.jpeg == payload(picture.sequence, json.loads(picture.header)["largest_bytes"])
            newest = picture.publication
