"""What does this machine lack for meshing and pictures? Each probe is its own process: a crash is an answer too."""

import re
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

SECONDS = 120  # a first start may build caches
APT = "sudo apt-get install --no-install-recommends "
PACKAGES = {  # library: Debian and Ubuntu package, in the order of the line to type
    "libGLU.so.1": "libglu1-mesa",
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libXcursor.so.1": "libxcursor1",
    "libXft.so.2": "libxft2",
    "libXinerama.so.1": "libxinerama1",
    "libgomp.so.1": "libgomp1",
}
PROBES = {
    "meshing (gmsh)": """
import gmsh
gmsh.initialize(interruptible=False)
gmsh.option.setNumber("General.Terminal", 0)
gmsh.model.occ.addRectangle(0, 0, 0, 1, 1)
gmsh.model.occ.synchronize()
gmsh.model.mesh.generate(2)
assert len(gmsh.model.mesh.getNodes()[0]) > 3, "gmsh made no mesh"
gmsh.finalize()
""",
    "perspective pictures (pyvista)": """
import pyvista
plotter = pyvista.Plotter(off_screen=True, window_size=(64, 64))
plotter.add_mesh(pyvista.Sphere(), color="red")
picture = plotter.screenshot(return_img=True)
assert picture.std() > 1, "the picture came out blank"
""",
    "plan pictures (matplotlib)": """
import io
from matplotlib.figure import Figure
for ending in ("png", "svg", "pdf"):
    figure, file = Figure(), io.BytesIO()
    figure.add_subplot().plot([0, 1], [1, 0])
    figure.savefig(file, format=ending)
    assert file.tell() > 100, f"the {ending} picture came out empty"
""",
}
MESHING, PERSPECTIVE, PLAN = PROBES
WITHOUT = {
    MESHING: "build sheets cannot be meshed; foreign meshes still can be read",
    PERSPECTIVE: "perspective pictures are drawn by matplotlib, plainer",
    PLAN: "no pictures at all",
}


@dataclass(frozen=True)
class Check:
    """Outcome of one probe."""

    name: str
    works: bool
    missing: tuple[str, ...] = ()  # libraries that the system does not have
    reason: str = ""  # in plain words; empty where it works

    @property
    def line(self) -> str:
        """The outcome in one line."""
        return f"{'works   ' if self.works else 'missing '} {self.name}{': ' + self.reason if self.reason else ''}"


@dataclass(frozen=True)
class SystemCheck:
    """Outcome of all probes and the advice that follows."""

    checks: tuple[Check, ...]
    advice: str

    @property
    def works(self) -> bool:
        return all(check.works for check in self.checks)

    @property
    def text(self) -> str:
        return "\n".join([*(check.line for check in self.checks), "", self.advice])


def system_check() -> SystemCheck:
    """SystemCheck of this machine. Never raises for a lack: that is what it tells."""
    checks = tuple(probe(name) for name in PROBES)
    return SystemCheck(checks, advice(checks, sys.platform))


@cache
def works(name: str) -> Check:
    """Check of one probe, run once in this process."""
    return probe(name)


def probe(name: str, environment: Mapping[str, str] | None = None) -> Check:
    """Check of PROBES[name] in a fresh Python with the given environment variables (this process's own if None)."""
    try:
        run = in_fresh_python(PROBES[name], environment)
    except subprocess.TimeoutExpired:
        return Check(name, False, (), f"no answer within {SECONDS} s; {WITHOUT[name]}")
    except OSError as error:
        return Check(name, False, (), f"Python could not be started ({error.strerror or error})")
    if run.returncode == 0:
        return Check(name, True)
    missing = missing_libraries(run.stderr)
    if run.returncode < 0 or run.returncode > 255:  # killed by a signal; on Windows a large status
        missing = missing or absent_libraries(environment)
    return Check(name, False, missing, f"{_reason(run, missing)}; {WITHOUT[name]}")


