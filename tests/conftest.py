"""Helpers for all tests."""

import os
import tomllib
from pathlib import Path

import pytest

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # one test process a core already


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


@pytest.fixture(scope="session")
def literature():
    """Every published value used by the tests, as {case: {value, tolerance, source, ...}}."""
    return tomllib.loads((Path(__file__).parent / "literature.toml").read_text(encoding="utf-8"))
