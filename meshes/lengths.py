"""Lengths and numbers as makers write them: '19 1/2', '19-1/2 in', '3/32', '2,8 mm'."""

import re
from typing import Any

MM_PER_INCH = 25.4
UNITS = {"mm": 1.0, "in": MM_PER_INCH, "inch": MM_PER_INCH, "inches": MM_PER_INCH, '"': MM_PER_INCH, "″": MM_PER_INCH}
DECIMAL = r"\d*[.,]\d+|\d+[.,]?"
FRACTION = r"(?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<over>\d+)\s*/\s*(?P<under>[1-9]\d*)"
# figures that share one unit: '3.0, 5.5 to 12.0 mm', '2 + 2 mm', '0.31 ± 0.02 mm'
FIGURE = r"[+\-−]?\d+(?:\.\d+)?"
IN_MM = re.compile(
    rf"(?P<gap> *)(?<![\w.]){FIGURE}(?:(?:, | to | x | and | \+ | ± |/){FIGURE})*(?: |&nbsp;|\u202f|\u00a0)mm\b(?![/²³])"
)
LENGTH = re.compile(rf"\s*(?P<sign>[+\-−]?)\s*(?:{FRACTION}|(?P<decimal>{DECIMAL}))\s*(?P<unit>{'|'.join(UNITS)})?\s*")


def length(text: str, unit: str) -> float | None:
    """A length in `unit` ('mm' or 'in'); what carries a unit of its own is turned into that. None where it is no length."""
    found = LENGTH.fullmatch(text)
    if found is None:
        return None
    if found["decimal"]:
        value = float(found["decimal"].replace(",", "."))
    else:
        value = int(found["whole"] or 0) + int(found["over"]) / int(found["under"])
    return (-value if found["sign"] in ("-", "−") else value) * (UNITS[found["unit"] or unit] / UNITS[unit])


def read_lengths(value: Any, unit: str) -> Any:
    """A value of a parsed file with lengths written as text turned into numbers of a unit, through lists; other text stays."""
    if isinstance(value, list):
        return [read_lengths(item, unit) for item in value]
    read = length(value, unit) if isinstance(value, str) else None
    return value if read is None else read


def number(text: str) -> float | None:
    """A plain number, with a decimal point or a decimal comma; None where it is none."""
    found = re.fullmatch(rf"\s*([+\-−]?)({DECIMAL})\s*", text)
    return None if found is None else float(found[1].replace("−", "-") + found[2].replace(",", "."))


def in_inches(text: str) -> str:
    """A text with its lengths in mm turned into inches, two decimals more than they had in mm; '/mm' and 'mm/s' stay."""
    return IN_MM.sub(_in_inches, text)


def _in_inches(found: re.Match[str]) -> str:
    """What takes the place of a match; after a gap of two or more, as in a table, its end stays where it was."""
    told = re.sub(FIGURE, lambda figure: _turned(figure[0]), found[0].lstrip(" ")).replace("mm", "in")
    gap = len(found["gap"])
    return told.rjust(max(len(found[0]), len(told) + 1)) if gap > 1 else " " * gap + told


def _turned(figure: str) -> str:
    """One figure in mm, with its sign as written, in inches."""
    sign, digits = (figure[0], figure[1:]) if figure[0] in "+-−" else ("", figure)
    decimals = len(digits.partition(".")[2]) + 2
    return f"{sign}{float(digits) / MM_PER_INCH:.{decimals}f}"
