"""The printable page of a notebook: ``python -m pedalcalc.page NOTEBOOK``."""

from pedalcalc.page._write import PageError, write_page, write_pdf

__all__ = ["PageError", "write_page", "write_pdf"]
