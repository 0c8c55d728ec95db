"""Pictures drawn by a second process: the same files, faults told, and no process left behind."""

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from studies.common.page import NotDrawn, drawn_or_told
from studies.drawing import apart
from studies.drawing.apart import drawn_apart
from studies.drawing.field import Field
from studies.drawing.picture import Picture, drawn_one_by_one
from studies.drawing.plan import Motion, PlatePlan, plan_figure
from studies.drawing.topology import Topology

TESTS = Path(__file__).parent
needs_two = pytest.mark.skipif(apart.usable_cores() < 2, reason="one processor: pictures are drawn in line")


def square(folder, number, fields=None):
    """Picture of a square that tilts."""
    xy = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    corners = np.column_stack([xy, 0 * xy[:, 0]])
    top = Field(corners, Topology(np.array([[0, 1, 2], [0, 2, 3]])), xy[:, 0] - 0.5, 0 * corners)
    motion = Motion({"top": top} if fields is None else fields, 0.5)
    figure = partial(plan_figure, {"top": PlatePlan(xy, (xy,))}, motion, 20.0)
    return Picture(f"square {number}", folder / f"square-{number}", figure, f"words of {number}")


def asleep(theme):
    """No picture for a long while."""
    time.sleep(120)


def sleeping(folder):
    return [Picture("nothing", folder / "nothing", asleep, "")]


@needs_two
def test_a_second_process_draws_the_same_files(tmp_path, capfd):
    here = [f for files in drawn_one_by_one([square(tmp_path / "here", k) for k in (1, 2)]) for f in files]
    with drawn_apart(lambda: [square(tmp_path / "there", k) for k in (1, 2)]) as drawn:
        process = drawn.__self__.process
        there = [f for files in drawn(lambda text: None) for f in files]
        process.join(30)
        assert process.exitcode == 0  # done, it ends by itself, without complaint
    assert process.pid != os.getpid() and capfd.readouterr().err == ""
    assert [f.name for f in there] == ["square-1.png", "square-1.txt", "square-2.png", "square-2.txt"]
    assert all(a.read_bytes() == b.read_bytes() for a, b in zip(here, there, strict=True))


@needs_two
def test_it_draws_before_anybody_asks(tmp_path):
    with drawn_apart(lambda: [square(tmp_path, 1)]):
        until = time.monotonic() + 60
        while not (tmp_path / "square-1.txt").exists() and time.monotonic() < until:
            time.sleep(0.05)
    assert (tmp_path / "square-1.png").exists()


@needs_two
def test_a_fault_there_is_told_here_and_leaves_the_pictures_before_it(tmp_path, capsys):
    found = []
    with drawn_apart(lambda: [square(tmp_path, 1), square(tmp_path, 2, {}), square(tmp_path, 3)]) as drawn:
        told = drawn_or_told(lambda: found.extend(drawn(lambda text: None)))
    assert "Not all pictures could be drawn (KeyError: 'top')" in told and told in capsys.readouterr().err
    assert [files[0].name for files in found] == ["square-1.png"]


def dying(marker, times, theme):
    """Ends its process without a word so many times, as a driver of OpenGL may; a picture afterwards."""
    died = len(marker.read_text(encoding="utf-8")) if marker.exists() else 0
    if died < times:
        marker.write_text("x" * (died + 1), encoding="utf-8")
        os._exit(1)
    return square(marker.parent, 0).figure(theme)


@needs_two
@pytest.mark.parametrize("times", [1, 2])
def test_where_a_process_dies_another_one_draws_the_rest_and_two_deaths_are_told(tmp_path, times):
    mortal = Picture("mortal", tmp_path / "mortal", partial(dying, tmp_path / "marker", times), "")
    found = []
    with drawn_apart(lambda: [square(tmp_path, 1), mortal, square(tmp_path, 2)]) as drawn:
        pictures = drawn(lambda text: None)
        if times == 2:
            with pytest.raises(NotDrawn, match="ended with status 1"):
                found.extend(pictures)
        else:
            found.extend(pictures)
    names = ["square-1.png", "mortal.png", "square-2.png"]
    assert [files[0].name for files in found] == (names if times == 1 else names[:1])


@needs_two
def test_a_process_that_hangs_is_taken_for_dead(tmp_path, monkeypatch):
    monkeypatch.setattr(apart, "HANGS", 0.5)
    with drawn_apart(lambda: sleeping(tmp_path)) as drawn, pytest.raises(NotDrawn, match="ended with status"):
        list(drawn(lambda text: None))


def test_what_cannot_be_made_ready_is_a_fault_where_pictures_are_asked_for():
    """The computation in between goes on."""

    def broken():
        raise RuntimeError("Triangulation is invalid")

    with drawn_apart(broken) as drawn:
        pictures = drawn(lambda text: None)
        assert "RuntimeError: Triangulation is invalid" in drawn_or_told(lambda: list(pictures))


def test_one_processor_draws_in_line(tmp_path, monkeypatch):
    monkeypatch.setattr(apart, "usable_cores", lambda: 1)
    monkeypatch.setattr(apart, "Process", lambda *a: pytest.fail("no second process on one processor"))
    said = []
    with drawn_apart(lambda: [square(tmp_path, 1)]) as drawn:
        assert not list(tmp_path.iterdir())
        (files,) = drawn(said.append)
    assert said == ["square 1"] and all(f.exists() for f in files)


@needs_two
@pytest.mark.parametrize("fault", [KeyboardInterrupt, RuntimeError])
def test_the_second_process_ends_with_the_block(tmp_path, fault):
    with pytest.raises(fault), drawn_apart(lambda: sleeping(tmp_path)) as drawn:
        process = drawn.__self__.process
        assert process.is_alive()
        raise fault
    assert not process.is_alive()


FIRST = """
import sys
from pathlib import Path
from test_drawn_apart import sleeping
from studies.drawing.apart import drawn_apart
with drawn_apart(lambda: sleeping(Path(sys.argv[1]))) as drawn:
    list(drawn(lambda text: print(drawn.__self__.process.pid, flush=True)))  # told once it is at its picture
"""


@needs_two
@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM", "SIGKILL"])
def test_no_process_is_left_behind_by_a_first_one_that_is_stopped(tmp_path, how):
    """Ctrl-C, and ends that leave no time to clear up."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(TESTS), str(TESTS.parent)])}
    command = [sys.executable, "-c", FIRST, str(tmp_path)]
    heard = lambda: signal.signal(signal.SIGINT, signal.SIG_DFL)  # ignored where the tests run in the background
    pipes = dict(stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, preexec_fn=heard)
    first = subprocess.Popen(command, env=environment, **pipes)
    second = int(first.stdout.readline())
    assert alive(second)
    first.send_signal(getattr(signal, how))
    first.wait(60)
    first.stdout.close()
    until = time.monotonic() + 60
    while alive(second) and time.monotonic() < until:
        time.sleep(0.05)
    assert not alive(second)


def alive(pid):
    """Whether a process runs; one that has ended and that nobody has asked after does not."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not state.exists() or state.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"
