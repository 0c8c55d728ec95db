"""What any computed result must hold; ArithmeticError in plain words where it does not, and no figure is given."""

from collections.abc import Mapping

import numpy as np

Arrays = Mapping[str, np.ndarray | list[float] | float | None]  # by name; None: not there
ROUND_OFF = 1e-6  # of shares
NO_FIGURE = "no figure is given"


def numbers(what: str, arrays: Arrays) -> None:
    """All of them finite."""
    for name, array in arrays.items():
        if array is not None and (lost := np.size(array) - np.count_nonzero(np.isfinite(array))):
            raise ArithmeticError(f"{what}: {lost} of {np.size(array)} numbers of {name} are not finite; {NO_FIGURE}")


def positive(what: str, arrays: Arrays) -> None:
    """All of them above zero; nan stands for what is not valid."""
    for name, array in arrays.items():
        if array is not None and np.any(np.less_equal(array, 0)):
            raise ArithmeticError(f"{what}: {name} of {np.nanmin(array):.3g}; expected above 0; {NO_FIGURE}")


def in_order(what: str, frequency: np.ndarray) -> None:
    """Frequencies (n,) [Hz] finite, above zero and in order."""
    numbers(what, {"frequency": frequency})
    positive(what, {"frequency": frequency})
    if np.any(np.diff(frequency) < 0):
        raise ArithmeticError(f"{what}: frequencies are not in order; {NO_FIGURE}")


def shares(
    what: str, table: Mapping[str, np.ndarray] | np.ndarray, near: float = ROUND_OFF, whole: bool = True
) -> None:
    """{part: (n,)} or (parts, n) each within 0 and 1; whole: with a sum of 1. nan stands for what is not valid."""
    values = np.array(list(table.values()) if isinstance(table, Mapping) else table, float)
    if np.any((values < -near) | (values > 1 + near)):
        raise ArithmeticError(
            f"{what}: shares from {np.nanmin(values):.3g} to {np.nanmax(values):.3g}; expected 0 to 1; {NO_FIGURE}"
        )
    if whole and np.any(np.abs(values.sum(axis=0) - 1) > near):
        off = np.nanmax(np.abs(values.sum(axis=0) - 1))
        raise ArithmeticError(f"{what}: shares miss a sum of 1 by {off:.1g}; expected {near:g} at most; {NO_FIGURE}")
