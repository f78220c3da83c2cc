"""Parts as a drawer has them: between which ends every reading of a board lies, and which part is to blame."""

from pedalcalc.tolerance.bands import Band, Bands, Share, bands, blame

__all__ = ["Band", "Bands", "Share", "bands", "blame"]
