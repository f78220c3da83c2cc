"""BJT, JFET and MOSFET records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._junction import Junction
from pedalcalc._record import Device, Figure, ends, figure, out_of_line, records, word
from pedalcalc._result import Spread
from pedalcalc.devices.pinout import Pinout

__all__ = ["Bjt", "Jfet", "Mosfet"]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bjt(Junction, Device):
    """One bipolar transistor.

    `voltage_forward` is the base-emitter voltage at the collector current `current_reference`; the transport law goes
    through it at 300 K. `current_gain` is hFE at the collector current `current_for_gain`.
    `current_collector_base_leakage` is Icbo, taken as that at 300 K: nothing to speak of in silicon, the main trouble in
    germanium, where `temperature_doubling` says by how many kelvin it doubles. Capacitances are those at the sheet's voltage.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    polarity: str = word("npn or pnp", allowed=("npn", "pnp"))
    material: str = word("silicon or germanium", allowed=("silicon", "germanium"))
    current_gain: Figure = figure("1", "current gain hFE", above=0, infinity=True, passes="more")
    current_for_gain: Figure = figure("A", "collector current of that gain", above=0, optional=True)
    voltage_forward: Figure = figure("V", "base-emitter voltage at the reference current", above=0, passes="less")
    current_reference: Figure = figure("A", "collector current of that voltage", above=0)
    ideality: Figure = figure("1", "ideality factor", least=0)
    resistance_series: Figure = figure("Ω", "series resistance of base and emitter", least=0, passes="less")
    current_gain_reverse: Figure = figure("1", "reverse current gain", above=0, infinity=True)
    voltage_early: Figure = figure("V", "Early voltage", above=0, infinity=True)
    voltage_base_emitter_breakdown: Figure = figure("V", "base-emitter breakdown voltage", above=0, optional=True)
    current_collector_base_leakage: Figure = figure(
        "A", "collector-base leakage Icbo", least=0, passes="more", optional=True
    )
    temperature_doubling: Figure = figure("K", "temperature rise that doubles the leakage", above=0, optional=True)
    energy_gap: Figure = figure("V", "energy gap over the elementary charge", above=0)
    capacitance_base_collector: Figure = figure(
        "F", "capacitance from base to collector", above=0, passes="less", optional=True
    )
    capacitance_base_emitter: Figure = figure(
        "F", "capacitance from base to emitter", above=0, passes="less", optional=True
    )
    voltage_max: Figure = figure("V", "highest collector-emitter voltage", above=0, optional=True)
    current_max: Figure = figure("A", "highest collector current", above=0, optional=True)
    power_max: Figure = figure("W", "highest power at 25 °C", above=0, optional=True)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    def _check(self) -> None:
        self._check_point()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Jfet(Junction, Device):
    """One junction field-effect transistor; the cut-off voltage is negative in an n-channel, positive in a p-channel.

    IDSS and VGS(off) of one part belong together: IDSS = b VGS(off)², with b the same for a type within
    `zero_bias_scatter`. So a part of the lowest IDSS has the cut-off voltage nearest to 0. The transconductance of a
    specimen follows from both, 2 IDSS / |VGS(off)|. `voltage_forward` to `resistance_series` are the gate junction's.
    A sheet prints the capacitance from gate to drain as Crss and the sum of both as Ciss.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    polarity: str = word("n or p channel", allowed=("n", "p"))
    current_drain_zero_bias: Figure = figure("A", "drain current at zero bias IDSS", above=0, passes="more")
    voltage_gate_source_off: Figure = figure("V", "gate-source cut-off voltage VGS(off)")
    zero_bias_scatter: Figure = figure(
        "1", "scatter of IDSS over the square of VGS(off), either way", least=0, below=1, optional=True
    )
    transconductance: Figure = figure("S", "transconductance at zero bias", above=0, passes="more", optional=True)
    voltage_forward: Figure = figure("V", "gate junction's drop at the reference current", above=0, optional=True)
    current_reference: Figure = figure("A", "current of that drop", above=0, optional=True)
    ideality: Figure = figure("1", "ideality factor of the gate junction", least=0, optional=True)
    resistance_series: Figure = figure("Ω", "series resistance of the gate junction", least=0, optional=True)
    energy_gap: Figure = figure("V", "energy gap of the gate junction", above=0, optional=True)
    current_gate_leakage: Figure = figure("A", "gate leakage IGSS", least=0, passes="more", optional=True)
    current_gate_max: Figure = figure("A", "highest forward gate current", above=0, optional=True)
    capacitance_gate_drain: Figure = figure(
        "F", "capacitance from gate to drain", above=0, passes="less", optional=True
    )
    capacitance_gate_source: Figure = figure(
        "F", "capacitance from gate to source", above=0, passes="less", optional=True
    )
    voltage_max: Figure = figure("V", "highest drain-gate voltage", above=0, optional=True)
    power_max: Figure = figure("W", "highest power at 25 °C", above=0, optional=True)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    def _check(self) -> None:
        self._check_point()
        low, _, high = ends(self.voltage_gate_source_off)
        bad = np.asarray(high) >= 0 if self.polarity == "n" else np.asarray(low) <= 0
        if np.any(bad):
            side = "below 0 in an n-channel" if self.polarity == "n" else "above 0 in a p-channel"
            raise out_of_line("voltage_gate_source_off", side, self.voltage_gate_source_off, bad)

    def _relate(self, picked: dict[str, Any], which: str) -> dict[str, Any]:
        """Make IDSS, VGS(off) and transconductance those of one part."""
        off = ends(self.voltage_gate_source_off)
        least, most = (off.high, off.low) if self.polarity == "n" else (off.low, off.high)
        if which in ("low", "high"):
            picked["voltage_gate_source_off"] = least if which == "low" else most
        current: Any = picked.get("current_drain_zero_bias", self.current_drain_zero_bias)
        size: Any = abs(picked.get("voltage_gate_source_off", self.voltage_gate_source_off))  # type: ignore[arg-type]
        return picked | {"transconductance": 2 * current / size}

    def _draw(self, count: int, rng: np.random.Generator) -> dict[str, Any]:
        """Return IDSS and VGS(off) of parts as one process makes them and the sheet's limits let them pass.

        The cut-off voltage is spread evenly by ratio between its ends, b = IDSS / VGS(off)² by its scatter about that
        of the typical part; what falls outside the sheet's range of IDSS is sorted out.
        """
        current, off = ends(self.current_drain_zero_bias), ends(self.voltage_gate_source_off)
        scatter = 0.0 if np.isnan(self.zero_bias_scatter) else float(self.zero_bias_scatter)
        if not isinstance(self.current_drain_zero_bias, Spread) or not isinstance(self.voltage_gate_source_off, Spread):
            return {}
        strength = current.typical / off.typical**2
        near, far = sorted((abs(off.low), abs(off.high)))
        drawn = np.empty((2, 0))
        for _ in range(1000):
            size = near * (far / near) ** rng.uniform(size=4 * count)
            idss = strength * (1 + scatter * rng.uniform(-1, 1, size=4 * count)) * size**2
            drawn = np.hstack([drawn, np.stack([idss, size])[:, (idss >= current.low) & (idss <= current.high)]])
            if drawn.shape[1] >= count:
                idss, size = drawn[:, :count]
                sign = -1.0 if self.polarity == "n" else 1.0
                return {"current_drain_zero_bias": idss, "voltage_gate_source_off": sign * size}
        raise RuntimeError(f"{self.name}: no part with IDSS = b VGS(off)² lies within the sheet's ranges of both")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Mosfet(Junction, Device):
    """One enhancement MOSFET: ID = K (VGS - Vth)² with K from one point of the sheet; voltages are magnitudes.

    `resistance_on` is that at the gate voltage `voltage_gate_on`. `voltage_forward` to `resistance_series` are the body
    diode's.
    """

    name: str = word("name")
    origin: str = word("origin of the figures")
    polarity: str = word("n or p channel", allowed=("n", "p"))
    voltage_threshold: Figure = figure("V", "gate threshold voltage", above=0, passes="less")
    transconductance_parameter: Figure = figure("A/V²", "K of the square law", above=0, passes="more", optional=True)
    resistance_on: Figure = figure("Ω", "resistance when switched on", above=0, passes="less", optional=True)
    voltage_gate_on: Figure = figure("V", "gate voltage of that resistance", above=0, optional=True)
    voltage_gate_source_max: Figure = figure(
        "V", "highest gate-source voltage, either way", above=0, infinity=True, optional=True
    )
    capacitance_gate_drain: Figure = figure(
        "F", "capacitance from gate to drain", above=0, passes="less", optional=True
    )
    capacitance_gate_source: Figure = figure(
        "F", "capacitance from gate to source", above=0, passes="less", optional=True
    )
    voltage_max: Figure = figure("V", "highest drain-source voltage", above=0, optional=True)
    current_max: Figure = figure("A", "highest continuous drain current", above=0, optional=True)
    power_max: Figure = figure("W", "highest power at 25 °C", above=0, optional=True)
    voltage_forward: Figure = figure("V", "body diode's drop at the reference current", above=0, optional=True)
    current_reference: Figure = figure("A", "current of that drop", above=0, optional=True)
    ideality: Figure = figure("1", "ideality factor of the body diode", least=0, optional=True)
    resistance_series: Figure = figure("Ω", "series resistance of the body diode", least=0, optional=True)
    energy_gap: Figure = figure("V", "energy gap of the body diode", above=0, optional=True)
    pinouts: tuple[Pinout, ...] = records("which lead is which", Pinout)

    def _check(self) -> None:
        self._check_point()
        if np.any(bad := np.asarray(self.voltage_gate_on) <= ends(self.voltage_threshold).typical):
            raise out_of_line("voltage_gate_on", "above voltage_threshold", self.voltage_gate_on, bad)
