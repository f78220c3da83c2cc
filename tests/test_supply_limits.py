"""Where the cautions of the supply begin, and that every watt is somewhere: by energy balance and the rules as stated."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pedalcalc import devices, supply

TYPICAL = devices.typical
SMOOTHER = devices.capacitor(TYPICAL(devices.CAPACITOR_ELECTROLYTIC), capacitance=100e-6, voltage_rating=25.0)


def told(result, words):
    return any(words in caution.what for caution in result.cautions)


def test_the_highest_voltage_of_an_adaptor_is_that_of_the_worst_one_with_nothing_connected():
    """9 V unregulated: 12 to 14 V open (the range of its record), whatever it is loaded with now."""
    for current in (0.0, 0.1):
        found = supply.adaptor_voltage(current, adaptor=devices.ADAPTOR_9V_UNREGULATED)
        assert found.voltage_open_max == 14.0
    assert supply.adaptor_voltage(0.0, adaptor=devices.ADAPTOR_9V_REGULATED).voltage_open_max == 9.45


def test_a_resistor_is_called_hot_from_half_its_rating():
    """A quarter-watt resistor of 100 Ω turns an eighth of a watt into heat at 35.4 mA (half the rating: common practice)."""
    edge = np.sqrt(0.125 / 100)
    for current, hot in ((0.99 * edge, False), (1.01 * edge, True)):
        found = supply.supply_filter(
            voltage_supply=9.0, resistance_series=100.0, capacitor=SMOOTHER, power_rating=0.25, current_load=current
        )
        assert told(found, "half its rating") == hot


@pytest.mark.parametrize("load", [0.0, 8e-3, 60e-3], ids=["open", "regulates", "overloaded"])
def test_zener_resistor_and_load_take_what_the_supply_gives(load):
    zener = TYPICAL(devices.ZENER_BZX55C9V1)
    found = supply.zener_regulator(voltage_supply=12.0, resistance=100.0, zener=zener, current_load=load)
    given = 12.0 * found.current
    taken = found.power_resistor + found.power_zener + found.voltage_output * found.current_load
    assert given == pytest.approx(taken, rel=1e-12)
    assert found.power_resistor == pytest.approx(100.0 * found.current**2, rel=1e-12)


def test_a_reference_tilts_from_a_tenth_of_the_divider_s_current():
    """9 V over twice 10 kΩ: with I drawn the lower one carries (4.5 V - I 5 kΩ)/10 kΩ; I is a tenth of that at 42.9 µA."""
    edge = 4.5 / (10 * 10e3 + 5e3)
    for current, tilts in ((0.99 * edge, False), (1.01 * edge, True)):
        found = supply.half_supply(
            voltage_supply=9.0, resistance_top=10e3, resistance_bottom=10e3, resistance_load=np.inf,
            current_load=current, capacitance=10e-6, tolerance=0.01,
        )  # fmt: skip
        assert told(found, "a tenth of the divider") == tilts


def test_a_fuse_blows_soon_from_twice_its_rating():
    """Twice the rating is where makers' curves of quick fuses reach seconds (common practice)."""
    diode = TYPICAL(devices.DIODE_1N4001)
    parts = {"voltage_supply": 9.0, "current_load": 0.01, "resistance_series": 20.0, "diode": diode}
    fault = supply.shunt_diode(current_fuse=0.1, **parts).current_fault
    for fuse, stays in ((fault / 2.02, False), (fault / 1.98, True)):
        found = supply.shunt_diode(current_fuse=fuse, **parts)
        assert told(found, "no fuse blows soon") == stays
        assert found.fuse_ratio == pytest.approx(fault / fuse)


def test_a_diode_blocks_the_reversed_supply_and_as_much_on_the_capacitors():
    diode = dataclasses.replace(TYPICAL(devices.DIODE_1N5817), voltage_reverse_max=20.0)
    for volts, over in ((9.9, False), (10.1, True)):
        assert (
            told(supply.series_diode(voltage_supply=volts, diode=diode, current_load=0.01), "reversed supply") == over
        )
