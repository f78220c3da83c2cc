"""Import every room of the installed package and compute one number, away from the checkout."""

import importlib
import sys
from pathlib import Path

import pedalcalc
from pedalcalc import devices, rc, values

place = Path(pedalcalc.__file__).parent
if Path(sys.prefix) not in place.parents:
    sys.exit(f"pedalcalc came from {place}, not from the wheel")
if not (place / "py.typed").exists():
    sys.exit("py.typed is not in the wheel")

for room in pedalcalc.__all__:
    importlib.import_module(f"pedalcalc.{room}")

for name in devices.__all__:
    getattr(devices, name)  # the tables of records came along and can be read

resistance, capacitance = values.read_value("4k7", unit="Ω"), values.read_value("100n", unit="F")
corner = rc.corner_frequency(resistance=resistance, capacitance=capacitance)
found = values.write_value(corner, unit="Hz", digits=3)
if found != "339 Hz":  # 1/(2 pi * 4700 ohm * 100 nF) = 338.6 Hz
    sys.exit(f"4k7 and 100n turn over at 339 Hz, not {found}")
print(f"{len(pedalcalc.__all__)} rooms import from {place}; 4k7 with 100n turns over at {found}")
