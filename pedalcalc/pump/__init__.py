"""Switched-capacitor converters of the 7660 family, and the voltage budget of a build.

`cycle` solves one flying capacitor exactly, `sums` holds the makers' formulas,
`inverter`, `cascade` and `doubler` the converter's circuits, `start` how the doubler comes
up, `budget` the way from the adaptor's label to the swing of an op-amp stage, `demo` the
supply of the demo build. The doubler's diodes obey the junction law: `_pulse` solves them in
closed form, `_overlap` steps them in time where both conduct at once, `_settled` chooses.

Symbols: f pump frequency, half the oscillator's; C1 flying and C2 output
capacitor; R_sw one of the four switches. Not modelled: the oscillator's fall
with supply and temperature, dead time between the phases, leakage of the capacitors.
"""

from pedalcalc.pump._stage import Pump
from pedalcalc.pump.budget import RailCircuit, VoltageBudget, rail_cases, voltage_budget
from pedalcalc.pump.cascade import Cascade, cascade
from pedalcalc.pump.cycle import PumpCycle, pump_cycle, pump_start_time
from pedalcalc.pump.demo import example
from pedalcalc.pump.doubler import doubler, doubler_resistive
from pedalcalc.pump.inverter import inverter
from pedalcalc.pump.start import doubler_start_time
from pedalcalc.pump.steps import BudgetStep, BudgetSteps, budget_steps
from pedalcalc.pump.sums import (
    doubler_voltage,
    doubling_inverter_resistance_sum,
    flying_reactance,
    inverter_resistance_sum,
    pump_frequency,
    ripple_sum,
    slow_resistance,
)

__all__ = [
    "BudgetStep",
    "BudgetSteps",
    "Cascade",
    "Pump",
    "PumpCycle",
    "RailCircuit",
    "VoltageBudget",
    "budget_steps",
    "cascade",
    "doubler",
    "doubler_resistive",
    "doubler_start_time",
    "doubler_voltage",
    "doubling_inverter_resistance_sum",
    "example",
    "flying_reactance",
    "inverter",
    "inverter_resistance_sum",
    "pump_cycle",
    "pump_frequency",
    "pump_start_time",
    "rail_cases",
    "ripple_sum",
    "slow_resistance",
    "voltage_budget",
]
