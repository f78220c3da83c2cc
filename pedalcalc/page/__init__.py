"""The printable page of a notebook: ``python -m pedalcalc.page NOTEBOOK``."""

from pedalcalc.page._file import PageError
from pedalcalc.page._write import write_page

__all__ = ["PageError", "write_page"]