def in_fresh_python(code: str, environment: Mapping[str, str] | None) -> subprocess.CompletedProcess[str]:
    """What a Python process of its own says to the code."""
    command = [sys.executable, "-c", code]
    return subprocess.run(
        command, env=environment, capture_output=True, encoding="utf-8", errors="replace", timeout=SECONDS
    )


def _reason(run, missing):
    """Why a probe failed, in one line."""
    if missing:
        return f"the system has no {', '.join(missing)}"
    if run.returncode < 0 or run.returncode > 255:
        how = f"signal {-run.returncode}" if run.returncode < 0 else f"status {run.returncode:#x}"
        return f"crashed ({how}), as happens most often for want of OpenGL"
    last = (run.stderr.strip().splitlines() or [f"status {run.returncode}"])[-1].strip()
    if found := re.match(r"ModuleNotFoundError: No module named '([^'.]+)", last):
        return f"the Python package {found[1]} is not installed"
    return re.sub(r"^(\w+\.)*\w*(Error|Exception): ", "", last)


def missing_libraries(text: str) -> tuple[str, ...]:
    """Names of the shared libraries that an error message says are missing."""
    return tuple(dict.fromkeys(re.findall(r"(lib[\w.+-]+\.so[\w.]*): cannot open shared object", text)))


def absent_libraries(environment: Mapping[str, str] | None = None) -> tuple[str, ...]:
    """Those of PACKAGES that a fresh Python cannot load; empty on other systems than Linux."""
    if not sys.platform.startswith("linux"):
        return ()
    code = f"""
import ctypes
for name in {list(PACKAGES)}:
    try:
        ctypes.CDLL(name)
    except OSError:
        print(name)
"""
    return tuple(in_fresh_python(code, environment).stdout.split())


def advice(checks: Sequence[Check], platform: str) -> str:
    """What to do next, in plain words, for a platform as sys.platform names it."""
    failed = [check for check in checks if not check.works]
    if not failed:
        return "Nothing is missing."
    reasons = " ".join(check.reason for check in failed)
    words = []
    if "is not installed" in reasons:
        words.append(
            "Python packages are missing: run 'uv sync' in the program's folder, or 'pip install .' in its environment."
        )
    if "is not installed" not in reasons or any(check.missing for check in failed):
        words.append(_system_advice(failed, platform))
    return "\n".join(words)


def _system_advice(failed, platform):
    if platform == "darwin":
        return (
            "macOS: meshing and pictures need nothing beyond the Python packages, but pictures in perspective need"
            " somebody logged in at the screen; over ssh they fail. If a package does not load, install it afresh"
            " for this processor (Apple or Intel)."
        )
    if platform == "win32":
        return (
            "Windows: install the 'Microsoft Visual C++ Redistributable' (x64) and the driver of the graphics card"
            " from its maker. A remote desktop or a virtual machine without OpenGL cannot draw pictures in perspective."
        )
    known = [PACKAGES[name] for check in failed for name in check.missing if name in PACKAGES]
    other = [name for check in failed for name in check.missing if name not in PACKAGES]
    lines = [f"Debian, Ubuntu: {APT}{' '.join(PACKAGES.values())}"]
    if known and len(set(known)) < len(PACKAGES):
        lines.append(f"  (of these it is {', '.join(dict.fromkeys(known))} that this machine was found to lack)")
    if other:
        lines.append(f"  Further libraries to install: {', '.join(dict.fromkeys(other))}")
    lines.append(
        "Other Linux: the packages that hold GL, EGL and GLU of Mesa, Xcursor, Xft, Xinerama and the OpenMP runtime."
    )
    return "\n".join(lines)


def explain(error: Exception) -> str | None:
    """One line for an OSError or ImportError that names a missing library; None for any other error."""
    missing = missing_libraries(str(error))
    if not missing:
        return None
    wanted = " ".join(PACKAGES.get(name, name) for name in missing)
    return f"this machine has no {', '.join(missing)} (package {wanted}); 'rimwork system-check' gives the line to type"
