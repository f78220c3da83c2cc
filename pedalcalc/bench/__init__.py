"""The built board on the bench: what the meter should read and where to put it, whether it does, and the first power-up.

Expected volts stand on the builder's own meter: its resistance is part of the circuit where it matters, its accuracy part
of the band. Readings come from a file (`pedalcalc.readings`): `what` is ``voltage`` or ``supply current``, `place` a net of
the list or a pin such as ``IC2 pin 1``, `condition` says ``bypassed`` where the footswitch stands there.
"""

from pedalcalc.bench._rows import Expected, ExpectedReading, FirstPower, Judged, JudgedReading, PowerLine
from pedalcalc.bench.changes import Change, Move, changes
from pedalcalc.bench.expected import expected_readings
from pedalcalc.bench.judge import judge_readings
from pedalcalc.bench.power import first_power

__all__ = [
    "Change",
    "Expected",
    "ExpectedReading",
    "FirstPower",
    "Judged",
    "JudgedReading",
    "Move",
    "PowerLine",
    "changes",
    "expected_readings",
    "first_power",
    "judge_readings",
]
