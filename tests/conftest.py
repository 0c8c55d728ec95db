"""Helpers for all tests."""

import json
import os
import tomllib
from pathlib import Path

import numpy as np
import pytest

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "RIMWORK_THREADS"):
    os.environ.setdefault(_name, "1")  # one test process a core already


@pytest.fixture(autouse=True)
def unprinted(monkeypatch):
    """Commands start no browser for their summary; the test of that asks for one."""
    monkeypatch.setenv("RIMWORK_BROWSER", "")


def pytest_addoption(parser):
    parser.addoption(
        "--dossier", metavar="FILE", help="write what the tests compare with, as JSON for tests/dossier.py"
    )


def pytest_configure(config):
    config.addinivalue_line("markers", "slow: takes more than a few seconds")


@pytest.fixture(scope="session", autouse=True)
def own_cell_cache(tmp_path_factory):
    """Tests neither read nor fill the user's cache of cells and joints; commands run by tests inherit the folder."""
    before = os.environ.get("RIMWORK_CACHE")
    folder = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        folder = folder.parent  # one cache for all processes of this run
    os.environ["RIMWORK_CACHE"] = str(folder / "cells")
    yield
    os.environ.pop("RIMWORK_CACHE")
    if before is not None:
        os.environ["RIMWORK_CACHE"] = before


@pytest.fixture(scope="module", autouse=True)
def coarse_joints(request):
    """Boxes of 2 mm at the corners of plate and rim: a tenth of the time, the corner's compliance 2 % off at most.

    Not where joints themselves are tested, nor where other processes, which do not know of this, must find the same.
    """
    from meshes import joints

    with pytest.MonkeyPatch.context() as patch:
        if request.module.__name__ not in OWN_JOINTS:
            patch.setattr(joints, "FINE", 2e-3)
        yield


@pytest.fixture(scope="session")
def literature():
    """Every published value used by the tests, as {case: {value, tolerance, source, ...}}."""
    return tomllib.loads((Path(__file__).parent / "literature.toml").read_text(encoding="utf-8"))


@pytest.fixture
def record(request):
    """record(case, source, reference, computed, unit=""): keeps what a test compares, for the verification dossier.

    reference, computed: numbers, or lists of equal length. It travels with the test's report, so any number of processes
    may record.
    """

    def keep(case, source, reference, computed, unit=""):
        reference, computed = ([float(x) for x in np.ravel(values)] for values in (reference, computed))
        if len(reference) != len(computed) or not reference:
            raise ValueError(f"'{case}': {len(computed)} values computed; expected {len(reference)}")
        row = {"case": case, "source": source, "reference": reference, "computed": computed, "unit": unit}
        request.node.user_properties.append(("dossier", row))

    return keep


def pytest_runtest_logreport(report):
    if report.when == "call" and report.passed:
        file = report.nodeid.split("::")[0].rsplit("/", 1)[-1]
        _recorded.extend({"file": file, **row} for name, row in report.user_properties if name == "dossier")


def pytest_sessionfinish(session):
    file = session.config.getoption("--dossier")
    if file and not hasattr(session.config, "workerinput"):  # the one process that all reports reach
        rows = sorted(_recorded, key=lambda row: (row["file"], row["case"]))
        Path(file).write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


OWN_JOINTS = ("test_joint_parts", "test_joint_section", "test_sweep")
_recorded = []


@pytest.fixture(params=["rslab", "SuperLU"])
def solver(request, monkeypatch):
    """Each test with the sparse solver, then with the one that serves where it is not installed."""
    from fem import factor

    if request.param == "SuperLU":
        monkeypatch.setattr(factor, "rslab", None)
    elif factor.rslab is None:
        pytest.skip("rslab is not installed")
