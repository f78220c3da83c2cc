"""The printable page of a notebook or of a parts list: ``python -m pedalcalc.page NOTEBOOK_OR_LIST``."""

from pedalcalc.page._file import PageError
from pedalcalc.page._write import write_page

__all__ = ["PageError", "write_page"]
