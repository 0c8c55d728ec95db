"""TOML of any origin: what Python's reader cannot take is a mistake of the file, as its own mistakes are."""

import tomllib
from typing import Any

DEEPEST = 16  # tables and lists in one another; a sheet needs four


def parsed(text: str) -> dict[str, Any]:
    """The tables of a TOML text. TOMLDecodeError for anything wrong, numbers too long and nesting too deep among it."""
    too_deep = tomllib.TOMLDecodeError(f"tables and lists nested more than {DEEPEST} deep")
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise too_deep from None
    except tomllib.TOMLDecodeError:
        raise
    except ValueError as error:  # an integer of thousands of digits
        raise tomllib.TOMLDecodeError(str(error)) from None
    level: list[Any] = [raw]
    for _ in range(DEEPEST + 1):
        level = [inner for node in level if isinstance(node, (dict, list)) for inner in _inside(node)]
    if level:
        raise too_deep
    return raw


def _inside(node: dict[str, Any] | list[Any]) -> list[Any]:
    return list(node.values()) if isinstance(node, dict) else node
