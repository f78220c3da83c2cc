"""What a first cell asks, in words for a reader of paper: name by name, without what only Python needs."""

from __future__ import annotations

import ast
from collections.abc import Iterator

from pedalcalc._screen_text import in_capitals


def asked(source: str) -> list[tuple[str, str]]:
    """Return the names to which a cell gives something, and what, in its order; nothing of a cell that is no plain Python."""
    try:
        steps = ast.parse(source).body
    except SyntaxError:
        return []
    given = [pair for step in steps if isinstance(step, ast.Assign) for pair in _pairs(step.targets[0], step.value)]
    return [(name, told) for name, told in given if told]


def _pairs(target: ast.expr, value: ast.expr) -> Iterator[tuple[str, str]]:
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple) and len(target.elts) == len(value.elts):
        for one, its in zip(target.elts, value.elts, strict=True):
            yield from _pairs(one, its)
    else:
        told = _told(value)
        bare = told[1:-1] if isinstance(value, (ast.List, ast.Tuple)) else told
        yield " ".join(map(in_capitals, ast.unparse(target).split("_"))), bare


def _told(value: ast.expr) -> str:
    """Return a value as it would be written by hand; nothing for what is left open."""
    match value:
        case ast.Constant(value=None):
            return ""
        case ast.Constant(value=bool(yes)):
            return "yes" if yes else "no"
        case ast.Constant(value=str(text)):
            return text
        case ast.Attribute(attr=name):
            return name
        case ast.UnaryOp(op=ast.USub(), operand=number):
            return f"\N{MINUS SIGN}{_told(number)}"
        case ast.Call(args=[*_, last]):
            return _told(last)
        case ast.List(elts=parts) | ast.Tuple(elts=parts):
            return f"({', '.join(map(_told, parts))})"
        case ast.Dict(keys=names, values=parts):
            return ", ".join(f"{_told(name)}: {_told(part)}" for name, part in zip(names, parts, strict=True) if name)
    return ast.unparse(value)
