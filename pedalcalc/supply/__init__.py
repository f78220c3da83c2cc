r"""What stands between the wall or the battery and the circuit.

        protection      filter
    o----->|----+----/\/\/----+------o  to the stages, or to the pump
   source       |             |
                |            === C, with its series resistance
    o-----------+-------------+------o  ground

`polarity` and `shunt` protect against a reversed supply, `filter` keeps ripple out,
`half` makes the half-supply reference, `battery` and `adaptor` say what the
source really delivers, `regulator` holds a voltage, `draws` adds up the currents.
Voltages are against ground, junctions are at 300 K.
"""

from pedalcalc.supply.adaptor import (
    AdaptorVoltage,
    Reservoir,
    adaptor_voltage,
    reservoir,
    reservoir_loaded,
    reservoir_ripple,
)
from pedalcalc.supply.battery import (
    BatteryLife,
    BatteryState,
    battery_life,
    battery_life_ideal,
    battery_life_resistive,
    battery_voltage,
    battery_voltage_resistive,
)
from pedalcalc.supply.draws import CurrentBudget, DaisyChain, Draw, current_budget, daisy_chain
from pedalcalc.supply.filter import SupplyFilter, SupplyRipple, filter_gain, filter_ripple, supply_filter
from pedalcalc.supply.half import HalfSupply, HalfSupplyNoise, half_supply, half_supply_noise, half_supply_ripple_db
from pedalcalc.supply.polarity import (
    Protection,
    mosfet_protection,
    series_diode,
    series_diode_resistive,
)
from pedalcalc.supply.regulator import (
    LinearRegulator,
    ZenerFollower,
    adjustable_regulator,
    linear_regulator,
    voltage_regulation,
    zener_follower,
    zener_resistance_max,
)
from pedalcalc.supply.shunt import ShuntProtection, shunt_diode

__all__ = [
    "AdaptorVoltage",
    "BatteryLife",
    "BatteryState",
    "CurrentBudget",
    "DaisyChain",
    "Draw",
    "HalfSupply",
    "HalfSupplyNoise",
    "LinearRegulator",
    "Protection",
    "Reservoir",
    "ShuntProtection",
    "SupplyFilter",
    "SupplyRipple",
    "ZenerFollower",
    "adaptor_voltage",
    "adjustable_regulator",
    "battery_life",
    "battery_life_ideal",
    "battery_life_resistive",
    "battery_voltage",
    "battery_voltage_resistive",
    "current_budget",
    "daisy_chain",
    "filter_gain",
    "filter_ripple",
    "half_supply",
    "half_supply_noise",
    "half_supply_ripple_db",
    "linear_regulator",
    "mosfet_protection",
    "reservoir",
    "reservoir_loaded",
    "reservoir_ripple",
    "series_diode",
    "series_diode_resistive",
    "shunt_diode",
    "supply_filter",
    "voltage_regulation",
    "zener_follower",
    "zener_resistance_max",
]
