"""Part values as people write them: text, preferred numbers, bands and codes.

Text becomes an SI float here, once, and nowhere else; the grammar is strict,
because a value that is misread is a part that is burnt. The subjects:

- `_text`: ``4k7``, ``100n``, ``470 Ω`` in; ``4.70 kΩ`` and ``4K7`` out;
- `_series`: the preferred numbers E3 to E192, or the values of a drawer, and the
  one nearest to, next above or next below a computed one;
- `_bands`, `_codes`: what is printed on the part: colour bands, letter and
  three-digit codes, tolerance letters;
- `_decibels`: gains as ratios and in decibels.
"""

from pedalcalc.values._bands import ResistorMarking, read_bands, write_bands
from pedalcalc.values._codes import CapacitorMarking, read_capacitor_code, read_resistor_code, write_digit_code
from pedalcalc.values._decibels import decibels_from_gain, gain_from_decibels
from pedalcalc.values._series import SERIES, nearest_value, stock_values, value_above, value_below
from pedalcalc.values._text import UNITS, read_value, write_code, write_value

__all__ = [
    "SERIES",
    "UNITS",
    "CapacitorMarking",
    "ResistorMarking",
    "decibels_from_gain",
    "gain_from_decibels",
    "nearest_value",
    "read_bands",
    "read_capacitor_code",
    "read_resistor_code",
    "read_value",
    "stock_values",
    "value_above",
    "value_below",
    "write_bands",
    "write_code",
    "write_digit_code",
    "write_value",
]
