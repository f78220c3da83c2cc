"""BJT, JFET and MOSFET records, with the order of the leads in each package.

The commonest substitution fault is a part that fits electrically and sits the
wrong way round, so each record says which lead is which. Orders marked "from
memory" were not read: check with the meter's diode range or the maker's sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._base import quantity
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K, saturation_through
from pedalcalc.devices._record import Device, Spread

__all__ = [
    "BJT_2N3904",
    "BJT_2N3906",
    "BJT_2N5088",
    "BJT_AC128",
    "BJT_BC549B",
    "BJT_BC549C",
    "BJT_BC559B",
    "BJT_OC44",
    "JFET_2N5457",
    "JFET_2N5458",
    "JFET_2N5460",
    "JFET_J201",
    "JFET_J202",
    "MOSFET_2N7000",
    "MOSFET_BS170",
    "Bjt",
    "Jfet",
    "LeadOrder",
    "Mosfet",
]

_NAN = float("nan")
_TO92 = "flat side towards you, leads down, left to right"


@dataclass(frozen=True, slots=True, eq=False)
class LeadOrder(Device):
    """Which lead is which: `leads` in the order met when looked at as `view` says."""

    package: str = quantity("text", "package")
    leads: str = quantity("text", "leads in order")
    view: str = quantity("text", "how the part is held")
    source: str = quantity("text", "source of the lead order")


@dataclass(frozen=True, slots=True, eq=False)
class Bjt(Device):
    """One bipolar transistor.

    `current_gain` is the spread of hFE at `current_reference`; the law numbers
    (saturation current, ideality, reverse gain, leakage) hold at 300 K.
    `current_collector_base_leakage` is Icbo: nothing to speak of in silicon,
    the main trouble in germanium, where `temperature_doubling` says by how many
    kelvin it doubles.
    """

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    polarity: str = quantity("text", "npn or pnp")
    material: str = quantity("text", "silicon or germanium")
    current_gain: Spread = quantity("1", "current gain hFE")
    current_reference: float = quantity("A", "collector current of that gain")
    current_saturation: float = quantity("A", "transport saturation current")
    ideality: float = quantity("1", "ideality factor")
    current_gain_reverse: float = quantity("1", "reverse current gain")
    voltage_early: float = quantity("V", "Early voltage")
    current_collector_base_leakage: Spread = quantity("A", "collector-base leakage Icbo")
    temperature_doubling: float = quantity("K", "temperature rise that doubles the leakage")
    energy_gap: float = quantity("eV", "energy gap")
    voltage_max: float = quantity("V", "highest collector-emitter voltage")
    current_max: float = quantity("A", "highest collector current")
    power_max: float = quantity("W", "highest power at 25 °C")
    lead_order: tuple[LeadOrder, ...] = quantity("records", "order of the leads")


@dataclass(frozen=True, slots=True, eq=False)
class Jfet(Device):
    """One junction field-effect transistor; signs as for the n-channel (mirrored in a p-channel)."""

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    polarity: str = quantity("text", "n or p channel")
    current_drain_zero_bias: Spread = quantity("A", "drain current at zero bias IDSS")
    voltage_gate_source_off: Spread = quantity("V", "gate-source cut-off voltage VGS(off)")
    transconductance: Spread = quantity("S", "transconductance at zero bias")
    voltage_max: float = quantity("V", "highest drain-gate voltage")
    power_max: float = quantity("W", "highest power at 25 °C")
    lead_order: tuple[LeadOrder, ...] = quantity("records", "order of the leads")


@dataclass(frozen=True, slots=True, eq=False)
class Mosfet(Device):
    """One enhancement MOSFET: ID = K (VGS - Vth)² with K from one point of the sheet."""

    name: str = quantity("text", "name")
    source: str = quantity("text", "source")
    polarity: str = quantity("text", "n or p channel")
    voltage_threshold: Spread = quantity("V", "gate threshold voltage")
    transconductance_parameter: float = quantity("A/V²", "K of the square law")
    voltage_max: float = quantity("V", "highest drain-source voltage")
    voltage_gate_source_max: float = quantity("V", "highest gate-source voltage, either way")
    current_max: float = quantity("A", "highest drain current")
    power_max: float = quantity("W", "highest power at 25 °C")
    lead_order: tuple[LeadOrder, ...] = quantity("records", "order of the leads")


def _saturation(voltage: float, current: float) -> float:
    return float(
        saturation_through(voltage, current, ideality=1.0, resistance_series=0.0, voltage_thermal=VOLTAGE_THERMAL_300K)
    )


def _to92(leads: str) -> tuple[LeadOrder, ...]:
    return (LeadOrder("TO-92", leads, _TO92, "from memory; check with the maker's sheet"),)


def _silicon(
    name: str, source: str, *, polarity: str, gain: Spread, at: float, forward: float, early: float, leads: str
) -> Bjt:
    """Fill in what all small silicon types share; `forward` is VBE at 2 mA."""
    return Bjt(
        name=name,
        source=source,
        polarity=polarity,
        material="silicon",
        current_gain=gain,
        current_reference=at,
        current_saturation=_saturation(forward, 2e-3),
        ideality=1.0,
        current_gain_reverse=4.0,
        voltage_early=early,
        current_collector_base_leakage=Spread(_NAN, 1e-11, 15e-9),
        temperature_doubling=10.0,
        energy_gap=1.12,
        voltage_max=30.0 if name.startswith("BC") or name == "2N5088" else 40.0,
        current_max=0.05 if name == "2N5088" else 0.1 if name.startswith("BC") else 0.2,
        power_max=0.5 if name.startswith("BC") else 0.625,
        lead_order=_to92(leads),
    )


_LAW = "; base-emitter voltage, reverse gain, Early voltage, leakage and ratings from memory"

BJT_2N3904 = _silicon(
    "2N3904",
    "current gain at 10 mA, 1 V from SHEET-SMALL-SIGNAL" + _LAW,
    polarity="npn",
    gain=Spread(100, _NAN, 300),
    at=10e-3,
    forward=0.67,
    early=75.0,
    leads="E B C",
)
BJT_2N3906 = _silicon(
    "2N3906",
    "current gain from memory" + _LAW,
    polarity="pnp",
    gain=Spread(100, _NAN, 300),
    at=10e-3,
    forward=0.67,
    early=20.0,
    leads="E B C",
)
BJT_2N5088 = _silicon(
    "2N5088",
    "current gain at 0.1 mA from SHEET-2N5088" + _LAW,
    polarity="npn",
    gain=Spread(300, _NAN, 900),
    at=0.1e-3,
    forward=0.65,
    early=60.0,
    leads="E B C",
)
BJT_BC549B = _silicon(
    "BC549B",
    "current gain at 2 mA from SHEET-BC549" + _LAW,
    polarity="npn",
    gain=Spread(200, 290, 450),
    at=2e-3,
    forward=0.66,
    early=60.0,
    leads="C B E",
)
BJT_BC549C = _silicon(
    "BC549C",
    "current gain at 2 mA from SHEET-BC549" + _LAW,
    polarity="npn",
    gain=Spread(420, 500, 800),
    at=2e-3,
    forward=0.66,
    early=40.0,
    leads="C B E",
)
BJT_BC559B = _silicon(
    "BC559B",
    "current gain from memory" + _LAW,
    polarity="pnp",
    gain=Spread(220, 290, 475),
    at=2e-3,
    forward=0.65,
    early=30.0,
    leads="C B E",
)


def _germanium(name: str, *, gain: Spread, at: float, leakage: Spread, order: LeadOrder, power: float) -> Bjt:
    return Bjt(
        name=name,
        source="figures from memory; doubling of leakage per 9.6 K from one hobby measurement, GERMANIUM-NOTE",
        polarity="pnp",
        material="germanium",
        current_gain=gain,
        current_reference=at,
        current_saturation=_saturation(0.15, 1e-3),
        ideality=1.0,
        current_gain_reverse=10.0,
        voltage_early=60.0,
        current_collector_base_leakage=leakage,
        temperature_doubling=9.6,
        energy_gap=0.66,
        voltage_max=15.0,
        current_max=10e-3 if name == "OC44" else 1.0,
        power_max=power,
        lead_order=(order,),
    )


BJT_AC128 = _germanium(
    "AC128",
    gain=Spread(55, 90, 175),
    at=50e-3,
    leakage=Spread(_NAN, 3e-6, 10e-6),
    order=LeadOrder(
        "TO-1", "E B C", "leads towards you, clockwise from the lead far from the dot", "from memory; check by meter"
    ),
    power=0.2,
)
BJT_OC44 = _germanium(
    "OC44",
    gain=Spread(45, 100, 225),
    at=1e-3,
    leakage=Spread(_NAN, 0.5e-6, 2e-6),
    order=LeadOrder(
        "SO-2 glass can", "E B C", "leads in a row, the dot marks the collector", "from memory; check by meter"
    ),
    power=0.083,
)


def _jfet(
    name: str, source: str, *, idss: Spread, off: Spread, gfs: Spread, leads: str, polarity: str = "n", volts: float
) -> Jfet:
    return Jfet(name, source, polarity, idss, off, gfs, volts, 0.31, _to92(leads))


JFET_J201 = _jfet(
    "J201",
    "SHEET-J201; highest IDSS and ratings from memory",
    idss=Spread(0.2e-3, _NAN, 1.0e-3),
    off=Spread(-1.5, _NAN, -0.3),
    gfs=Spread(0.5e-3, _NAN, _NAN),
    leads="D S G",
    volts=40.0,
)
JFET_J202 = _jfet(
    "J202",
    "SHEET-J201; highest IDSS and ratings from memory",
    idss=Spread(0.9e-3, _NAN, 4.5e-3),
    off=Spread(-4.0, _NAN, -0.8),
    gfs=Spread(1.0e-3, _NAN, _NAN),
    leads="D S G",
    volts=40.0,
)
JFET_2N5457 = _jfet(
    "2N5457",
    "SHEET-2N5457-1996; the sheet of 2001 gives -1.0 V for -0.5 V; ratings from memory",
    idss=Spread(1.0e-3, 3.0e-3, 5.0e-3),
    off=Spread(-6.0, _NAN, -0.5),
    gfs=Spread(1e-3, _NAN, 5e-3),
    leads="D S G",
    volts=25.0,
)
JFET_2N5458 = _jfet(
    "2N5458",
    "SHEET-2N5457-2001; ratings from memory",
    idss=Spread(2.0e-3, 6.0e-3, 9.0e-3),
    off=Spread(-7.0, _NAN, -1.0),
    gfs=Spread(1.5e-3, _NAN, 5.5e-3),
    leads="D S G",
    volts=25.0,
)
JFET_2N5460 = _jfet(
    "2N5460",
    "SHEET-2N5460; transconductance and ratings from memory",
    idss=Spread(1.0e-3, _NAN, 5.0e-3),
    off=Spread(0.75, _NAN, 6.0),
    gfs=Spread(1e-3, _NAN, 4e-3),
    leads="D S G",
    polarity="p",
    volts=40.0,
)

MOSFET_BS170 = Mosfet(
    name="BS170",
    source="figures from memory; K from the typical transconductance, about 0.24 S at 0.2 A",
    polarity="n",
    voltage_threshold=Spread(0.8, 2.1, 3.0),
    transconductance_parameter=0.07,
    voltage_max=60.0,
    voltage_gate_source_max=20.0,
    current_max=0.5,
    power_max=0.83,
    lead_order=_to92("D G S"),
)
MOSFET_2N7000 = Mosfet(
    name="2N7000",
    source="figures from memory; K as for the BS170",
    polarity="n",
    voltage_threshold=Spread(0.8, 2.1, 3.0),
    transconductance_parameter=0.07,
    voltage_max=60.0,
    voltage_gate_source_max=20.0,
    current_max=0.2,
    power_max=0.4,
    lead_order=_to92("S G D"),
)
