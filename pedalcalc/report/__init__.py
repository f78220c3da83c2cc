"""Tables, boxes and formulas: what a worksheet shows besides pictures.

Importing this room in a notebook lets every result show itself as a table, and every refusal as one line.
"""

from pedalcalc.report._boxes import Box, cautions, safety
from pedalcalc.report._formula import Formula, formula
from pedalcalc.report._reading import display_in_notebook, reading
from pedalcalc.report._table import Table, table

__all__ = ["Box", "Formula", "Table", "cautions", "formula", "reading", "safety", "table"]

display_in_notebook()
