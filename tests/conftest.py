"""Helpers for all tests."""

import os
import tomllib
from pathlib import Path

import pytest


def pytest_configure(config):
    config.addinivalue_line("markers", "slow: takes more than a few seconds")


@pytest.fixture(scope="session", autouse=True)
def own_cell_cache(tmp_path_factory):
    """Tests neither read nor fill the user's cache of cells and joints; commands run by tests inherit the folder."""
    before = os.environ.get("RIMWORK_CACHE")
    os.environ["RIMWORK_CACHE"] = str(tmp_path_factory.mktemp("cells"))
    yield
    os.environ.pop("RIMWORK_CACHE")
    if before is not None:
        os.environ["RIMWORK_CACHE"] = before


@pytest.fixture(scope="session")
def literature():
    """Every published value used by the tests, as {case: {value, tolerance, source, ...}}."""
    return tomllib.loads((Path(__file__).parent / "literature.toml").read_text(encoding="utf-8"))
