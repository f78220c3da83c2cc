"""What a net of a board looks like from outside: the impedance to ground, at its operating point."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, numeric
from pedalcalc._base import search
from pedalcalc._result import Caution, Number, Result, quantity
from pedalcalc.board import Board
from pedalcalc.circuit import _answers
from pedalcalc.circuit.elements import GENERATOR, LOAD
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.signals import (
    RESISTANCE_GENERATOR,
    RESISTANCE_LOAD,
    Signal,
    checked_net,
    signals_of,
)


@dataclass(frozen=True, slots=True, eq=False)
class Impedance(Result):
    """Impedance of a net to ground by frequency; units stand ahead of that.

    NaN where the net follows an op-amp beyond its input range, which is not predictable, and in units in which nothing
    holds it while others have an answer.
    """

    frequency: Number = quantity("Hz", "frequency")
    impedance: complex | NDArray[np.complex128] = quantity("Ω", "impedance, complex")
    impedance_size: Number = quantity("Ω", "impedance, size")
    phase_degrees: Number = quantity("°", "phase of the voltage against the current")
    net: str = quantity("text", "net that is looked into")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@search
def impedance(
    board: Board,
    *,
    frequency: ArrayLike,
    net: str,
    net_in: str = "",
    net_out: str = "",
    resistance_generator: ArrayLike = RESISTANCE_GENERATOR,
    resistance_load: ArrayLike = RESISTANCE_LOAD,
    values: Mapping[str, Any] | None = None,
    faults: Mapping[str, str] | None = None,
    bridges: Mapping[tuple[str, str], Any] | None = None,
) -> Impedance:
    """Find the impedance of a net to ground, small signals at the operating point.

    Parameters
    ----------
    board : Board
        The build under its conditions: supply, switch, plugs, controls (`pedalcalc.board.assemble`).
    frequency : array_like
        Frequencies [Hz], at least 0.
    net : str
        Net that is looked into, such as that of a jack's tip.
    net_in : str, optional
        Net that the generator drives; the tip of the input jack where not named.
    net_out : str, optional
        Net that the load hangs on; the tip of the output jack where not named.
    resistance_generator : array_like
        Resistance of the generator [Ω], at least 0; 10 kΩ, a guitar, if not given.
    resistance_load : array_like
        What follows the output [Ω], 0 to inf; 1 MΩ, the next input, if not given.
    values : mapping, optional
        Other values or specimens of parts by reference, as in `operating_point`; arrays are as many units.
    faults : mapping, optional
        What is wrong with parts by reference, as in `operating_point`.
    bridges : mapping, optional
        Ohms from net to net, as in `operating_point`.

    Returns
    -------
    Impedance
        Complex impedance, its size [Ω] and phase [°], of shape (frequencies,) or (units, frequencies).

    Raises
    ------
    ValueError
        If a value is out of range, a name is not known, or nothing says which jack is which.
    RuntimeError
        If a unit has no operating point, or nothing holds the net.

    Notes
    -----
    One ampere into the net, the generator silent. At the net of the generator the generator itself is taken off, at
    that of the load the load: so the input is seen from the plug, the output from what will be plugged in; the operating
    point is that with both. At any other net both stay.

    References
    ----------
    CHUA-LIN, nodal equations of small signals; DERIVED, the slopes; PRACTICE, generator and load.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc.board import assemble
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'R1,resistor,15k,,1%,,"1: in, 2: out",\\n'
    ...     'R2,resistor,10k,,1%,,"1: out, 2: ground",\\n'
    ... )
    >>> build = assemble(path, supply="9V")
    >>> seen = impedance(build, frequency=1e3, net="in", net_in="in", net_out="out", resistance_load=float("inf"))
    >>> print(f"{seen.impedance_size:.0f} Ω")
    25000 Ω
    """
    is_a("board", board, Board)
    hertz = numeric("frequency", frequency, least=0)
    if np.isnan(hertz).any():
        raise ValueError(f"frequency must be known, got {frequency!r}")
    signals = signals_of(
        board, net_in=net_in, net_out=net_out, resistance_generator=resistance_generator,
        resistance_load=resistance_load, values=values, faults=faults, bridges=bridges,
    )  # fmt: skip
    checked_net("net", net, signals.found)
    s = 2j * np.pi * hertz.ravel()

    def asked(signal: Signal) -> Any:
        root = signal.found.joints.root
        static = signal.static
        if net != signal.net_out and root(net) == root(signal.net_in):
            static = signal.lifted(GENERATOR)
        elif root(net) == root(signal.net_out):
            static = signal.lifted(LOAD)
        weights = signal.reads(net)[:, None]
        if root(net)[0] == GROUND:
            return np.zeros((signal.units, len(s)), complex)
        # an ampere that flows all the time, into each part of a pump's period by its share
        return _answers.answers(signal, s, weights, weights, static)[:, :, 0, 0]

    found, cautions = _answers.gathered(signals, s, net, asked)
    found = found.reshape(signals.units, *hertz.shape)
    seen: Any = (found[0] if signals.units == 1 else found) + 0.0
    size, phase = np.abs(seen), np.degrees(np.angle(seen))
    return Impedance(
        frequency=hertz[()],
        impedance=seen[()],
        impedance_size=size[()],
        phase_degrees=phase[()],
        net=net,
        cautions=cautions,
    )
