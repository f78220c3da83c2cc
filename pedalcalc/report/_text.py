"""What stands in `pedalcalc._number_text`, for rooms that still ask here."""

from pedalcalc._number_text import MINUS, number_text

__all__ = ["MINUS", "number_text"]
