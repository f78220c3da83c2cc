"""Formulas as MathML, which prints with no network and no TeX.

An equation keeps the order in which it was written; a computer-algebra printer would sort it.
"""

from __future__ import annotations

import ast
import dataclasses
import re
from collections.abc import Mapping
from html import escape

from pedalcalc._arguments import table_of
from pedalcalc._base import io

FUNCTIONS = frozenset(
    "exp log ln log10 sqrt sin cos tan asin acos atan sinh cosh tanh abs min max".split()  # noqa: SIM905
)
LETTERS = {
    "alpha": "α", "beta": "β", "gamma": "γ", "delta": "δ", "epsilon": "ε", "zeta": "ζ", "eta": "η", "theta": "θ",
    "kappa": "κ", "lambda": "λ", "mu": "μ", "nu": "ν", "xi": "ξ", "pi": "π", "rho": "ρ", "sigma": "σ", "tau": "τ",
    "phi": "φ", "chi": "χ", "psi": "ψ", "omega": "ω", "Gamma": "Γ", "Delta": "Δ", "Theta": "Θ", "Lambda": "Λ",
    "Sigma": "Σ", "Phi": "Φ", "Psi": "Ψ", "Omega": "Ω", "inf": "∞",
}  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Formula:
    """An equation that shows itself as MathML in a notebook and on paper, and as plain text."""

    text: str
    mathml: str
    where: tuple[tuple[str, str, str], ...] = ()

    def _repr_html_(self) -> str:
        math = f'<math xmlns="http://www.w3.org/1998/Math/MathML" display="block">{self.mathml}</math>'
        items = "".join(f"<dt><math>{math_}</math></dt><dd>{escape(words)}</dd>" for _, math_, words in self.where)
        legend = f'<dl class="pedalcalc-where">{items}</dl>' if items else ""
        return f'<div class="pedalcalc-formula" style="break-inside:avoid">{math}{legend}</div>'

    def __str__(self) -> str:
        return "\n".join([self.text, *(f"  {name}: {words}" for name, _, words in self.where)])

    __repr__ = __str__


@io
def formula(text: str, *, where: Mapping[str, str] | None = None) -> Formula:
    """Typeset an equation written as plain text.

    Parameters
    ----------
    text : str
        Equation such as ``"f_c = 1/(2*pi*R*C)"``: Python arithmetic, ``_`` for a subscript, Greek letters by name,
        and the functions exp, log, ln, log10, sqrt, sin, cos, tan, their inverses asin, acos, atan, sinh, cosh, tanh, abs, min, max.
    where : mapping of str to str, optional
        What each symbol means, printed below.

    Returns
    -------
    Formula
        Object that shows itself as MathML; its text stays as given.

    Raises
    ------
    ValueError
        If the text is not an equation or expression of this kind.

    References
    ----------
    PRACTICE : MathML is an open standard of the W3C, shown by browsers without help.

    Examples
    --------
    >>> from pedalcalc import report
    >>> shown = report.formula("f_c = 1/(2*pi*R*C)")
    >>> "<mfrac><mn>1</mn>" in shown.mathml
    True
    """
    if not isinstance(text, str):
        raise TypeError(f"text must be an equation written as text, not {text!r}")
    sides = [_written(_parsed(side, text), text)[0] for side in text.split("=")]
    entries = tuple((name, _symbol(name), words) for name, words in table_of("where", where, "words by symbol").items())
    return Formula(text, f"<mrow>{'<mo>=</mo>'.join(sides)}</mrow>", entries)


def _parsed(side: str, text: str) -> ast.expr:
    """Return the syntax tree of one side; no text is ever run as code."""
    try:
        return ast.parse(re.sub(r"\blambda\b", "lambda_", side).replace("^", "**").strip(), mode="eval").body
    except SyntaxError as error:
        raise ValueError(f"text must be an equation such as 'f_c = 1/(2*pi*R*C)', got {text!r}") from error


def _written(node: ast.expr, text: str) -> tuple[str, int]:
    """Return the MathML of a tree in the order it was written, and how tightly it binds (1 sum to 4 symbol)."""
    match node:
        case ast.Constant(value=int() | float() as value) if not isinstance(value, bool):
            return f"<mn>{value:g}</mn>", 4
        case ast.Name(id=name):
            return _symbol(name), 4
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return f"<mrow><mo>&#x2212;</mo>{_bracketed(inner, text, 2)}</mrow>", 1
        case ast.BinOp(left=left, op=ast.Add() | ast.Sub() as operator, right=right):
            sign = "+" if isinstance(operator, ast.Add) else "&#x2212;"
            return f"<mrow>{_bracketed(left, text, 1)}<mo>{sign}</mo>{_bracketed(right, text, 2)}</mrow>", 1
        case ast.BinOp(left=left, op=ast.Mult(), right=right):
            sign = "<mo>&#xB7;</mo>" if isinstance(right, ast.Constant) else "<mo>&#x2062;</mo><mspace width='0.15em'/>"
            first = _bracketed(left, text, 1 if isinstance(left, ast.UnaryOp) else 2)
            return f"<mrow>{first}{sign}{_bracketed(right, text, 2)}</mrow>", 2
        case ast.BinOp(left=left, op=ast.Div(), right=right):
            return f"<mfrac>{_written(left, text)[0]}{_written(right, text)[0]}</mfrac>", 3
        case ast.BinOp(left=left, op=ast.Pow(), right=right):
            return f"<msup>{_bracketed(left, text, 4)}{_written(right, text)[0]}</msup>", 3
        case ast.Call(func=ast.Name(id=name), args=arguments, keywords=[]) if name in FUNCTIONS and arguments:
            return _call(name, [_written(argument, text)[0] for argument in arguments])
        case _:
            raise ValueError(f"text holds something a formula cannot: {ast.unparse(node)!r} in {text!r}")


def _bracketed(node: ast.expr, text: str, least: int) -> str:
    mathml, binding = _written(node, text)
    return mathml if binding >= least else _in_brackets(mathml)


def _in_brackets(mathml: str) -> str:
    """Put brackets around something; they grow with what is tall, and else stay as low as a letter."""
    still = "" if any(tall in mathml for tall in ("<mfrac", "<msup", "<msqrt")) else ' stretchy="false"'
    return f"<mrow><mo{still}>(</mo>{mathml}<mo{still}>)</mo></mrow>"


def _call(name: str, arguments: list[str]) -> tuple[str, int]:
    inside = "<mo>,</mo>".join(arguments)
    if name == "sqrt":
        return f"<msqrt>{inside}</msqrt>", 4
    if name == "exp":
        return f"<msup><mi>e</mi><mrow>{inside}</mrow></msup>", 3
    if name == "abs":
        return f"<mrow><mo>|</mo>{inside}<mo>|</mo></mrow>", 4
    head = {"log10": "<msub><mi>log</mi><mn>10</mn></msub>", "log": "<mi>ln</mi>"}.get(name, f"<mi>{name}</mi>")
    head = head.replace("<mi>a", "<mi>arc")
    return f"<mrow>{head}<mo>&#x2061;</mo>{_in_brackets(inside)}</mrow>", 4


def _symbol(name: str) -> str:
    """Return a name as a symbol: Greek by name, what follows the first underscore as subscript."""
    base, _, below = name.rstrip("_").partition("_")
    letter = f"<mi>{escape(LETTERS.get(base, base))}</mi>"
    if not below:
        return letter
    words = [LETTERS.get(word, word) for word in below.split("_")]
    return f"<msub>{letter}<mrow><mtext>{escape(' '.join(words))}</mtext></mrow></msub>"
