"""Zero of a function of one number. scipy.optimize has the same, but takes longer to load than a build sheet to read."""

import sys
from collections.abc import Callable


def brent(f: Callable[[float], float], a: float, b: float, xtol: float) -> float:
    """Where f is zero between a and b, at which its signs differ, within xtol: Brent's method, as scipy.optimize.brentq.

    Brent, Algorithms for Minimization Without Derivatives (1973), ch. 4. ValueError where the signs do not differ.
    """
    before, x, f_before, f_x = a, b, f(a), f(b)
    if f_before == 0 or f_x == 0:
        return before if f_before == 0 else x
    if (f_before < 0) == (f_x < 0):
        raise ValueError(f"no zero is sure to lie between {a:g} and {b:g}; expected values of two signs there")
    other, f_other, last, step = before, f_before, 0.0, 0.0  # the zero lies between x and other
    while True:
        if f_before != 0 and (f_before < 0) != (f_x < 0):
            other, f_other, last, step = before, f_before, x - before, x - before
        if abs(f_other) < abs(f_x):
            before, x, other = x, other, x
            f_before, f_x, f_other = f_x, f_other, f_x
        least = (xtol + 4 * sys.float_info.epsilon * abs(x)) / 2
        half = (other - x) / 2
        if f_x == 0 or abs(half) < least:
            return x
        guess = float("inf")
        if abs(last) > least and abs(f_x) < abs(f_before):
            if before == other:  # a line through two points
                guess = -f_x * (x - before) / (f_x - f_before)
            else:  # a parabola through three
                p, q = (f_before - f_x) / (before - x), (f_other - f_x) / (other - x)
                guess = -f_x * (f_other * q - f_before * p) / (q * p * (f_other - f_before))
        last, step = (step, guess) if 2 * abs(guess) < min(abs(last), 3 * abs(half) - least) else (half, half)
        before, f_before = x, f_x
        x += step if abs(step) > least else least if half > 0 else -least
        f_x = f(x)
