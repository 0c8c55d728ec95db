"""Names as makers and files give them: what may stand in one, and how the rest is shown without being obeyed."""

import unicodedata

LONGEST = 200  # letters of a name
# turn the direction of what follows: a name with one can look like another
TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
PLAIN = f"words of at most {LONGEST} letters and signs, none of them a control sign"


def is_plain(name: str) -> bool:
    """Whether a name is short and holds no sign that steers a terminal or a page: control signs, line ends, turns of direction."""
    return len(name) <= LONGEST and not any(map(_steers, name))


def printable(text: str) -> str:
    """The text with every such sign as its number, '\\x1b', but for line ends and tabs."""
    return "".join(ascii(c)[1:-1] if c not in "\n\t" and _steers(c) else c for c in text)


def _steers(sign: str) -> bool:
    return sign in TURNING or unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp")
