"""Detector of a side-chain: rectifier, attack and release resistances, hold capacitor.

    sine, peak A ── rectifier ── R_a ──┬────┬────┬── held voltage v
                                       C    R_r  R_L
                                       └────┴────┴── ground

R_a attack resistance, R_r release resistance, C hold capacitor, R_L whatever else hangs on it. The rectifier
only gives charge, never takes any back: a precision rectifier with a diode at its output, or a plain diode,
whose drop V_D is then a threshold. Its output resistance counts into R_a. Photocells and LEDs come later in
the chain and are not part of it.
"""

from pedalcalc.sidechain.burst import ToneBurst, tone_burst
from pedalcalc.sidechain.choose import DetectorParts, choose_detector_parts
from pedalcalc.sidechain.droop import Droop, hold_droop
from pedalcalc.sidechain.ripple import Ripple, detector_ripple
from pedalcalc.sidechain.timing import DetectorTiming, detector_timing

__all__ = [
    "DetectorParts",
    "DetectorTiming",
    "Droop",
    "Ripple",
    "ToneBurst",
    "choose_detector_parts",
    "detector_ripple",
    "detector_timing",
    "hold_droop",
    "tone_burst",
]
