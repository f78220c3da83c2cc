"""LED and cell laws tabulated over the voltage that drives the LED, for a loop in plain floats to look up.

Below the voltage at which the LED begins to conduct one row serves; above it rows stand a 32nd of the
junction's e-fold apart, and far up on the straight part of its line further apart, so that the
table stays small whatever the rail.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.laws import Floats
from pedalcalc.opto.cell import cell_conductance

PER_E_FOLD = 32
E_FOLDS = 64  # finely spaced, from where the LED begins to conduct
ROWS_ABOVE = 1024  # at most, on the straight part
CURRENT_FIRST = 1e-13  # where the fine rows begin; no cell answers to the light of so little

Row = tuple[float, float, float, float, float, float]  # settled = 0 + 1 V, rate = 2 + 3 V, current = 4 + 5 V


class Table(NamedTuple):
    """What the loop looks up: rows, and the numbers that turn a voltage into the place of its row.

    Within a row settled conductance, rate of rise and LED current are straight lines over the voltage; a row
    holds where each of them would meet 0 V, and its rise per volt.
    """

    rows: list[Row]
    first: float
    per_volt: float
    knee: float
    knee_row: int
    per_volt_above: float
    top: float
    unlit: float
    loop_rate: list[float]

    def place(self, volts: float) -> int:
        """Return the index of the row in which a voltage lies."""
        if volts <= self.first:
            return 0
        if volts < self.knee:
            return 1 + int((volts - self.first) * self.per_volt)
        return min(self.knee_row + int((volts - self.knee) * self.per_volt_above), len(self.rows) - 1)


def table(compressor: Compressor, top: float) -> Table:
    """Tabulate the laws of a compressor from 0 V to `top`."""
    c = compressor
    led = c.coupler.led
    e_fold = float(led.ideality * c.voltage_thermal)
    drop = float(c.voltage_base_emitter) if c.drive == "buffered" else 0.0
    first = drop + max(0.0, e_fold * float(np.log(CURRENT_FIRST / led.current_saturation)))
    top = max(top, first + 2 * e_fold / PER_E_FOLD)
    knee = min(top, first + E_FOLDS * e_fold)
    fine_rows = max(1, int(np.ceil((knee - first) / e_fold * PER_E_FOLD)))
    fine = np.linspace(first, knee, fine_rows + 1)
    rows_above = min(ROWS_ABOVE, int(np.ceil((top - knee) / e_fold * PER_E_FOLD)))
    above = np.linspace(knee, top, rows_above + 1)[1:]
    volts = np.concatenate([[0.0], fine, above])
    if first == 0.0:
        volts[0] = -1.0  # the row below is never met
    current = np.asarray(laws.led_current(c, volts))
    light = laws.illuminance(c, current)
    settled = np.asarray(cell_conductance(light, cell=c.coupler.cell))
    rate = np.asarray(laws.rise_rate(c, light))
    width = np.diff(volts)
    columns = []
    for law in (settled, rate, current):
        slope = np.diff(law) / width
        slope[0] = 0.0
        columns += [law[:-1] - slope * volts[:-1], slope]
    rows = list(zip(*(column.tolist() for column in columns), strict=True))
    last = (float(settled[-1]), 0.0, float(rate[-1]), 0.0, float(current[-1]), 0.0)
    return Table(
        rows=[*rows, last],
        first=float(first),
        per_volt=fine_rows / (knee - first),
        knee=float(knee),
        knee_row=fine_rows + 1,
        per_volt_above=rows_above / (top - knee) if rows_above else 0.0,
        top=float(top),
        unlit=float(settled[0]),
        loop_rate=_loop_rate(c, volts, settled, rate).tolist(),
    )


def _loop_rate(compressor: Compressor, volts: Floats, settled: Floats, rate: Floats) -> Floats:
    """Return the fastest rate that cell and gain together have at or below each voltage.

    A cell sensed behind itself changes the voltage that lights it: its rate is multiplied by one plus the loop gain.
    """
    if compressor.sense == "before":
        return np.maximum.accumulate(rate)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.gradient(np.log(settled), volts)
        sharpness = np.abs(laws.gain_law(compressor).sharpness(settled))  # 0/0 for an open series cell: 1
    slope = np.where(np.isfinite(slope), slope, 0.0)
    sharpest = np.max(np.where(np.isnan(sharpness), 1.0, sharpness))
    return np.maximum.accumulate(rate * (1 + slope * (volts + compressor.voltage_diode) * sharpest))
