"""Helpers for all tests."""

import tomllib
from pathlib import Path

import pytest


def pytest_configure(config):
    config.addinivalue_line("markers", "slow: takes more than a few seconds")


@pytest.fixture(scope="session")
def literature():
    """Every published value used by the tests, as {case: {value, tolerance, source, ...}}."""
    return tomllib.loads((Path(__file__).parent / "literature.toml").read_text(encoding="utf-8"))
