"""Reverse-polarity protection in the supply lead: series diode, P-channel MOSFET."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import fit_together
from pedalcalc._base import formula
from pedalcalc._ranges import AtLeastZero, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc.devices import Diode, Mosfet
from pedalcalc.laws import junction_in_series, junction_voltage
from pedalcalc.laws._plain import series_current

__all__ = ["Protection", "series_diode", "series_mosfet"]


@dataclass(frozen=True, slots=True, eq=False)
class Protection(Result):
    """What a part in the supply lead leaves for the build, and what it burns."""

    voltage_output: Number = quantity("V", "voltage behind the protection")
    voltage_drop: Number = quantity("V", "voltage lost in the protection")
    current_load: Number = quantity("A", "current of the build")
    power: Number = quantity("W", "power turned into heat")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def _protection(
    supply: NDArray[np.float64], drop: NDArray[np.float64], current: NDArray[np.float64], cautions: tuple[Caution, ...]
) -> Protection:
    left = supply - drop
    cautions += caution_below(
        "the supply is below what the protection drops: the build gets nothing",
        "raise the supply or use a part that drops less",
        left,
        0.0,
        "V",
    )
    return Protection(
        voltage_output=left[()],
        voltage_drop=drop[()],
        current_load=current[()],
        power=(drop * current)[()],
        cautions=cautions,
    )


def _diode_cautions(supply: NDArray[np.float64], current: NDArray[np.float64], diode: Diode) -> tuple[Caution, ...]:
    return caution_above(
        f"more current than the {diode.name} is made for", "use a larger diode", current, diode.current_max, "A"
    ) + caution_above(
        f"a reversed supply, with as much still on the capacitors behind it, exceeds what the {diode.name} blocks",
        "use a diode of a higher reverse voltage",
        2 * supply,
        diode.voltage_reverse_max,
        "V",
    )


@formula
def series_diode(
    *,
    voltage_supply: AtLeastZero,
    diode: Diode,
    current_load: AtLeastZero = 0.0,
    resistance_load: ZeroToInfinity = np.inf,
) -> Protection:
    """Find what a diode in the plus lead leaves of the supply under the build's load.

    The drop is that of the junction law at exactly this current, not a round
    0.7 V or 0.3 V. A reversed supply finds the diode blocking.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    diode : Diode
        Silicon or Schottky diode (`pedalcalc.devices`), at 300 K; one of ideality 0 drops a constant voltage.
    current_load : array_like
        Constant current the build draws [A], at least 0; none unless stated.
    resistance_load : array_like
        What the build draws as a resistance [Ω], at least 0; none (inf) unless stated.

    Returns
    -------
    Protection
        Voltage left [V], drop [V], current of both loads [A], power in the diode [W] and cautions;
        fields have the broadcast shape. A constant current from a supply below the drop gives a
        negative voltage and a caution.

    Raises
    ------
    TypeError
        If `diode` is no record, or a type.
    ValueError
        If a value is out of range.

    Notes
    -----
    V_F = n Vt ln(1 + I/Is) + I Rs. With a resistance beside the current, V_S + I_L R_L = V_F + I R_L: the exact solution
    of junction and resistance in series (`laws.junction_in_series`). The reverse caution takes the worst case:
    the supply reversed while the capacitors behind the diode still hold it.

    References
    ----------
    SHEET-1N5817 for its forward drop; BANWELL-JAYAKUMAR, the exact solution; DERIVED for the rest.

    Examples
    --------
    >>> from pedalcalc.devices import DIODE_1N4001, DIODE_1N5817, typical
    >>> print(f"{series_diode(voltage_supply=9.0, current_load=0.010, diode=typical(DIODE_1N5817)).voltage_drop:g}")
    0.206158
    >>> print(f"{series_diode(voltage_supply=9.0, resistance_load=834.0, diode=typical(DIODE_1N4001)).voltage_drop:g}")
    0.654071
    """
    supply, drawn, load = voltage_supply, current_load, resistance_load
    specimen("diode", diode, Diode)
    fit_together(voltage_supply=supply, current_load=drawn, resistance_load=load)
    alone = np.isinf(load)
    finite = np.where(alone, 1.0, load)
    settled = junction_in_series(supply + drawn * finite, resistance=finite, junction=diode)
    current = np.where(alone, drawn + 0 * supply, settled.current)
    drop = np.where(alone, junction_voltage(drawn, junction=diode), settled.voltage_junction) + 0 * supply
    return _protection(supply, drop, current, _diode_cautions(supply, current, diode))


@formula
def series_mosfet(*, voltage_supply: AtLeastZero, current_load: AtLeastZero, mosfet: Mosfet) -> Protection:
    """Find what a P-channel MOSFET in the plus lead leaves of the supply.

    Drain to the supply, source to the build, gate to ground. The body diode
    points forward, starts the build, and the channel then bridges it. Reversed,
    the gate stands at the wrong side and nothing conducts. Wired source first
    it seems to work and does not protect.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    current_load : array_like
        Current the build draws [A], at least 0.
    mosfet : Mosfet
        MOSFET record (`pedalcalc.devices`).

    Returns
    -------
    Protection
        Voltage left [V], drop [V], current [A], power in the part [W] and cautions.

    Raises
    ------
    ValueError
        If a value is out of range.
    RuntimeError
        If the solution does not converge.

    Notes
    -----
    Square-law channel of strength k = 1/(R_on (V_gate - V_th)) with the drain
    as input: I = k d (V_S - V_th - d/2) up to saturation, in parallel with the
    body diode's I_S (exp(V/(n Vt)) - 1) behind its series resistance; d is the
    drop. Below the threshold the diode alone is left, about 0.6 V.

    References
    ----------
    REVERSE-POLARITY for the circuit and its wiring; DERIVED for the drop.

    Examples
    --------
    >>> from pedalcalc.devices import MOSFET_IRF9540, typical
    >>> print(f"{1000 * series_mosfet(voltage_supply=9.0, current_load=0.020, mosfet=typical(MOSFET_IRF9540)).voltage_drop:.2f}")
    4.67
    """
    from scipy.optimize.elementwise import find_root

    supply, current = voltage_supply, current_load
    specimen("mosfet", mosfet, Mosfet)
    strength = 1 / (np.asarray(mosfet.resistance_on) * (np.asarray(mosfet.voltage_gate_on) - mosfet.voltage_threshold))
    i_s, ideality, bulk = (
        np.asarray(x, float) for x in (mosfet.current_saturation, mosfet.ideality, mosfet.resistance_series)
    )
    overdrive = supply - mosfet.voltage_threshold

    def excess(drop, over, current, strength, i_s, ideality, bulk):  # type: ignore[no-untyped-def]
        reach = np.clip(over, 0, None)
        inside = np.minimum(drop, reach)
        body = series_current(drop, resistance=bulk, current_saturation=i_s, ideality=ideality)
        return strength * inside * (reach - inside / 2) + body - current

    alone = junction_voltage(current, junction=mosfet)
    top = np.broadcast_to(
        np.asarray(alone) + 1e-3, np.broadcast_shapes(overdrive.shape, np.shape(alone), strength.shape)
    )
    found = find_root(
        excess, (np.full(top.shape, -1e-3), top), args=(overdrive, current, strength, i_s, ideality, bulk)
    )
    missing = np.isnan(top + overdrive)
    if not np.all(found.success | missing):
        raise Unsolved("the drop of the MOSFET did not converge", ~(found.success | missing))
    drop = np.where(current == 0, 0.0, found.x)
    drop = np.where(missing, np.nan, drop)
    cautions = (
        caution_above(
            f"gate voltage beyond what the {mosfet.name} stands",
            "add a zener of 10 to 12 V from source to gate and 10 kΩ to 100 kΩ from gate to ground",
            supply,
            mosfet.voltage_gate_source_max,
            "V",
        )
        + caution_above(
            "more current than the MOSFET is made for", "use a larger one", current, mosfet.current_max, "A"
        )
        + caution_above(
            f"a reversed supply exceeds what the {mosfet.name} blocks",
            "use a part of a higher voltage",
            2 * supply,
            mosfet.voltage_max,
            "V",
        )
        + caution_below(
            "the MOSFET is not fully on: its body diode carries the build",
            "use a part of a lower threshold",
            supply,
            np.asarray(mosfet.voltage_threshold) + 1.0,
            "V",
        )
    )
    return _protection(supply, np.asarray(drop), np.broadcast_arrays(current, drop)[0], cautions)
