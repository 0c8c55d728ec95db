"""What a page's text is turned into once it is written: sections folded, cells that know their column's name. HTML in, HTML out."""

import re
from html import escape, unescape

from markupsafe import Markup

CARDS = 4  # columns from which on a table becomes cards on a narrow screen
MANY = 12  # columns from which on figures are broken on paper
_TABLE = re.compile(r"<table([^>]*)>(.*?)</table>", re.S)
_ROW = re.compile(r"<tr\b.*?</tr>", re.S)
_SCROLL = re.compile(r'<div( class="[^"]*\bscroll\b[^"]*")>')
_HEADING = re.compile(r"<th((?:\s+class=\"[^\"]*\")?)>")  # without a scope of its own
_HEAD = re.compile(r"<th\b[^>]*>(.*?)</th>", re.S)
_CELL = re.compile(r"<td\b([^>]*)>")
_TAG = re.compile(r"<[^>]+>")


def folded(text: str) -> Markup:
    """Every section, from one h2 to the next, folded under its heading; what stands before the first one stays open."""
    first, *sections = re.split(r"<h2([^>]*)>(.*?)</h2>", str(text), flags=re.S)
    triples = zip(sections[::3], sections[1::3], sections[2::3])
    return Markup(
        first + "".join(f"<details{a}><summary><h2>{h}</h2></summary>\n{body}</details>\n" for a, h, body in triples)
    )


def labelled(text: str) -> str:
    """Cells of every table that has a row of headings told their column's name; wide ones of the class 'cards', the widest of 'many'.

    What may have to be scrolled sideways can be reached by keyboard.
    """
    text = _SCROLL.sub(r'<div\1 tabindex="0">', text)
    return _TABLE.sub(lambda found: _labelled(found[1], _HEADING.sub(r'<th scope="col"\1>', found[2])), text)


def _labelled(attributes, inner):
    rows = _ROW.findall(inner)
    heads = [" ".join(unescape(_TAG.sub(" ", head)).split()) for head in _HEAD.findall(rows[0])] if rows else []
    if len(heads) < CARDS or "<td" in rows[0]:
        return f"<table{attributes}>{inner}</table>"
    kinds = "cards many" if len(heads) >= MANY else "cards"
    if 'class="' in attributes:
        attributes = attributes.replace('class="', f'class="{kinds} ')
    else:
        attributes += f' class="{kinds}"'
    return f"<table{attributes}>{_ROW.sub(lambda row: _row(row[0], heads), inner)}</table>"


def _row(row, heads):
    names = iter(heads)
    return _CELL.sub(lambda cell: f'<td{cell[1]} data-column="{escape(next(names, ""))}">', row)
