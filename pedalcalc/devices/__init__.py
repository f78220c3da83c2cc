"""Part records: what a part is, with the source of every figure.

Each record is frozen and holds SI values; a figure that a sheet gives as a
range is a `Spread(low, typical, high)`. Records can be passed to any function
that names the part, and replaced field by field with `dataclasses.replace`.
"""

from pedalcalc.devices._record import Device, Spread

__all__ = ["Device", "Spread"]
