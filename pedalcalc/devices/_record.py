"""What stands in `pedalcalc._record`, for rooms that still ask here."""

from pedalcalc._record import Figure, ends, specimen

__all__ = ["Figure", "ends", "specimen"]
