"""Sphinx: `uv run sphinx-build -W -j auto docs docs/_build` builds the site and executes its examples."""

import sys
import tomllib
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "_ext"))
_project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))["project"]

project = "Rimwork"
version = release = _project["version"]
copyright = "the authors of Rimwork; GPL-3.0-or-later"
extensions = ["myst_parser", "executed"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["_build", "_ext"]
myst_enable_extensions = ["deflist", "colon_fence"]
myst_heading_anchors = 3
nitpicky = True
smartquotes = False  # a prime is a transpose

html_theme = "alabaster"
html_title = "Rimwork"
html_static_path = ["_static"]
html_css_files = ["rimwork.css"]
html_theme_options = {
    "description": "What a guitar's rim stores and turns to heat",
    "fixed_sidebar": True,
    "show_powered_by": False,
    "show_relbars": False,
    "page_width": "76rem",
    "sidebar_width": "15rem",
    "font_family": "Georgia, 'Times New Roman', serif",
    "head_font_family": "Georgia, 'Times New Roman', serif",
    "code_font_size": "0.76em",
}
html_sidebars = {"**": ["about.html", "searchfield.html", "navigation.html"]}
html_show_sourcelink = False
pygments_style = "friendly"
