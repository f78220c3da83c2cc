"""Light-dependent resistors, and couplers of an LED facing one.

A sheet gives a cell as a range of resistance at 10 lx, a slope between 10 and
100 lx, a dark resistance ten seconds after 10 lx, and two times at 10 lx. The
records turn that into the laws of `pedalcalc.opto`:

    settled conductance   g = 1/R_dark + (1/R_10lx) (E / 10 lx)^gamma
    resistance            R = 1/g + R_floor
    rise                  dg/dt = (g_settled - g) / (t_rise_10lx (E / 10 lx)^-a)
    fall                  dg/dt = (g_settled - g) / (t_fall_10lx ((g - 1/R_dark) R_10lx)^-b)

`resistance_10lx` is the middle of the sheet's range by ratio. Where one light
level only was timed, a = 0.40 and b = 0.29 as in the one cell timed at two.
**Times of a cell that was not measured are good to a factor of two.**

A coupler's `illuminance_reference` is the light that reaches its cell at
`current_reference`; the home-made ones are invented typical ones, good to a
factor of two or three (E = I_v / d^2, see `pedalcalc.opto.illuminance_at_distance`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import e, inf, log, nan, sqrt

from pedalcalc._base import quantity
from pedalcalc.devices._record import Device, Spread
from pedalcalc.devices.led import LED_GREEN_GAP, LED_GREEN_INGAN, LED_WHITE, Led

__all__ = [
    "COUPLER_GREEN_GAP_GL5528",
    "COUPLER_GREEN_GL5528",
    "COUPLER_NSL28",
    "COUPLER_STEEP",
    "COUPLER_WHITE_GL5528",
    "LDR_GL5506",
    "LDR_GL5516",
    "LDR_GL5528",
    "LDR_GL5537",
    "LDR_GL5539",
    "LDR_GL5549",
    "LDR_NORP12",
    "LDR_P621",
    "LDR_P1114_01",
    "LDR_P1395_01",
    "LDR_PDV_P8001",
    "Coupler",
    "Ldr",
]


_UNKNOWN = Spread(nan, nan, nan)


@dataclass(frozen=True, slots=True, eq=False)
class Ldr(Device):
    """One cadmium cell: settled law, timing law and ratings.

    The law's numbers may be arrays, so that one record can stand for many
    cells. `resistance_dark` may be infinite and `resistance_floor` zero where
    neither is known; `resistance_10lx_spread` is what the maker promises.
    """

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    resistance_10lx: float = quantity("Ω", "resistance at 10 lx")
    gamma: float = quantity("1", "slope of log resistance against log light")
    resistance_dark: float = quantity("Ω", "resistance ten seconds after the light went out")
    resistance_floor: float = quantity("Ω", "resistance that no light takes away")
    time_rise_10lx: float = quantity("s", "time constant of the rise at 10 lx")
    rise_exponent: float = quantity("1", "slope of log rise time against falling log light")
    time_fall_10lx: float = quantity("s", "time constant of the fall at the 10 lx conductance")
    fall_exponent: float = quantity("1", "slope of log fall time against falling log conductance")
    resistance_10lx_spread: Spread = field(
        default=_UNKNOWN, metadata={"unit": "Ω", "caption": "maker's range at 10 lx"}
    )
    gamma_tolerance: float = field(
        default=0.1, metadata={"unit": "1", "caption": "maker's tolerance of the slope, either way"}
    )
    voltage_max: float = field(default=nan, metadata={"unit": "V", "caption": "highest voltage"})
    power_max: float = field(default=nan, metadata={"unit": "W", "caption": "highest power"})
    wavelength_peak: float = field(default=nan, metadata={"unit": "m", "caption": "wavelength of highest response"})


@dataclass(frozen=True, slots=True, eq=False)
class Coupler(Device):
    """An LED facing a cell: light = illuminance_reference (I / current_reference)^light_exponent."""

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    led: Led = quantity("record", "LED")
    cell: Ldr = quantity("record", "cell")
    illuminance_reference: float = quantity("lx", "light on the cell at the reference current")
    current_reference: float = quantity("A", "reference current")
    light_exponent: float = quantity("1", "slope of log light against log current")


# Exponents of the one cell timed at two light levels (LDR-232-3816: 18 ms, 2.8 ms; 120 ms, 48 ms), two digits.
_RISE_EXPONENT = 0.40
_FALL_EXPONENT = 0.29


def _conductance_after(conductance: float, fraction: float, resistance_floor: float) -> float:
    """Return the photo-layer conductance at which the whole cell conducts `fraction` of what it did."""
    return 1 / ((1 / conductance + resistance_floor) / fraction - resistance_floor)


def _cell(
    low: float,
    high: float,
    *,
    gamma: float,
    resistance_dark: float,
    resistance_floor: float,
    time_rise: float,
    time_fall: float,
    **figures: object,
) -> Ldr:
    """Return the record of a sheet row timed at 10 lx: to 63 % of conductance, and down to 37 %."""
    resistance_10lx = sqrt(low * high)
    dark = 1 / resistance_dark
    lit = dark + 1 / resistance_10lx
    rises = log((lit - dark) / (lit - _conductance_after(lit, 1 - 1 / e, resistance_floor)))
    left = (_conductance_after(lit, 1 / e, resistance_floor) - dark) * resistance_10lx
    return Ldr(
        resistance_10lx=resistance_10lx,
        resistance_10lx_spread=Spread(low, nan, high),
        gamma=gamma,
        resistance_dark=resistance_dark,
        resistance_floor=resistance_floor,
        time_rise_10lx=time_rise / rises,
        rise_exponent=_RISE_EXPONENT,
        time_fall_10lx=time_fall * _FALL_EXPONENT / (left**-_FALL_EXPONENT - 1),
        fall_exponent=_FALL_EXPONENT,
        **figures,  # type: ignore[arg-type]
    )


_EXPONENTS = "; exponents of the times from LDR-232-3816"
_FLOOR = "; floor from memory"

LDR_NORP12 = Ldr(
    name="13 mm CdS cell, NORP12 class",
    source="LDR-232-3816, March 1997: 9 kΩ at 10 lx, 400 Ω at 1000 lx, 1 MΩ dark; rise to 1.1 times the settled resistance "
    "18 ms at 10 lx and 2.8 ms at 1000 lx, fall to 10 times 120 ms and 48 ms: the four timing constants are what these four "
    "times give; no floor is given, 1000 lx is the highest light stated; range and peak wavelength from memory",
    resistance_10lx=9e3,
    resistance_10lx_spread=Spread(nan, 9e3, nan),
    gamma=0.6760912590556812,
    resistance_dark=1e6,
    resistance_floor=0.0,
    time_rise_10lx=7.5347366068e-3,
    rise_exponent=0.40483390894,
    time_fall_10lx=35.365975550e-3,
    fall_exponent=0.27920706235,
    voltage_max=320.0,
    power_max=0.250,
    wavelength_peak=550e-9,
)

LDR_P1114_01 = _cell(
    13e3,
    39e3,
    gamma=0.80,
    resistance_dark=1e6,
    resistance_floor=60.0,
    time_rise=60e-3,
    time_fall=25e-3,
    name="CdS cell in TO-18 can, P1114-01",
    source="CDS-METAL row P1114-01" + _EXPONENTS + _FLOOR,
    voltage_max=100.0,
    power_max=0.030,
    wavelength_peak=630e-9,
)

LDR_P621 = _cell(
    1.3e3,
    3.7e3,
    gamma=0.75,
    resistance_dark=0.3e6,
    resistance_floor=20.0,
    time_rise=80e-3,
    time_fall=40e-3,
    name="CdS cell in TO-8 can, P621",
    source="CDS-METAL row P621" + _EXPONENTS + _FLOOR,
    voltage_max=150.0,
    power_max=0.300,
    wavelength_peak=570e-9,
)

LDR_P1395_01 = _cell(
    5e3,
    15e3,
    gamma=0.60,
    resistance_dark=0.1e6,
    resistance_floor=60.0,
    time_rise=120e-3,
    time_fall=250e-3,
    name="5 mm resin CdS cell, P1395-01",
    source="CDS-RESIN row P1395-01" + _EXPONENTS + _FLOOR,
    voltage_max=50.0,
    power_max=0.025,
    wavelength_peak=550e-9,
)

LDR_PDV_P8001 = _cell(
    3e3,
    11e3,
    gamma=0.60,
    resistance_dark=0.2e6,
    resistance_floor=60.0,
    time_rise=55e-3,
    time_fall=20e-3,
    name="5 mm CdS cell, PDV-P8001",
    source="PDV-P8001 sheet" + _EXPONENTS + _FLOOR,
    voltage_max=150.0,
    power_max=0.100,
    wavelength_peak=520e-9,
)


def _gl55(
    name: str,
    low: float,
    high: float,
    *,
    gamma: float,
    resistance_dark: float,
    time_rise: float,
    time_fall: float,
    power_max: float,
    memory: str,
) -> Ldr:
    return _cell(
        low,
        high,
        gamma=gamma,
        resistance_dark=resistance_dark,
        resistance_floor=60.0,
        time_rise=time_rise,
        time_fall=time_fall,
        name=f"5 mm CdS cell, {name}",
        source=f"GL55-TABLE row {name}; from memory: {memory}" + _EXPONENTS + _FLOOR,
        voltage_max=150.0,
        power_max=power_max,
        wavelength_peak=540e-9,
    )


LDR_GL5506 = _gl55(
    "GL5506",
    2e3,
    6e3,
    gamma=0.6,
    resistance_dark=0.15e6,
    time_rise=30e-3,
    time_fall=40e-3,
    power_max=0.090,
    memory="slope and times",
)
LDR_GL5516 = _gl55(
    "GL5516",
    5e3,
    10e3,
    gamma=0.6,
    resistance_dark=0.5e6,
    time_rise=30e-3,
    time_fall=30e-3,
    power_max=0.090,
    memory="slope and times",
)
LDR_GL5528 = _gl55(
    "GL5528",
    10e3,
    20e3,
    gamma=0.7,
    resistance_dark=1e6,
    time_rise=20e-3,
    time_fall=30e-3,
    power_max=0.100,
    memory="slope",
)
LDR_GL5537 = _gl55(
    "GL5537",
    16e3,
    50e3,
    gamma=0.75,
    resistance_dark=2e6,
    time_rise=20e-3,
    time_fall=30e-3,
    power_max=0.100,
    memory="slope (0.7 to 0.8) and times",
)
LDR_GL5539 = _gl55(
    "GL5539",
    30e3,
    90e3,
    gamma=0.8,
    resistance_dark=5e6,
    time_rise=20e-3,
    time_fall=30e-3,
    power_max=0.100,
    memory="slope and times",
)
LDR_GL5549 = _gl55(
    "GL5549",
    45e3,
    140e3,
    gamma=0.9,
    resistance_dark=10e6,
    time_rise=20e-3,
    time_fall=30e-3,
    power_max=0.100,
    memory="every figure",
)


def _home_made(led: Led, *, distance: float, name: str) -> Coupler:
    """Return a coupler whose light at 1 mA is I_v / d^2, two digits' worth of truth at best."""
    current_reference = 0.001
    intensity = led.luminous_intensity * (current_reference / led.current_reference) ** led.light_exponent
    return Coupler(
        name=name,
        source="invented typical home-made coupler: light at 1 mA as I_v / d^2 with the typical intensity of the LED record and "
        f"an effective distance of {1000 * distance:.0f} mm, good to a factor of two or three either way; measure yours",
        led=led,
        cell=LDR_GL5528,
        illuminance_reference=intensity / distance**2,
        current_reference=current_reference,
        light_exponent=led.light_exponent,
    )


