"""A command as a whole process: wall time, processor time and memory of it and all its children, and when its words come."""

import os
import platform
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import psutil

ROOT = Path(__file__).parents[2]
PAUSE = 0.05  # s between two looks at the memory
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


@dataclass(frozen=True)
class Run:
    """What a process and its children took."""

    wall: float  # s
    cpu: float  # s of processors, the children's included
    peak: float  # MB resident, summed over the processes that live at one time
    words: float | None  # s from the start to the first line on standard output; None where nothing came
    code: int  # exit status
    text: str  # standard output


def run(command: Sequence[str], code: Path = ROOT, environment: Mapping[str, str] | None = None) -> Run:
    """Run of a command in the folder `code`, one thread, with further variables of the environment."""
    settings = os.environ | ONE_THREAD | {"PYTHONPATH": str(code), "PYTHONUNBUFFERED": "1"} | dict(environment or {})
    start = time.perf_counter()
    process = subprocess.Popen(
        command, cwd=code, env=settings, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, encoding="utf-8"
    )
    lines: list[tuple[float, str]] = []
    reader = threading.Thread(
        target=lambda: lines.extend((time.perf_counter() - start, line) for line in process.stdout)
    )
    reader.start()
    watched, peak, cpu = psutil.Process(process.pid), 0.0, 0.0
    while (ended := _ended(process)) is None:
        memory, spent = _of_tree(watched)
        peak, cpu = max(peak, memory), max(cpu, spent)
        time.sleep(PAUSE)
    wall = time.perf_counter() - start
    reader.join()
    usage_cpu, usage_peak = ended
    words = next((moment for moment, line in lines if line.strip()), None)
    return Run(
        wall, usage_cpu or cpu, max(peak, usage_peak), words, process.returncode, "".join(line for _, line in lines)
    )


def _ended(process: subprocess.Popen) -> tuple[float, float] | None:
    """(processor s with all children, largest MB of one process) of a process that has ended, None of one that runs.

    (0, 0) where the system does not tell: then the samples serve.
    """
    if not hasattr(os, "wait4"):
        return None if process.poll() is None else (0.0, 0.0)
    pid, status, usage = os.wait4(process.pid, os.WNOHANG)
    if not pid:
        return None
    process.returncode = os.waitstatus_to_exitcode(status)
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def _of_tree(process: psutil.Process) -> tuple[float, float]:
    """(MB resident, processor s) of a process and its children as they stand now."""
    memory = cpu = 0.0
    try:
        tree = [process, *process.children(recursive=True)]
    except psutil.Error:
        return 0.0, 0.0
    for one in tree:
        try:
            memory += one.memory_info().rss / 1e6
            cpu += sum(one.cpu_times()[:2])
        except psutil.Error:  # it has just ended
            continue
    return memory, cpu


def machine() -> dict[str, str]:
    """What a time depends on: name, processor, its cores, and whether compiled Python is kept from one process to the next."""
    name = platform.processor()
    try:
        told = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
        name = next((line.split(":", 1)[1].strip() for line in told if line.startswith("model name")), name)
    except OSError:
        pass
    kept = "not kept" if sys.dont_write_bytecode else "kept"
    return {"name": platform.node(), "processor": name, "cores": str(os.cpu_count()), "bytecode": kept}
