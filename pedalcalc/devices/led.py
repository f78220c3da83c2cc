"""LED records by colour class.

No sheet prints a saturation current: each record takes the typical forward
voltage of its class at 20 mA, an ideality factor and a series resistance from
memory, and puts the junction law V = n Vt ln(1 + I/Is) + I Rs at 300 K through
that point. Two lamps of one class differ by `voltage_spread`; measure yours
(`pedalcalc.led.fit_led`) where it matters.
"""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._base import quantity
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K, saturation_through
from pedalcalc.devices._record import Device

__all__ = [
    "LED_BLUE",
    "LED_GREEN_GAP",
    "LED_GREEN_INGAN",
    "LED_RED_ALINGAP",
    "LED_RED_GAASP",
    "LED_WHITE",
    "LED_YELLOW",
    "Led",
]


@dataclass(frozen=True, slots=True, eq=False)
class Led(Device):
    """One LED: junction law at 300 K, spread of its drop, ratings and light.

    The law's numbers may be arrays, so that one record can stand for many
    lamps. `luminous_intensity` is NaN where no figure is known; light grows as
    current to the power `light_exponent`.
    """

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    colour: str = quantity("text", "colour")
    current_saturation: float = quantity("A", "saturation current")
    ideality: float = quantity("1", "ideality factor")
    resistance_series: float = quantity("Ω", "series resistance")
    voltage_spread: float = quantity("V", "spread of the drop, either way")
    current_max: float = quantity("A", "highest continuous current")
    voltage_reverse_max: float = quantity("V", "highest reverse voltage")
    power_max: float = quantity("W", "highest power")
    luminous_intensity: float = quantity("cd", "luminous intensity at the reference current")
    current_reference: float = quantity("A", "reference current")
    light_exponent: float = quantity("1", "slope of log light against log current")
    wavelength: float = quantity("m", "dominant wavelength")


_FROM_MEMORY = "; ideality, series resistance, spread and light exponent from memory"


def _led(voltage_20ma: float, *, ideality: float, resistance_series: float, **figures: object) -> Led:
    current_saturation = saturation_through(
        voltage_20ma,
        0.020,
        ideality=ideality,
        resistance_series=resistance_series,
        voltage_thermal=VOLTAGE_THERMAL_300K,
    )
    return Led(
        current_saturation=float(current_saturation),
        ideality=ideality,
        resistance_series=resistance_series,
        **figures,  # type: ignore[arg-type]
    )


LED_RED_GAASP = _led(
    2.00,
    ideality=2.0,
    resistance_series=5.0,
    name="red LED, GaAsP/GaP",
    source="2.00 V at 20 mA chosen so that 2 mA gives the 1.8 V of LOWCURRENT-LAMPS (626 nm, 1.3 to 2.3 mcd at 2 mA); "
    "30 mA as LED-CATALOGUE; reverse voltage and power from memory" + _FROM_MEMORY,
    colour="red",
    voltage_spread=0.2,
    current_max=0.030,
    voltage_reverse_max=5.0,
    power_max=0.075,
    luminous_intensity=1.8e-3,
    current_reference=0.002,
    light_exponent=1.2,
    wavelength=626e-9,
)

LED_RED_ALINGAP = _led(
    1.95,
    ideality=2.0,
    resistance_series=4.0,
    name="red LED, AlInGaP, high brightness",
    source="1.95 V at 20 mA: class value between 1.80 typical and 2.40 highest of RGB-LAMP (630 to 640 nm, 2 to 4 cd at 20 mA); "
    "ratings from memory" + _FROM_MEMORY,
    colour="red",
    voltage_spread=0.2,
    current_max=0.030,
    voltage_reverse_max=5.0,
    power_max=0.075,
    luminous_intensity=3.0,
    current_reference=0.020,
    light_exponent=1.0,
    wavelength=635e-9,
)

LED_YELLOW = _led(
    2.05,
    ideality=2.2,
    resistance_series=5.0,
    name="yellow LED, AlInGaP",
    source="2.05 V at 20 mA chosen so that 2 mA gives about the 1.85 V (1.5 to 2.1 V) of YELLOW-LAMP; 30 mA and 75 mW as "
    "YELLOW-LAMP; 32 mcd at 10 mA as the yellow lamp of LED-CATALOGUE, super-bright ones are far brighter; "
    "reverse voltage from memory" + _FROM_MEMORY,
    colour="yellow",
    voltage_spread=0.2,
    current_max=0.030,
    voltage_reverse_max=5.0,
    power_max=0.075,
    luminous_intensity=32e-3,
    current_reference=0.010,
    light_exponent=1.0,
    wavelength=590e-9,
)

LED_GREEN_GAP = _led(
    2.15,
    ideality=2.2,
    resistance_series=7.0,
    name="yellow-green LED, GaP",
    source="2.15 V at 20 mA: class value; LOWCURRENT-LAMPS gives 1.8 typical and 2.2 V highest at 2 mA (569 nm, 1.0 to 2.1 mcd), "
    "LED-CATALOGUE 2.2 V at 10 mA and 25 mA highest; reverse voltage and power from memory" + _FROM_MEMORY,
    colour="green",
    voltage_spread=0.2,
    current_max=0.025,
    voltage_reverse_max=5.0,
    power_max=0.062,
    luminous_intensity=1.5e-3,
    current_reference=0.002,
    light_exponent=1.2,
    wavelength=569e-9,
)

LED_GREEN_INGAN = _led(
    3.20,
    ideality=3.0,
    resistance_series=12.0,
    name="pure green LED, InGaN, high brightness",
    source="3.20 V typical at 20 mA of RGB-LAMP (515 to 525 nm, 3 to 6 cd at 20 mA); 30 mA and 105 mW as GREEN-LAMP; "
    "reverse voltage from memory" + _FROM_MEMORY,
    colour="green",
    voltage_spread=0.35,
    current_max=0.030,
    voltage_reverse_max=5.0,
    power_max=0.105,
    luminous_intensity=4.5,
    current_reference=0.020,
    light_exponent=0.9,
    wavelength=520e-9,
)

LED_BLUE = _led(
    3.20,
    ideality=3.0,
    resistance_series=12.0,
    name="blue LED, InGaN, high brightness",
    source="3.20 V typical at 20 mA of RGB-LAMP (460 to 470 nm, 0.7 to 1 cd at 20 mA); ratings from memory"
    + _FROM_MEMORY,
    colour="blue",
    voltage_spread=0.35,
    current_max=0.030,
    voltage_reverse_max=5.0,
    power_max=0.105,
    luminous_intensity=0.85,
    current_reference=0.020,
    light_exponent=0.9,
    wavelength=465e-9,
)

LED_WHITE = _led(
    3.10,
    ideality=3.0,
    resistance_series=12.0,
    name="white LED, InGaN with phosphor, high brightness",
    source="3.10 V at 20 mA: class value within 2.60 to 3.40 V (typical 3.00) of WHITE-LAMP (warm white, 2.9 to 5 cd at 20 mA, "
    "25 mA, 85 mW, reverse 5 V)" + _FROM_MEMORY,
    colour="white",
    voltage_spread=0.35,
    current_max=0.025,
    voltage_reverse_max=5.0,
    power_max=0.085,
    luminous_intensity=3.9,
    current_reference=0.020,
    light_exponent=0.9,
    wavelength=float("nan"),
)
