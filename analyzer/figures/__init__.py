"""The figures of a report through matplotlib: on axes for a notebook, as files for a folder.

Each is told by form as well as by colour, and reads the same in black and white. matplotlib is
imported when something is drawn; figures are made without ``pyplot``, so nothing is kept behind.
"""

from analyzer.figures.bridge import plot_bridge
from analyzer.figures.course import plot_course
from analyzer.figures.errors import plot_errors

__all__ = ["plot_bridge", "plot_course", "plot_errors"]
