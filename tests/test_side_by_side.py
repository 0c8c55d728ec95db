"""Work in other processes: whose result is whose, errors, Ctrl-C, and a process that dies."""

import math
import os
import subprocess
import sys
import time
from types import SimpleNamespace

import box_cases as cases
import pytest

from studies.common import side_by_side
from studies.common.side_by_side import SideBySide

SLEEP = """
import os, signal, sys, time
from studies.common.side_by_side import SideBySide

def work(file):
    open(file, "w").write(str(os.getpid()))
    time.sleep(60)

if __name__ == "__main__":
    with SideBySide(2) as side:
        later = side.begin(work, sys.argv[1])
        signal.signal(signal.SIGPIPE, signal.SIG_DFL)  # as gmsh leaves it
        {then}
"""


def die_elsewhere(here):
    if os.getpid() != here:
        os._exit(1)
    return "done here"


def test_results_come_from_other_processes_and_are_not_mixed_up():
    with SideBySide(2) as side:
        pids = [side.begin(os.getpid) for _ in range(2)]
        roots = [side.begin(math.sqrt, x) for x in (4.0, 9.0, -1.0)]
        assert [root() for root in roots[:2]] == [2.0, 3.0]
        assert os.getpid() not in {pid() for pid in pids}
        with pytest.raises(ValueError, match=r"domain|nonnegative"):
            roots[2]()


def test_a_process_of_one_task_ends_after_it():
    with SideBySide(2, 1) as side:
        pids = [side.begin(os.getpid)() for _ in range(3)]
    assert len({*pids, os.getpid()}) == 4


def test_one_worker_works_in_line_when_asked():
    done = []
    with SideBySide(1) as side:
        later = side.begin(done.append, os.getpid())
        assert not done
        later()
    assert done == [os.getpid()]


def test_work_of_a_process_that_dies_is_done_here():
    with SideBySide(2) as side:
        first = side.begin(die_elsewhere, os.getpid())
        assert first() == "done here" and side.begin(die_elsewhere, os.getpid())() == "done here"


@pytest.mark.skipif(sys.platform == "win32", reason="asks the system for signals")
@pytest.mark.parametrize(("then", "code"), [("sys.exit(7)", 7), ("os._exit(3)", 3)])
def test_the_other_processes_end_with_this_one(then, code, tmp_path):
    """Their work would go on for a minute after the interrupt, or after a death without any farewell."""
    script, file = tmp_path / "long_work.py", tmp_path / "pid"
    wait = "while not os.path.exists(sys.argv[1]) or not open(sys.argv[1]).read(): time.sleep(0.05)\n        "
    script.write_text(SLEEP.format(then=wait + then))
    environment = {**os.environ, "PYTHONPATH": str(cases.ROOT)}
    ran = subprocess.run([sys.executable, script, file], env=environment, timeout=50, capture_output=True)
    assert ran.returncode == code
    pid, gone = int(file.read_text()), False
    for _ in range(100):
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            gone = True
            break
        time.sleep(0.1)
    assert gone


@pytest.mark.parametrize(
    ("cores", "free", "expected"), [(2, 16e9, 2), (2, 3.9e9, 1), (16, 64e9, 4), (8, 7e9, 3), (1, 64e9, 1), (2, 1e8, 1)]
)
def test_as_many_processes_as_cores_and_memory_allow(monkeypatch, cores, free, expected):
    monkeypatch.setattr(side_by_side, "usable_cores", lambda: cores)
    monkeypatch.setattr(side_by_side.psutil, "virtual_memory", lambda: SimpleNamespace(available=free))
    assert side_by_side.processes() == expected
