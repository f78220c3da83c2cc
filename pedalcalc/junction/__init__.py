"""A Zener diode behind a resistor; what a junction obeys is in `pedalcalc.laws`."""

from pedalcalc.junction.models import ZenerPoint, zener_regulator

__all__ = ["ZenerPoint", "zener_regulator"]
