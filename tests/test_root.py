"""Brent's method against scipy's, step for step."""

import numpy as np
import pytest
from scipy.optimize import brentq

from fem.root import brent

CASES = [
    (lambda x: x**3 - 2 * x - 5, 2.0, 3.0), (lambda x: np.cos(x) - x, 0.0, 1.0), (lambda x: np.exp(x) - 1e3, 0.0, 20.0),
    (lambda x: abs(x - 0.3) ** 0.5 * np.sign(x - 0.3), -1.0, 2.0), (lambda x: x - 0.25, 0.0, 1.0), (lambda x: x, 0.0, 1.0),
    (lambda x: (x - 1) ** 9, 0.1, 3.0), (lambda x: 0.4 - x if x < 0.7 else -1.0, 0.0, 1.0),
]  # fmt: skip


@pytest.mark.parametrize("xtol", [1e-3, 1e-6, 1e-12])
@pytest.mark.parametrize("case", range(len(CASES)))
def test_the_zero_is_that_of_scipy_to_the_last_digit(case, xtol):
    f, a, b = CASES[case]
    for ends in ((a, b), (b, a)):
        (x, asked), (expected, asked_of_scipy) = watched(brent, f, *ends, xtol), watched(scipys, f, *ends, xtol)
        assert x == expected
        assert asked == asked_of_scipy


def scipys(f, a, b, xtol):
    return brentq(f, a, b, xtol=xtol, maxiter=1000)


def watched(method, f, a, b, xtol):
    """(zero, all places at which f was asked)."""
    asked = []

    def told(x):
        asked.append(x)
        return f(x)

    return method(told, a, b, xtol), asked


def test_two_values_of_one_sign_are_refused():
    with pytest.raises(ValueError, match="two signs"):
        brent(lambda x: 1 + x * x, -1.0, 1.0, 1e-6)