COUPLER_GREEN_GL5528 = _home_made(
    LED_GREEN_INGAN, distance=0.010, name="home-made coupler: pure green LED and GL5528 class cell in heat-shrink"
)
COUPLER_WHITE_GL5528 = _home_made(
    LED_WHITE, distance=0.010, name="home-made coupler: white LED and GL5528 class cell in heat-shrink"
)
COUPLER_GREEN_GAP_GL5528 = _home_made(
    LED_GREEN_GAP, distance=0.005, name="home-made coupler: old yellow-green LED and GL5528 class cell in heat-shrink"
)


def _nsl28() -> Coupler:
    resistance_10lx, gamma, floor, dark = 14e3, 0.7, 60.0, 10e6
    # 400 Ω at 20 mA fixes the equivalent light at 20 mA ...
    light_20ma = 10 * ((1 / (400.0 - floor) - 1 / dark) * resistance_10lx) ** (1 / gamma)
    light_16ma = light_20ma * 16 / 20
    # ... 5 ms to 63 % at 16 mA the rise, 80 ms from there to 100 kΩ the fall.
    lit = (light_16ma / 10) ** gamma
    settled = 1 / dark + lit / resistance_10lx
    rises = log((settled - 1 / dark) / (settled - _conductance_after(settled, 1 - 1 / e, floor)))
    left = (1 / (100e3 - floor) - 1 / dark) * resistance_10lx
    cell = Ldr(
        name="CdS cell of an NSL-28 class coupler",
        source="SHEET-NSL28; 14 kΩ at 10 lx, slope 0.7 and floor assumed, so that lx here means equivalent light"
        + _EXPONENTS,
        resistance_10lx=resistance_10lx,
        gamma=gamma,
        resistance_dark=dark,
        resistance_floor=floor,
        time_rise_10lx=5e-3 / rises * (light_16ma / 10) ** _RISE_EXPONENT,
        rise_exponent=_RISE_EXPONENT,
        time_fall_10lx=80e-3 * _FALL_EXPONENT / (left**-_FALL_EXPONENT - lit**-_FALL_EXPONENT),
        fall_exponent=_FALL_EXPONENT,
        voltage_max=100.0,
        power_max=0.050,
    )
    return Coupler(
        name="component coupler, NSL-28 class",
        source="SHEET-NSL28: 400 Ω at 20 mA, 10 MΩ dark at 10 s, rise 5 ms to 63 % at 16 mA, decay 80 ms to 100 kΩ after 16 mA "
        "(which of them are limits is not certain); light taken as proportional to current; the sheet's LED drops 2.5 V at most "
        "at 16 mA and carries 40 mA, the LED record is the generic yellow-green one",
        led=LED_GREEN_GAP,
        cell=cell,
        illuminance_reference=light_20ma,
        current_reference=0.020,
        light_exponent=1.0,
    )


COUPLER_NSL28 = _nsl28()

COUPLER_STEEP = Coupler(
    name="component coupler of steep law",
    source="PARKER-DANGELO: R = 1136 Ω + 3.4646 / I^1.4 (I in A, 10 µA to 40 mA), read in an open implementation; no dark "
    "resistance is part of it; split of 1.4 into slope 0.7 and light exponent 2 chosen, so that lx here means equivalent light; "
    "time constants rounded from the rates of the same model; LED record generic",
    led=LED_GREEN_GAP,
    cell=Ldr(
        name="cell of a coupler of steep law",
        source="PARKER-DANGELO",
        resistance_10lx=3.4646 / 0.001**1.4,
        gamma=0.7,
        resistance_dark=inf,
        resistance_floor=1136.0,
        time_rise_10lx=3.3e-3,
        rise_exponent=_RISE_EXPONENT,
        time_fall_10lx=120e-3,
        fall_exponent=_FALL_EXPONENT,
    ),
    illuminance_reference=10.0,
    current_reference=0.001,
    light_exponent=2.0,
)
