"""Ratios of decay times in words and per cent, and other figures with a sign: a real minus sign."""


def change(ratio):
    """'3.1 % longer' of a ratio of decay times."""
    if abs(ratio - 1) < 5e-4:
        return "as long (within 0.1 %)"
    return f"{100 * abs(ratio - 1):.1f} % {'longer' if ratio >= 1 else 'shorter'}"


def percent(ratio, digits=1):
    """'+3.1 %'; what rounds to nothing bears no sign."""
    return f"{signed(100 * (ratio - 1), digits)} %"


def signed(value, digits):
    """'+1.2', '−0.3'; no sign before nothing."""
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0 else minus(text)


def span(low, high, digits=1):
    """'−0.8 to +3.2 %', '±5 %' where both ends lie equally far, '+0.2 %' where both round to it."""
    ends = [percent(v, digits)[:-2] for v in (low, high)]
    if ends[0] == ends[1]:
        return f"{ends[0]} %"
    if ends[0][0] == "−" and ends[1][0] == "+" and ends[0][1:] == ends[1][1:]:
        return f"±{ends[1][1:]} %"
    return f"{ends[0]} to {ends[1]} %"


def decibels(value, digits=2):
    """'−0.30 dB'."""
    return f"{minus(f'{value:+.{digits}f}')} dB"


def minus(text):
    """Hyphens of numbers as minus signs."""
    return text.replace("-", "−")


def capital(text):
    return text[:1].upper() + text[1:]


def quoted(text):
    return f"'{text}'"


def several(words):
    """'a', 'a and b', 'a, b and c'."""
    words = list(words)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def shortened(text: str, most: int) -> str:
    """The text, cut at a word and with dots after it where it has more letters than `most`."""
    return text if len(text) <= most else text[: most - 1].rsplit(" ", 1)[0] + " ..."
