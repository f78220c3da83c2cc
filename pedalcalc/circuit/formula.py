"""The transfer function of a few nets of a board as a formula in the parts' own references."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import is_a, list_of
from pedalcalc._base import search
from pedalcalc._result import Caution, Result, caution_above, quantity
from pedalcalc.board import Board
from pedalcalc.circuit import _answers, _symbols, signals
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.operating import all_solved, solved_board
from pedalcalc.circuit.signals import Signal, linearised

#: Most inner nets of which a formula can still be read.
INNER = 5
#: Where a formula is held against the whole board [Hz], and by how much it may differ there [dB].
CHECKED, ALLOWED_DB = (20.0, 20e3), 1.0


@dataclass(frozen=True, slots=True, eq=False)
class TransferFunction(Result):
    """Output over input of a sub-circuit, both sympy polynomials in s, with the value of each symbol at this board.

    `text` is the equation as plain text, which ``report.formula`` typesets. `deviation_db` is the largest difference from the
    whole board between 20 Hz and 20 kHz.
    """

    text: str = quantity("text", "formula")
    numerator: Any = quantity("record", "numerator")
    denominator: Any = quantity("record", "denominator")
    symbols: Mapping[str, float] = quantity("records", "value by symbol")
    deviation_db: float = quantity("dB", "largest difference from the whole board")
    net_in: str = quantity("text", "net that is driven")
    net_out: str = quantity("text", "net that is listened to")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@search
def transfer_function(
    board: Board,
    *,
    net_in: str,
    net_out: str,
    nets: Sequence[str] | None = None,
    values: Mapping[str, Any] | None = None,
    faults: Mapping[str, str] | None = None,
    bridges: Mapping[tuple[str, str], Any] | None = None,
) -> TransferFunction:
    """Find the formula from one net of a board to another, in the references of its own parts.

    Parameters
    ----------
    board : Board
        The build under its conditions: supply, switch, plugs, controls (`pedalcalc.board.assemble`).
    net_in : str
        Net that is driven by an ideal source.
    net_out : str
        Net that is listened to.
    nets : sequence of str, optional
        Inner nets of the sub-circuit, at most five; all others stand still, like a supply. Every net of the board that
        moves where not named.
    values : mapping, optional
        Other values or specimens of parts by reference, as in `operating_point`, of one unit.
    faults : mapping, optional
        What is wrong with parts by reference, as in `operating_point`.
    bridges : mapping, optional
        Ohms from net to net, as in `operating_point`: so a load is added, such as ``{("out", "ground"): 1e6}``.

    Returns
    -------
    TransferFunction
        The formula as text and as sympy polynomials in s = j 2 pi f, the symbols' values, and how far the formula is from
        the whole board.

    Raises
    ------
    ValueError
        If a net is not known, there are more than five inner ones (`corners` serves then), or no formula holds.
    RuntimeError
        If there is no operating point.

    Notes
    -----
    Nodal equations, solved by determinants without a division. Capacitors are ideal, op-amps too (equal inputs); transistors and
    diodes have their slopes at the operating point: gm, r_pi = beta/gm, r_o; a coupler's cell is its resistance. What that
    leaves out shows in `deviation_db`.

    References
    ----------
    CHUA-LIN, nodal equations; DERIVED, the determinants.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc.board import assemble
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'R1,resistor,15k,,1%,,"1: in, 2: out",\\n'
    ...     'R2,resistor,100k,,1%,,"1: out, 2: ground",\\n'
    ...     'C1,film capacitor,10n,,5%,,"1: out, 2: ground",\\n'
    ... )
    >>> transfer_function(assemble(path, supply="9V"), net_in="in", net_out="out").text
    'H = R2/(C1*R1*R2*s + R1 + R2)'
    """
    is_a("board", board, Board)
    found, system, solution = solved_board(board, values=values, faults=faults, bridges=bridges)
    all_solved(solution)
    if len(solution.good) > 1:
        raise ValueError(f"values: a formula's symbols have the values of one unit, got arrays of {len(solution.good)}")
    nets = None if nets is None else list_of("nets", nets, "nets", str)
    for name, net in (("net_in", net_in), ("net_out", net_out), *(("nets", net) for net in nets or ())):
        signals.checked_net(name, net, found)

    def root(net: str) -> str:
        return str(found.joints.root(net)[0])

    for name, net in (("net_in", net_in), ("net_out", net_out)):
        if root(net) == GROUND:
            raise ValueError(f"{name}: {net!r} is held by ground or a supply")
    if root(net_in) == root(net_out):
        raise ValueError(f"net_out: {net_out!r} is the same as {net_in!r}")
    ends = {root(net_in), root(net_out)}
    wanted = {place for place, _ in system.places} if nets is None else {root(net) for net in nets}
    inner = sorted(wanted - ends - {GROUND})
    if len(inner) > INNER:
        raise ValueError(
            f"nets: {len(inner)} inner nets are too many for a formula that can be read, at most {INNER}: {', '.join(inner)}; "
            "name those that matter, or take the table of `corners`, which serves any board"
        )
    signal = linearised(found, system, solution, net_in, net_out)
    pieces = list(_symbols.pieces_of(signal, {*inner, *ends}))
    top, bottom, symbols = _symbols.solved(pieces, [*inner, root(net_out)], root(net_in), root(net_out))
    hertz = np.geomspace(*CHECKED, 31)
    ours, whole = _evaluated(top, bottom, symbols, hertz), _ratio(signal, hertz)
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = np.abs(20 * np.log10(np.abs(ours) / np.abs(whole)))
    worst = float(np.nanmax(np.where((ours == 0) & (whole == 0), 0.0, apart)))
    told = caution_above(
        "the formula leaves out something that matters", "name more of the nets that move with the signal, or take `response`",
        worst, ALLOWED_DB, "dB",
    )  # fmt: skip
    text = f"H = {_side(top, 2)}/{_side(bottom, 3)}"
    return TransferFunction(
        text=text,
        numerator=top,
        denominator=bottom,
        symbols=symbols,
        deviation_db=worst,
        net_in=net_in,
        net_out=net_out,
        cautions=told,
    )


def _side(expression: Any, binding: int) -> str:
    """Return one side of a fraction as text, in brackets where it needs them."""
    text = str(expression)
    plain = expression.is_Atom or (binding == 2 and not expression.is_Add)
    return text if plain else f"({text})"


def _evaluated(top: Any, bottom: Any, symbols: Mapping[str, float], hertz: NDArray[np.float64]) -> Any:
    """Return the formula's value at frequencies."""
    from sympy import Symbol, lambdify

    named = lambdify([Symbol("s"), *map(Symbol, symbols)], [top, bottom], modules="numpy")
    found = named(2j * np.pi * hertz, *symbols.values())
    return found[0] / (found[1] + 0 * hertz)


def _ratio(signal: Signal, hertz: NDArray[np.float64]) -> Any:
    """Return output over input of the whole board, the input driven and everything else as it is."""
    at = np.stack([signal.reads(net) for net in (signal.net_out, signal.net_in)], axis=1)
    found = _answers.answers(signal, 2j * np.pi * hertz, at[:, 1:], at)[0, :, :, 0]
    return found[:, 0] / found[:, 1]
