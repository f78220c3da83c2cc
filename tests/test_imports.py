"""Which room may import which, and what `import pedalcalc` costs."""

from __future__ import annotations

import ast
import subprocess
import sys
from functools import cache

import pytest

from tests.conftest import ROOT

# A row may import from its own row and the rows above it, never from one below.
ROWS = [
    [
        "_arguments",
        "_base",
        "_csv",
        "_files",
        "_ranges",
        "_record",
        "_refusal",
        "_result",
        "_scores",
        "_junction",
        "_signs",
        "_units",
    ],
    ["values", "devices", "catalogue", "parts", "readings", "_figure", "_meter", "_part_value", "_stock"],
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
    ["board", "circuit", "tolerance", "bench"],
    ["report", "plot", "explore", "sheet", "page", "_number_text", "_screen_text"],
]
#: Private modules of a room that others may use, and why; all else that rooms share stands beside them, or is public.
SHARED = {
    "laws._wright": "the bare kernel of the junction law, for a million lamps",
    "laws._plain": "the junction law in numbers instead of records, for the compressor's loops",
    "pump._stage": "the tone's level and what is said of open capacitors, for the pump inside a budget",
    "values._series": "the stock as another argument than a value asks for it, refused by that argument's name",
    "bench._figures": "how far a changed board is swept, for the panel that changes it",
    "catalogue._find": "the package's own types of a kind, to be put in a part's place",
    "plot._style": "a picture as SVG inside a section",
    "devices._tables": "the tables' columns and names, by which the catalogue finds a part",
}
#: Panels move what stands inside `plot`'s pictures and `report`'s boxes; a sheet lays them out.
STILL = {("explore", "plot"), ("explore", "report"), ("sheet", "plot"), ("sheet", "report")}
LEVEL = {room: level for level, row in enumerate(ROWS) for room in row}
FILES = sorted((ROOT / "pedalcalc").rglob("*.py"))


def _room(path):
    return path.relative_to(ROOT / "pedalcalc").parts[0].removesuffix(".py")


@cache
def _statements(path):
    """Return the imports of a file."""
    nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    return [node for node in nodes if isinstance(node, ast.Import | ast.ImportFrom)]


def _imported_rooms(path):
    for node in _statements(path):
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


def test_arrows_point_down():
    rooms = {path: _room(path) for path in FILES if _room(path) != "__init__"}
    assert not (lost := set(rooms.values()) - LEVEL.keys()), f"these stand in no row: {sorted(lost)}"
    up = [
        f"{path.relative_to(ROOT)} imports from {other}, which is below it"
        for path, room in rooms.items()
        for other in _imported_rooms(path)
        if LEVEL[other] > LEVEL[room]
    ]
    assert not up, "\n".join(up)


def test_no_room_comes_back_to_itself():
    """Within a row too, imports of whole rooms form no circle."""
    wants: dict[str, set[str]] = {}
    for path in FILES:
        if _room(path) in LEVEL:
            wants.setdefault(_room(path), set()).update(set(_imported_rooms(path)) - {_room(path)})
    left = dict(wants)
    while done := [room for room, others in left.items() if not others & left.keys()]:
        for room in done:
            del left[room]
    assert not left, f"these import one another: {sorted(left)}"


def _imports(path):
    """Yield the module without its package, and the names, of each import from this package."""
    for node in _statements(path):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pedalcalc."):
            yield node.module.split(".")[1:], [alias.name for alias in node.names]


def _private_of_others(path):
    """Yield the private modules of other rooms that a file imports."""
    room = _room(path)
    for parts, names in _imports(path):
        if parts[0] == room or parts[0].startswith("_"):
            continue
        asked = [".".join(parts)] if len(parts) > 1 else [f"{parts[0]}.{name}" for name in names]
        yield from (name for name in asked if name.partition(".")[2].startswith("_"))


def test_what_is_private_to_a_room_stays_there():
    taken = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in FILES
        for name in _private_of_others(path)
        if name not in SHARED and (_room(path), name.partition(".")[0]) not in STILL
    ]
    assert not taken, "\n".join(taken)


def test_what_is_private_to_a_file_stays_there():
    taken = [
        f"{path.relative_to(ROOT)}: {name} of {'.'.join(parts)}"
        for path in FILES
        for parts, names in _imports(path)
        for name in names
        if name.startswith("_") and not ROOT.joinpath("pedalcalc", *parts, f"{name}.py").is_file()
    ]
    assert not taken, "\n".join(taken)


def test_every_exception_is_needed():
    assert {name for path in FILES for name in _private_of_others(path)} >= SHARED.keys()


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
