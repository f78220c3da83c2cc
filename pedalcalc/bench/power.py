"""First power-up through a resistor in the supply lead: what it shows for a healthy build, and for a short."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, one_number, whole_number
from pedalcalc._base import search
from pedalcalc._part_value import POLAR
from pedalcalc._result import Caution, caution_above
from pedalcalc.bench._rows import FirstPower, PowerLine
from pedalcalc.bench.expected import BoardState
from pedalcalc.board import FIRST_POWER, Board
from pedalcalc.catalogue import PinRole, ResolvedPart
from pedalcalc.circuit.elements import elements_of
from pedalcalc.parts import Connection, Part
from pedalcalc.tolerance.bands import MOST, band_ends
from pedalcalc.tolerance.draws import drawn_units

Array = NDArray[np.float64]

#: What the resistor in the plus lead is rated for [W] (common practice).
POWER = 2.0
#: How far the resistor may be off, and the volts across it with it (common practice).
OFF = 0.05
#: Over the most that a healthy unit shows, from here on the plug is pulled (common practice).
STOP = 1.5
#: Share of the supply that the resistor may take before a healthy build is starved (common practice).
STARVED = 0.2
#: How many time constants a capacitor takes to be charged for the meter (common practice).
CHARGED = 5.0
LEAD = "the resistor in the plus lead"


@search
def first_power(
    board: Board,
    *,
    resistance: ArrayLike = FIRST_POWER,
    count: int = 200,
    seed: int = 1,
    coverage: float = 0.99,
    reels: Sequence[Sequence[str]] = (),
) -> FirstPower:
    """Tell what a resistor in the plus lead shows at the first power-up.

    Parameters
    ----------
    board : Board
        The build under its conditions.
    resistance : array_like
        The resistor [Ω], above 0; 100 Ω, 2 W, if not given.
    count : int
        Units to draw [1], a whole number, at least 20.
    seed : int
        Start of the random numbers [1], a whole number, at least 0.
    coverage : float
        Share of the units that a band holds [1], above 0 and below 1.
    reels : sequence of sequence of str, optional
        References of parts from one reel or bag.

    Returns
    -------
    FirstPower
        Volts across it and heat in it: healthy, engaged and bypassed; behind the protection shorted; dead short.

    Raises
    ------
    ValueError
        If the resistor is out of range, or nothing says where the supply comes in.
    RuntimeError
        If the board has no operating point behind the resistor.

    Notes
    -----
    The resistor becomes part of the circuit, which is solved with it. It may be 5 % off its print, so the volts across it may be
    5 % off those of the units' currents: at most, since a larger one also takes less current. A dead short leaves the whole supply across it. The
    meter shows more at first, until the capacitors are charged: five time constants of the resistor and all
    polarised capacitors together.

    References
    ----------
    PRACTICE, 100 Ω, 2 W and 5 % in the plus lead, when to pull the plug.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc.board import assemble
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'R1,resistor,1k7,,1%,,"1: rail, 2: ground",\\n'
    ... )
    >>> shown = first_power(assemble(path, supply="9V"))
    >>> [f"{line.what}: {line.voltage_across:.2f} V, {line.power:.2f} W" for line in shown.rows]
    ['healthy: 0.50 V, 0.00 W', 'a dead short: 9.00 V, 0.81 W']
    """
    is_a("board", board, Board)
    ohms = one_number("resistance", resistance, "to put into the lead", above=0)
    number, start = whole_number("count", count, least=20, most=MOST), whole_number("seed", seed, most=MOST)
    inside = one_number("coverage", coverage, "", above=0, below=1)
    units = drawn_units(board, count=number, seed=start, reels=reels)
    whole = float(np.max(board.voltages(0.0)))
    behind = _with_lead(board, ohms)
    states = (False, True) if any(part.part.kind == "switch" for part in board.parts) else (False,)
    rows = []
    for bypassed in states:
        name = f"healthy, {'bypassed' if bypassed else 'engaged'}" if len(states) > 1 else "healthy"
        state = BoardState(replace(behind, bypassed=bypassed), units, {})
        amps = state.drawn["supply current"][state.good]
        low, high, _ = band_ends(np.asarray(amps), inside)
        usual = float(state.current)
        low, high = min(low, usual), max(high, usual)
        rows.append(
            PowerLine(
                what=name,
                voltage_low=low * ohms * (1 - OFF),
                voltage_across=usual * ohms,
                voltage_high=high * ohms * (1 + OFF),
                current=usual,
                power=high**2 * ohms,
            )
        )
    most = max(row.voltage_high for row in rows)
    rows.append(
        PowerLine(
            what="a dead short",
            voltage_low=whole,
            voltage_across=whole,
            voltage_high=whole,
            current=whole / ohms,
            power=whole**2 / ohms,
        )
    )
    return FirstPower(
        rows=tuple(rows),
        resistance=ohms,
        voltage_stop=min(STOP * most, whole),
        time_charge=CHARGED * ohms * _farads(board),
        cautions=_cautions(ohms, whole, most, rows[-1].power),
    )


def _with_lead(board: Board, ohms: float) -> Board:
    """Return the board with a resistor between where the supply comes in and everything that hangs on it."""
    sources = elements_of(board).sources
    if not sources:
        raise ValueError(
            "the list has neither a barrel connector nor a battery: nothing says where the supply comes in"
        )
    reference, net = sources[-1].part, sources[-1].nets[0]
    outside = f"{net}, ahead of {LEAD}"
    parts: list[ResolvedPart] = []
    for one in board.parts:
        if one.part.reference == reference:
            one = replace(one, pins=tuple(pin._replace(net=outside) if pin.net == net else pin for pin in one.pins))
        parts.append(one)
    ends = (Connection("1", outside), Connection("2", net))
    nan = float("nan")
    lead = Part(
        reference=LEAD,
        kind="resistor",
        value=ohms,
        unit="Ω",
        value_text=f"{ohms:g}",
        tolerance_low=nan,
        tolerance_high=nan,
        voltage_max=nan,
        power_max=nan,
        current_max=nan,
        connections=ends,
        note="",
    )
    pins = tuple(PinRole(end.pin, "", "end", end.net) for end in ends)
    return replace(board, parts=(*parts, ResolvedPart(part=lead, device=None, pins=pins)))


def _farads(board: Board) -> float:
    """Return what there is to charge [F]: polarised capacitors, one beside the other."""
    return float(sum(one.part.value for one in board.parts if one.part.kind in POLAR))


def _cautions(ohms: float, whole: float, most: float, power: float) -> tuple[Caution, ...]:
    told: Any = caution_above(
        "the resistor in the plus lead burns more than 2 W on a dead short",
        "take one of more watts, and pull the plug within a second",
        power, POWER, "W",
    )  # fmt: skip
    told += caution_above(
        f"behind the {ohms:g} Ω of the first power a healthy build is starved, so that volts further on read low",
        f"if nothing here is beyond a rating take a smaller one than {ohms:g} Ω, or judge the volts only after it is out",
        most, STARVED * whole, "V",
    )  # fmt: skip
    return tuple(told)
