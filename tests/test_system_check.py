"""The system check: what it says when libraries are missing, crash, hang or draw nothing, each acted out by a fake."""

import os
import sys

import pytest

from studies.common import system_check
from studies.common.system_check import MESHING, PERSPECTIVE, PLAN, Check, advice, explain, missing_libraries, probe

on_linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="names of Linux libraries")
on_posix = pytest.mark.skipif(os.name != "posix", reason="signals")


@pytest.fixture
def fake(tmp_path):
    """Function that puts a module of one's own in the place of a library; returns the environment to probe in."""

    def put(module, code):
        (tmp_path / f"{module}.py").write_text(code)
        return {**os.environ, "PYTHONPATH": str(tmp_path)}

    return put


def test_a_missing_library_is_named_with_the_line_to_type(fake):
    """The words are those of the dynamic loader of glibc (dlopen)."""
    words = "libGLU.so.1: cannot open shared object file: No such file or directory"
    check = probe(MESHING, fake("gmsh", f"raise OSError({words!r})"))
    assert not check.works
    assert check.missing == ("libGLU.so.1",)
    assert "libGLU.so.1" in check.reason and "Traceback" not in check.reason
    text = advice((check,), "linux")
    assert "apt-get install --no-install-recommends libglu1-mesa libgl1 libegl1 libxcursor1" in text
    assert "it is libglu1-mesa that this machine" in text


@on_posix
def test_a_crash_is_an_answer(fake):
    """VTK ends the process with a segmentation fault where there is no OpenGL; nothing in Python can catch it."""
    check = probe(PERSPECTIVE, fake("pyvista", "import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)"))
    assert not check.works
    assert "signal 11" in check.reason or "the system has no" in check.reason
    assert "matplotlib" in check.reason  # what happens instead
    assert "libegl1" in advice((check,), "linux")


@on_posix
@on_linux
def test_after_a_crash_the_absent_libraries_are_named(fake, monkeypatch):
    monkeypatch.setitem(system_check.PACKAGES, "libnowhere.so.9", "libnowhere9")
    check = probe(PERSPECTIVE, fake("pyvista", "import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)"))
    assert "libnowhere.so.9" in check.missing
    assert "libnowhere9" in advice((check,), "linux")


def test_a_python_package_that_is_not_installed(fake):
    check = probe(PLAN, fake("matplotlib", "raise ModuleNotFoundError(\"No module named 'matplotlib'\")"))
    assert not check.works
    assert "the Python package matplotlib is not installed" in check.reason
    assert "uv sync" in advice((check,), "linux") and "apt-get" not in advice((check,), "linux")


def test_a_blank_picture_is_a_failure(fake):
    blank = """
import numpy
class Plotter:
    def __init__(self, **kw): pass
    def add_mesh(self, *a, **kw): pass
    def screenshot(self, **kw): return numpy.zeros((64, 64, 3))
def Sphere(): return None
"""
    check = probe(PERSPECTIVE, fake("pyvista", blank))
    assert not check.works and "came out blank" in check.reason


def test_a_probe_that_hangs_is_given_up(fake, monkeypatch):
    monkeypatch.setattr(system_check, "SECONDS", 2)
    check = probe(MESHING, fake("gmsh", "import time\ntime.sleep(60)"))
    assert not check.works and "no answer within 2 s" in check.reason


def test_a_library_that_works_passes(fake):
    """The same probe that fails above passes with a well-behaved stand-in, so a failure means something."""
    shaded = """
import numpy
class Plotter:
    def __init__(self, **kw): pass
    def add_mesh(self, *a, **kw): pass
    def screenshot(self, **kw): return numpy.arange(64 * 64 * 3.0).reshape(64, 64, 3)
def Sphere(): return None
"""
    assert probe(PERSPECTIVE, fake("pyvista", shaded)) == Check(PERSPECTIVE, True)


def test_the_whole_check_of_this_machine_never_raises():
    found = system_check.system_check()
    assert [c.name for c in found.checks] == [MESHING, PERSPECTIVE, PLAN]
    assert found.text.count("\n") >= 4 and "Traceback" not in found.text
    assert found.works == ("Nothing is missing." in found.text)
    assert all(c.works or c.reason for c in found.checks)


@pytest.mark.parametrize(
    ("platform", "word"), [("darwin", "logged in"), ("win32", "Redistributable"), ("linux", "apt-get")]
)
def test_each_system_gets_its_own_advice(platform, word):
    failed = (Check(PERSPECTIVE, False, (), "crashed (signal 11)"),)
    assert word in advice(failed, platform)
    others = {"logged in", "Redistributable", "apt-get"} - {word}
    assert not any(other in advice(failed, platform) for other in others)


def test_errors_of_missing_libraries_are_explained_in_one_line():
    error = OSError("libXcursor.so.1: cannot open shared object file: No such file or directory")
    assert "libxcursor1" in explain(error) and "system-check" in explain(error) and "\n" not in explain(error)
    assert explain(OSError("disk full")) is None
    assert missing_libraries("libA.so.1: cannot open shared object file\nlibB-2.so: cannot open shared object") == (
        "libA.so.1",
        "libB-2.so",
    )
