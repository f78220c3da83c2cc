r"""What stands between the wall or the battery and the circuit.

        protection      filter
    o----->|----+----/\/\/----+------o  to the stages, or to the pump
   source       |             |
                |            === C, with its series resistance
    o-----------+-------------+------o  ground

`polarity` and `shunt` protect against a reversed supply, `filter` keeps ripple out (`choose` finds its parts),
`half` makes the half-supply reference, `battery` and `adaptor` say what the
source really delivers, `zener` holds a voltage, `draws` adds up the currents, and
`budget` goes the whole way from the label to the swing of an op-amp stage, with a pump or without.
Voltages are against ground, junctions are at 300 K.
"""

from pedalcalc.supply.adaptor import AdaptorVoltage, adaptor_voltage
from pedalcalc.supply.battery import BatteryLife, BatteryState, battery_life, battery_voltage
from pedalcalc.supply.budget import BudgetStep, RailCircuit, VoltageBudget, voltage_budget
from pedalcalc.supply.choose import FilterParts, choose_filter
from pedalcalc.supply.draws import CurrentBudget, DaisyChain, Draw, current_budget, daisy_chain
from pedalcalc.supply.filter import SupplyFilter, supply_filter
from pedalcalc.supply.half import HalfSupply, half_supply
from pedalcalc.supply.polarity import Protection, series_diode, series_mosfet
from pedalcalc.supply.shunt import ShuntProtection, shunt_diode
from pedalcalc.supply.zener import ZenerRegulator, zener_regulator

__all__ = [
    "AdaptorVoltage",
    "BatteryLife",
    "BatteryState",
    "BudgetStep",
    "CurrentBudget",
    "DaisyChain",
    "Draw",
    "FilterParts",
    "HalfSupply",
    "Protection",
    "RailCircuit",
    "ShuntProtection",
    "SupplyFilter",
    "VoltageBudget",
    "ZenerRegulator",
    "adaptor_voltage",
    "battery_life",
    "battery_voltage",
    "choose_filter",
    "current_budget",
    "daisy_chain",
    "half_supply",
    "series_diode",
    "series_mosfet",
    "shunt_diode",
    "supply_filter",
    "voltage_budget",
    "zener_regulator",
]
