"""Pictures from results: labelled axes, colours for every eye, readable in grey.

Every function returns a figure of its own and touches no global plotting state.
"""

from pedalcalc.plot._dynamics import static_curve, step_response
from pedalcalc.plot._lines import bands, curve, lines
from pedalcalc.plot._rails import rail_diagram
from pedalcalc.plot._response import response
from pedalcalc.plot._sketch import Sketch, sketch
from pedalcalc.plot._style import Picture

__all__ = [
    "Picture",
    "Sketch",
    "bands",
    "curve",
    "lines",
    "rail_diagram",
    "response",
    "sketch",
    "static_curve",
    "step_response",
]
