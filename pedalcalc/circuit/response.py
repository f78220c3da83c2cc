"""What a board passes from jack to jack at its operating point, over frequency."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, numeric
from pedalcalc._base import decibels, search
from pedalcalc._result import Caution, Number, Result, quantity
from pedalcalc.board import Board
from pedalcalc.circuit import _answers
from pedalcalc.circuit.elements import GENERATOR
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.signals import RESISTANCE_GENERATOR, RESISTANCE_LOAD, Signal, Signals, jacks, signals_of


@dataclass(frozen=True, slots=True, eq=False)
class Response(Result):
    """Output of a board over what its generator gives with nothing on it, by frequency; units stand ahead of that.

    NaN where the output follows an op-amp beyond its input range, which is not predictable, and in units in which nothing
    holds it while others have an answer.
    """

    frequency: Number = quantity("Hz", "frequency")
    response: complex | NDArray[np.complex128] = quantity("1", "output over generator, complex")
    gain: Number = quantity("1", "gain")
    gain_db: Number = quantity("dB", "gain in decibels")
    phase_degrees: Number = quantity("°", "phase of the output against the generator")
    net_in: str = quantity("text", "net that the generator drives")
    net_out: str = quantity("text", "net that is listened to")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@search
def response(
    board: Board,
    *,
    frequency: ArrayLike,
    net_in: str = "",
    net_out: str = "",
    resistance_generator: ArrayLike = RESISTANCE_GENERATOR,
    resistance_load: ArrayLike = RESISTANCE_LOAD,
    values: Mapping[str, Any] | None = None,
    faults: Mapping[str, str] | None = None,
    bridges: Mapping[tuple[str, str], Any] | None = None,
) -> Response:
    """Find what a board passes from its input to its output, small signals at the operating point.

    Parameters
    ----------
    board : Board
        The build under its conditions: supply, switch, plugs, controls (`pedalcalc.board.assemble`).
    frequency : array_like
        Frequencies [Hz], at least 0.
    net_in : str, optional
        Net that the generator drives; the tip of the input jack where not named.
    net_out : str, optional
        Net that is listened to; the tip of the output jack where not named.
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
    Response
        Complex response, gain [1], decibels and phase [°], of shape (frequencies,) or (units, frequencies).

    Raises
    ------
    ValueError
        If a value is out of range, a name is not known, or nothing says which jack is which.
    RuntimeError
        If a unit has no operating point.

    Notes
    -----
    Kirchhoff's current law with every law's slopes. Capacitors with series resistance (a constant loss tangent, and what of
    an electrolytic does not fall with frequency) and leakage; those within transistors and diodes as the record has them (of
    the sheet's voltage); an op-amp's gain with one pole at gain-bandwidth over open-loop
    gain; a charge pump at its mean over a period; the cell of a coupler held where steady light puts it, since light is
    slow. Generator and load are part of the operating point, too. A control's range: boards, or `values`, at several
    positions.

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
    ...     'C1,film capacitor,10n,,5%,,"1: out, 2: ground",\\n'
    ... )
    >>> build = assemble(path, supply="9V")
    >>> tone = response(build, frequency=[100.0, 1061.0], net_in="in", net_out="out", resistance_generator=0.0)
    >>> print([f"{gain:.2f} dB" for gain in tone.gain_db])
    ['-0.17 dB', '-3.11 dB']
    """
    is_a("board", board, Board)
    hertz = numeric("frequency", frequency, least=0)
    if np.isnan(hertz).any():
        raise ValueError(f"frequency must be known, got {frequency!r}")
    signals = signals_of(
        board, net_in=net_in, net_out=net_out, resistance_generator=resistance_generator,
        resistance_load=resistance_load, values=values, faults=faults, bridges=bridges,
    )  # fmt: skip
    found, cautions = _passed(signals, hertz.ravel(), signals.net_out)
    found = found.reshape(signals.units, *hertz.shape)
    passed = found[0] if signals.units == 1 else found
    size = np.abs(passed)
    return Response(
        frequency=hertz[()], response=passed[()], gain=size[()], gain_db=decibels(size)[()], phase_degrees=np.degrees(np.angle(passed))[()],
        net_in=signals.net_in, net_out=signals.net_out, cautions=cautions,
    )  # fmt: skip


def _passed(signals: Signals, hertz: NDArray[np.float64], net: str) -> tuple[Any, tuple[Caution, ...]]:
    """Return what stands at a net over what the generator gives (units, frequencies), with cautions."""
    s = 2j * np.pi * hertz

    def asked(signal: Signal) -> Any:
        drive = signal.rod(GENERATOR)
        assert drive is not None
        right = _answers.unit_columns(signal.size, [(drive, -1.0)])
        return _answers.answers(signal, s, right, signal.reads(net)[:, None])[:, :, 0, 0]

    return _answers.gathered(signals, s, net, asked)


def gain_along(board: Board, *, frequency: float) -> Callable[[str], float]:
    """Return a function that gives the gain from the input jack to a net in decibels, with nothing on any output.

    The board is solved once for all nets. Where no signal can be told a `ValueError` says so.
    """
    signals = signals_of(
        board, net_in=jacks(board)[0], net_out=GROUND, resistance_generator=RESISTANCE_GENERATOR, resistance_load=np.inf,
        values=None, faults=None, bridges=None,
    )  # fmt: skip
    hertz = np.array([frequency])
    return lambda net: float(decibels(np.abs(_passed(signals, hertz, net)[0]))[0, 0])
