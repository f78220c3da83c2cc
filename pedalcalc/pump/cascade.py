"""Equal inverters one behind the other."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, numeric, quantity
from pedalcalc.pump.sums import whole

__all__ = ["Cascade", "cascade"]


@dataclass(frozen=True, slots=True, eq=False)
class Cascade(Result):
    """Inverters one behind the other."""

    voltage_output: Number = quantity("V", "output voltage")
    resistance_thevenin: Number = quantity("Ω", "output resistance of all")


@formula
def cascade(
    *,
    voltage_supply: ArrayLike,
    current_load: ArrayLike,
    resistance_thevenin: ArrayLike,
    count: ArrayLike,
) -> Cascade:
    """Find the voltage of equal inverters in cascade, each working from the last one's output.

    The stage before the last carries the load twice over, the one before it
    three times, so the output resistance grows much faster than the voltage.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], at least 0.
    current_load : array_like
        Load current, towards the negative output [A], at least 0.
    resistance_thevenin : array_like
        Output resistance of one inverter [Ω], at least 0.
    count : array_like
        Number of inverters [1], a whole number, at least 1; sheets advise at most 10 and light loads.

    Returns
    -------
    Cascade
        Output voltage, negative [V], and output resistance [Ω].

    Raises
    ------
    ValueError
        If a value is out of range or `count` is not whole.

    Notes
    -----
    V = -(n V_S - I R n (n + 1)(2 n + 1)/6): the k-th stage from the end
    carries k I and its error counts k times.

    References
    ----------
    SHEET-7660-B page 9 for the cascade; DERIVED for the sum.

    Examples
    --------
    >>> two = cascade(voltage_supply=9.0, current_load=0.005, resistance_thevenin=55.0, count=2)
    >>> print(f"{two.voltage_output:.2f} V, {two.resistance_thevenin:.0f} Ω")
    -16.62 V, 275 Ω
    """
    supply = numeric("voltage_supply", voltage_supply, least=0)
    load = numeric("current_load", current_load, least=0)
    one = numeric("resistance_thevenin", resistance_thevenin, least=0)
    n = whole("count", count)
    out = one * (n * (n + 1) * (2 * n + 1) / 6)
    return Cascade((load * out - n * supply)[()], out[()])
