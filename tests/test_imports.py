"""Which room may import which, and what `import pedalcalc` costs."""

from __future__ import annotations

import ast
import subprocess
import sys

import pytest

from tests.conftest import ROOT

# A row may import from its own row and the rows above it, never from one below.
ROWS = [
    ["_base", "_csv"],
    ["values", "devices", "catalogue", "parts", "readings"],
    ["laws"],
    [
        "led",
        "rc",
        "controls",
        "fet",
        "opamp",
        "bjt",
        "stage",
        "supply",
        "pump",
        "switching",
        "opto",
        "sidechain",
        "compressor",
    ],
    ["board", "circuit", "tolerance", "drawer", "bench"],
    ["report", "plot", "explore", "sheet", "page"],
]
LEVEL = {room: level for level, row in enumerate(ROWS) for room in row}
FILES = sorted((ROOT / "pedalcalc").rglob("*.py"))


def _room(path):
    return path.relative_to(ROOT / "pedalcalc").parts[0].removesuffix(".py")


def _imported_rooms(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: write the whole name of what is imported"
            parts = (node.module or "").split(".")
            if parts[0] == "pedalcalc":
                yield from (
                    [parts[1]]
                    if len(parts) > 1
                    else [alias.name for alias in node.names if not alias.name.startswith("__")]
                )
        elif isinstance(node, ast.Import):
            for alias in node.names:
                parts = alias.name.split(".")
                if parts[0] == "pedalcalc" and len(parts) > 1:
                    yield parts[1]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_arrows_point_down(path):
    room = _room(path)
    if room == "__init__":
        return
    assert room in LEVEL, f"{room} stands in no row"
    for other in _imported_rooms(path):
        assert LEVEL[other] <= LEVEL[room], f"{room} imports from {other}, which is below it"


def _loaded_after(statement):
    code = f"{statement}\nimport sys\nprint(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120)
    return set(done.stdout.split())


def test_package_loads_numpy_and_no_more():
    loaded = _loaded_after("import pedalcalc")
    assert "numpy" in loaded
    assert not loaded & {"scipy", "sympy", "matplotlib", "ipywidgets", "IPython"}


@pytest.mark.parametrize("room", [room for row in ROWS[1:5] for room in row])
def test_physics_rooms_load_no_pictures(room):
    if not [path for path in FILES if _room(path) == room]:
        pytest.skip(f"{room} is not built yet")
    loaded = _loaded_after(f"import pedalcalc.{room}")
    assert not loaded & {"scipy.optimize", "scipy.signal", "sympy", "matplotlib", "ipywidgets", "IPython"}
