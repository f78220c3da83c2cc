"""Detector of a side-chain: rectifier, attack and release resistances, hold capacitor.

sine, peak A ── rectifier ── R_a ──┬────┬───── held voltage v
                                   C    R_r
                                   └────┴── ground
"""

from pedalcalc.sidechain.charging import charging_current_average

__all__ = ["charging_current_average"]
