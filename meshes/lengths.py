"""Lengths and numbers as makers write them: '19 1/2', '19-1/2 in', '3/32', '2,8 mm'."""

import re
from typing import Any

MM_PER_INCH = 25.4
UNITS = {"mm": 1.0, "in": MM_PER_INCH, "inch": MM_PER_INCH, "inches": MM_PER_INCH, '"': MM_PER_INCH, "″": MM_PER_INCH}
DECIMAL = r"\d*[.,]\d+|\d+[.,]?"
FRACTION = r"(?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<over>\d+)\s*/\s*(?P<under>[1-9]\d*)"
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
