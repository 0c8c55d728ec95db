"""Figures of matplotlib on which every word is text: '$' in a maker's name starts no formula. All drawings begin here."""

import matplotlib
from matplotlib.figure import Figure

matplotlib.rcParams["text.parse_math"] = False  # read where a text is made, so before any is

__all__ = ["Figure"]
