"""The nodal equations of a few nets in symbols, solved without a division.

Every part is a branch of one symbol: R, C, L as they are named on the board, `gm_Q1`, `r_pi_Q1`, `r_D1`, `R_U1` for devices
at their operating point. With conductances in the place of resistors the equations are polynomials, and so
are Cramer's determinants; each conductance stands in them once at most, so that multiplying by all resistors turns them
back into resistors by exchanging exponents 0 and 1.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc.circuit import _groups, _outputs
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.signals import Signal

#: Share of a transistor's transconductance below which another slope of it is left out, and the conductance [S] of a
#: junction that counts as open.
SMALL, OPEN = 1e-9, 1e-9
#: Field in which factors are told apart: a mistake is made in 1 of 2e18, and is found out.
PRIME = 2**61 - 1


@dataclass(frozen=True, slots=True)
class Piece:
    """One symbol between nets: `kind` is R, C, L, gm (a current into `nets` by the volts across `control`) or ideal.

    An ideal op-amp, whose `nets` are output and ground and whose `control` are its inputs, has no symbol.
    """

    symbol: str
    kind: str
    value: float
    nets: tuple[str, str]
    control: tuple[str, str] = ("", "")


def pieces_of(signal: Signal, nodes: set[str]) -> Iterator[Piece]:
    """Yield what lies at the nets of a sub-circuit, by what stands for their groups; refuse what has no formula."""
    found, system = signal.found, signal.system

    def root(net: str) -> str:
        return str(found.joints.root(net)[0])

    def touches(nets: Any) -> bool:
        return any(root(net) in nodes for net in nets)

    if moving := nodes & system.moves:
        raise ValueError(f"the net {min(moving)!r} moves with a charge pump, which has no such formula")
    for one in found.conductances:
        yield Piece(_symbol(one.name, "R"), "R", float(np.asarray(one.law)), (root(one.nets[0]), root(one.nets[1])))
    for one in found.capacitors:
        if (farads := float(np.asarray(one.law[0]))) > 0:
            yield Piece(_symbol(one.name, "C"), "C", farads, (root(one.nets[0]), root(one.nets[1])))
    for one in system.rods:
        if (henries := float(np.asarray(one.law[1]))) > 0:
            yield Piece(_symbol(one.name, "L"), "L", henries, (root(one.nets[0]), root(one.nets[1])))
    for group in system.groups:
        _, slopes = group.branch(group.volts(signal.solved.voltages, 1.0), None)
        for k, name in enumerate(group.names):
            if touches(group.nets[k]):
                nets = tuple(root(net) for net in group.nets[k])
                yield from _device(group, name, nets, slopes[0, :, :, k])


def _device(group: Any, name: str, nets: tuple[str, ...], slopes: Any) -> Iterator[Piece]:
    if isinstance(group, _groups.Channels):
        gate, drain, source = nets
        strength, output = slopes[1, 0], slopes[1, 1]
        if abs(strength) > OPEN:
            yield Piece(_symbol(name, "gm_"), "gm", strength, (drain, source), (gate, source))
        if output > max(SMALL * abs(strength), OPEN * SMALL):
            yield Piece(_symbol(name, "r_o_"), "R", 1 / output, (drain, source))
    elif isinstance(group, _groups.Bipolars):
        base, collector, emitter = nets
        strength, back = -slopes[1, 2], -slopes[1, 1]
        into_emitter, into_collector = -slopes[0, 2], -slopes[0, 1]
        if abs(strength) > OPEN:
            yield Piece(_symbol(name, "gm_"), "gm", strength, (collector, emitter), (base, emitter))
        if into_emitter > OPEN:
            yield Piece(_symbol(name, "r_pi_"), "R", 1 / into_emitter, (base, emitter))
        if abs(back) > SMALL * abs(strength):
            yield Piece(_symbol(name, "gm_back_"), "gm", back, (collector, emitter), (base, collector))
        if into_collector > max(SMALL * abs(strength), OPEN):
            yield Piece(_symbol(name, "r_mu_"), "R", 1 / into_collector, (base, collector))
    elif isinstance(group, _outputs.Amplifiers):
        plus, minus, output, _, _ = nets
        if slopes[2, 0] == 0:
            raise ValueError(f"{name} stands at a limit of its output and passes nothing: no formula holds there")
        yield Piece("", "ideal", 0.0, (output, GROUND), (plus, minus))
    elif isinstance(group, _groups.Couplers):
        if slopes[0, 0] > OPEN:
            yield Piece(_symbol(name, "r_"), "R", 1 / slopes[0, 0], (nets[0], nets[1]))
        yield Piece(_symbol(name, "R_"), "R", 1 / slopes[2, 2], (nets[2], nets[3]))
    elif slopes[0, 0] > OPEN:
        yield Piece(_symbol(name, "r_"), "R", 1 / slopes[0, 0], (nets[0], nets[1]))


def _symbol(name: str, letter: str) -> str:
    """Return a name that is one symbol: `R5`, `VR1_12`, `gm_Q1`."""
    if track := re.fullmatch(r"(\S+) (\d) to (\d)", name):
        return f"{_plain(track[1])}_{''.join(sorted(track[2] + track[3]))}"
    if bridge := re.fullmatch(r"bridge from (.+) to (.+)", name):
        return f"R_{_plain(bridge[1])}_{_plain(bridge[2])}"
    plain = _plain(name)
    return f"{letter}{plain}" if letter.endswith("_") or not plain[0].isalpha() else plain


def _plain(name: str) -> str:
    return re.sub(r"\W+", "_", name).strip("_")


def solved(pieces: list[Piece], inner: list[str], entry: str, output: str) -> tuple[Any, Any, Mapping[str, float]]:
    """Return numerator and denominator as sympy polynomials in s, and the symbols' values.

    `inner` are the nets whose volts are unknown, the output among them; all others but `entry` stand still.
    """
    from sympy import ZZ
    from sympy.polys.matrices import DomainMatrix
    from sympy.polys.rings import ring

    used = [one for one in pieces if _counts(one, set(inner))]
    values = {one.symbol: one.value for one in used if one.symbol}
    if len(values) < sum(bool(one.symbol) for one in used):
        raise ValueError("two parts would have the same symbol; rename one on the list")
    domain, *gens = ring(["s", *values], ZZ)
    s, symbols = gens[0], dict(zip(values, gens[1:], strict=True))
    at = {net: k for k, net in enumerate(inner)}
    ideals = [one for one in used if one.kind == "ideal"]
    size = len(inner) + len(ideals)
    rows = [[domain.zero] * size for _ in range(size)]
    drive = [domain.zero] * size

    def add(row: int, net: str, what: Any) -> None:
        if net in at:
            rows[row][at[net]] += what
        elif net == entry:
            drive[row] -= what

    for one in used:
        if one.kind == "ideal":
            continue
        flow = symbols[one.symbol] * s if one.kind == "C" else symbols[one.symbol]
        for net, sign in zip(one.nets, (1, -1), strict=True):
            if net in at:
                plus, minus = one.control if one.kind == "gm" else one.nets
                add(at[net], plus, sign * flow)
                add(at[net], minus, -sign * flow)
    for k, one in enumerate(ideals):
        column = len(inner) + k
        if one.nets[0] in at:
            rows[at[one.nets[0]]][column] += domain.one
        add(column, one.control[0], domain.one)
        add(column, one.control[1], -domain.one)

    def determinant(matrix: list[list[Any]]) -> Any:
        last = DomainMatrix(matrix, (size, size), domain.to_domain()).charpoly()[-1]
        return last if size % 2 == 0 else -last

    whole = determinant(rows)
    if not whole:
        raise ValueError(
            "the named nets have no equation of their own: one hangs on nothing, or an op-amp's feedback lies outside them"
        )
    column = at[output]
    passed = determinant([[*row[:column], drive[k], *row[column + 1 :]] for k, row in enumerate(rows)])
    turned = [k for k, one in enumerate(values) if _kind(used, one) in ("R", "L")]
    coils = [k for k, one in enumerate(values) if _kind(used, one) == "L"]
    top, bottom = (_turned(domain, one, turned, coils) for one in (passed, whole))
    top, bottom = top.cancel(bottom)
    if bottom.LC < 0:
        top, bottom = -top, -bottom
    whole, passed = _by_power(bottom), _by_power(top)
    told = {str(one) for one in whole.free_symbols | passed.free_symbols}
    return passed, whole, {name: float(value) for name, value in values.items() if name in told}


def _counts(one: Piece, inner: set[str]) -> bool:
    """Tell whether a piece says anything about the unknown nets."""
    if one.kind == "ideal":
        return one.nets[0] in inner
    return one.nets[0] != one.nets[1] and bool(inner & set(one.nets))


def _kind(used: list[Piece], symbol: str) -> str:
    return next(one.kind for one in used if one.symbol == symbol)


def _turned(domain: Any, polynomial: Any, turned: list[int], coils: list[int]) -> Any:
    """Return a polynomial of conductances times all resistors (and coils times s): exponents 0 and 1 exchanged."""
    found = {}
    for powers, coefficient in polynomial.terms():
        new = list(powers)
        for k in turned:
            new[k + 1] = 1 - new[k + 1]
        new[0] += sum(new[k + 1] for k in coils)
        found[tuple(new)] = coefficient
    return domain.from_dict(found)


def _by_power(polynomial: Any) -> Any:
    """Return a polynomial as its factors, each a sum of powers of s."""
    from sympy import Add, Mul, Symbol

    s = Symbol("s")
    content, factors = _factored(polynomial)
    found = []
    for one, power in factors:
        parts: dict[int, dict[Any, Any]] = {}
        for powers, coefficient in one.terms():
            parts.setdefault(powers[0], {})[(0, *powers[1:])] = coefficient
        terms = []
        for k, part in parts.items():
            whole, pieces = _factored(one.ring.from_dict(part))
            terms.append(Mul(int(whole), *(piece.as_expr() ** times for piece, times in pieces), s**k))
        found.append(Add(*terms) ** power)
    return Mul(int(content), *found)


def _factored(polynomial: Any) -> tuple[Any, list[tuple[Any, int]]]:
    """Return content and irreducible factors with their powers.

    Every symbol stands in a determinant once at most, so that no two factors share one (but for s). With
    p = A + B x + C y + D x y two symbols are in different factors where B C = A D, which is asked of numbers; a
    factor is what is left of p with the symbols of the others at 1.
    """
    terms = list(polynomial.terms())
    if not terms:
        return 0, []
    powers = np.array([one for one, _ in terms])
    if powers[:, 1:].max(initial=0) > 1:
        return polynomial.factor_list()
    content = _shared(polynomial)
    found, rest = [], polynomial.LC
    for group in _apart(terms, powers):
        others = [k for k in range(1, powers.shape[1]) if k not in group]
        left = _with_ones(polynomial, others)
        if not left:
            return polynomial.factor_list()
        one = left.exquo(_shared(left))
        one = -one if one.LC < 0 else one
        found.append((one, 1))
        rest = rest // one.LC
    content = -content if (rest < 0) != (content.LC < 0) else content
    product = content
    for one, _ in found:
        product = product * one
    if product != polynomial:
        return polynomial.factor_list()
    number, more = content.factor_list()
    return number, [*more, *found]


def _with_ones(polynomial: Any, ones: list[int]) -> Any:
    """Return a polynomial with some symbols at 1."""
    found: dict[Any, Any] = {}
    for powers, coefficient in polynomial.terms():
        key = tuple(0 if k in ones else power for k, power in enumerate(powers))
        found[key] = found.get(key, 0) + coefficient
    return polynomial.ring.from_dict({key: one for key, one in found.items() if one})


def _shared(polynomial: Any) -> Any:
    """Return the largest polynomial in s alone that divides every coefficient of the symbols."""
    columns: dict[Any, dict[Any, Any]] = {}
    for powers, coefficient in polynomial.terms():
        columns.setdefault(powers[1:], {})[(powers[0], *(0 for _ in powers[1:]))] = coefficient
    shared = polynomial.ring.zero
    for column in columns.values():
        shared = shared.gcd(polynomial.ring.from_dict(column))
        if shared == 1:
            break
    return shared


def _apart(terms: Any, powers: Any) -> list[list[int]]:
    """Return the symbols by the factor they stand in, told by the values of the terms at one point of a prime field."""
    chosen = random.Random(len(terms))
    point = [chosen.randrange(1, PRIME) for _ in range(powers.shape[1])]
    values = []
    for one, coefficient in terms:
        value = int(coefficient) % PRIME
        for base, power in zip(point, one, strict=True):
            if power:
                value = value * pow(base, power, PRIME) % PRIME
        values.append(value)
    used = [k for k in range(1, powers.shape[1]) if powers[:, k].any()]
    within = powers[:, used].astype(object)
    worth = np.array(values, dtype=object)
    both = (within * worth[:, None]).T @ within if used else np.zeros((0, 0), object)
    each, whole = (within * worth[:, None]).sum(axis=0), worth.sum()
    groups: list[list[int]] = []
    for i, k in enumerate(used):
        joined = [k]
        for group in list(groups):
            for other in group:
                j = used.index(other)
                d, b, c = both[i, j], each[i] - both[i, j], each[j] - both[i, j]
                if (b * c - (whole - b - c - d) * d) % PRIME:
                    groups.remove(group)
                    joined += group
                    break
        groups.append(joined)
    return groups
