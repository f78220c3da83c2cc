"""Switched-capacitor converters of the 7660 family: what rail a doubler or an inverter gives, and when.

`inverter` and `doubler` are the converter's circuits, with the makers' sums beside the exact
figures; `start` says how the doubler comes up. One flying capacitor between switches is solved
exactly in `_cycle`. The doubler's diodes obey the junction law: `_pulse` solves them in
closed form, `_overlap` steps them in time where both conduct at once, `_settled` chooses.

Symbols: f pump frequency, half the oscillator's; C1 flying and C2 output
capacitor; R_sw one of the four switches. Not modelled: the oscillator's fall
with supply and temperature, dead time between the phases, leakage of the capacitors.
"""

from pedalcalc.pump._stage import Pump
from pedalcalc.pump.doubler import doubler
from pedalcalc.pump.inverter import inverter
from pedalcalc.pump.start import start_time

__all__ = ["Pump", "doubler", "inverter", "start_time"]
