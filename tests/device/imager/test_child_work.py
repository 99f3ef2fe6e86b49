"""Long work in a child: followed, stopped, bounded in time, whatever the child prints and however it ends."""

import os
import sys
from dataclasses import dataclass, replace

import pytest

from device.imager.child_work import ChildWork, Ended
from shared.errors import Refused
from tests.bench.running_demo import wait_for


@dataclass(frozen=True)
class Job:
    number: int
    done: float = 0.0
    end: Ended | None = None


def work(**options):
    return ChildWork(
        "a tide table", lambda job, end: replace(job, end=end), lambda job, done: replace(job, done=done), **options
    )


def started(made, script, named=None):
    def first(before):
        return Job(1 if before is None else before.number + 1)

    return made.start((sys.executable, "-c", script), first, named)


def ended(made):
    return wait_for(lambda: made.jobs[-1].end, "the child ended")


def test_what_it_prints_comes_back_however_long_it_is():
    made = work()
    started(made, "import sys; print('x' * 3_000_000); print('y' * 300_000, file=sys.stderr)")
    end = ended(made)
    made.close()
    assert (end.status, len(end.printed), len(end.words)) == (0, 3_000_001, 300_000)
    assert not end.stopped
    assert not end.too_long


def test_progress_is_told_and_words_are_not_taken_for_it():
    made = work()
    started(made, "import sys; print('{\"done\": 0.5}\\n12\\n{}\\ntapetum: fog', file=sys.stderr); sys.exit(2)")
    end = ended(made)
    made.close()
    assert made.jobs[-1].done == 0.5
    assert (end.status, end.words, end.trouble("it")) == (2, "tapetum: fog", "fog")


def test_one_at_a_time_and_a_stopped_one_makes_room():
    made = work()
    assert made.stop() is False
    assert started(made, "import time; time.sleep(60)", named="quay").number == 1
    with pytest.raises(Refused, match="a tide table is running: quay; wait"):
        started(made, "pass")
    assert made.stop() is True
    assert ended(made).stopped
    assert started(made, "pass").number == 2
    assert not ended(made).stopped
    assert len(made.jobs) == 1
    made.close()
    made.close()


def test_a_child_that_takes_too_long_is_killed():
    made = work(longest_s=0.2)
    started(made, "import time; time.sleep(60)")
    end = ended(made)
    made.close()
    assert (end.status, end.too_long) == (-9, True)


def test_niced_children_leave_the_processors_to_the_picture():
    made = work()
    started(made, "import os; print(os.nice(0), os.environ['NUMBA_NUM_THREADS'])")
    assert ended(made).printed.split() == [str(min(os.nice(0) + 10, 19)), "1"]
    made.close()


def test_a_child_that_cannot_be_started_leaves_room_for_the_next():
    made = work(niced=False)
    with pytest.raises(OSError, match="No such file"):
        made.start(("/no/such/program",), lambda _: Job(1))
    assert made.jobs == ()
    started(made, "pass")
    assert ended(made).status == 0
    made.close()
