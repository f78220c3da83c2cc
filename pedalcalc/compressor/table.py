"""LED and cell laws tabulated over the voltage that drives the LED, for a loop in plain floats to look up.

Below the voltage at which the LED begins to conduct one row serves; above it rows stand a 32nd of the
junction's e-fold apart, and far up on the straight part of its line further apart, so that the
table stays small whatever the rail.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.laws import Floats
from pedalcalc.opto.cell import cell_conductance

PER_E_FOLD = 32
E_FOLDS = 64  # finely spaced, from where the LED begins to conduct
ROWS_ABOVE = 1024  # at most, on the straight part
LOOP_FINE = 32  # e-folds in which the rate of the loop is looked at one by one
LOOP_ABOVE = 16  # places above them
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


class Layout(NamedTuple):
    """Where the rows of a table lie; of many units an element each.

    Row 0 serves up to `first`; `fine` rows follow up to `knee`, `above` of them up to `top`.
    """

    e_fold: Any
    first: Any
    knee: Any
    top: Any
    fine: Any
    above: Any

    def volts(self, row: Any) -> Any:
        """Return the voltage at which a row begins; row 0 is met below `first` only, and begins at 0 V or under it."""
        low = np.where(self.first == 0.0, -1.0, 0.0)
        up = self.knee + (row - 1 - self.fine) * ((self.top - self.knee) / np.maximum(self.above, 1))
        fine = self.first + (row - 1) * ((self.knee - self.first) / self.fine)
        return np.where(row == 0, low, np.where(row <= self.fine, fine, np.minimum(up, self.top)))


def layout(compressor: Compressor, top: Any) -> Layout:
    """Return where the rows lie of a table from 0 V to `top`."""
    c, led = compressor, compressor.coupler_at_temperature.led
    e_fold = np.multiply(led.ideality, VOLTAGE_THERMAL_300K)
    drop = c.voltage_base_emitter if c.drive == "buffered" else 0.0
    first = drop + np.maximum(0.0, e_fold * np.log(CURRENT_FIRST / np.asarray(led.current_saturation)))
    top = np.maximum(top, first + 2 * e_fold / PER_E_FOLD)
    knee = np.minimum(top, first + E_FOLDS * e_fold)
    fine = np.maximum(1, np.ceil((knee - first) / e_fold * PER_E_FOLD))
    above = np.minimum(ROWS_ABOVE, np.ceil((top - knee) / e_fold * PER_E_FOLD))
    return Layout(e_fold, first, knee, top, fine, above)


def table(compressor: Compressor, top: float) -> Table:
    """Tabulate the laws of a compressor from 0 V to `top`."""
    c = compressor
    lies = layout(c, top)
    first, knee, top = float(lies.first), float(lies.knee), float(lies.top)
    fine_rows, rows_above = int(lies.fine), int(lies.above)
    volts = lies.volts(np.arange(2.0 + fine_rows + rows_above))
    current = np.asarray(laws.led_current(c, volts))
    light = laws.illuminance(c, current)
    settled = np.asarray(cell_conductance(light, cell=c.coupler_at_temperature.cell))
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
        first=first,
        per_volt=fine_rows / (knee - first),
        knee=knee,
        knee_row=fine_rows + 1,
        per_volt_above=rows_above / (top - knee) if rows_above else 0.0,
        top=top,
        unlit=float(settled[0]),
        loop_rate=np.interp(volts, *loop_rates(c, lies)).tolist(),
    )


def loop_rates(compressor: Compressor, lies: Layout) -> tuple[Floats, Floats]:
    """Return voltages and the fastest rate that cell and gain together have at or below each; of many units a column each.

    A cell sensed behind itself changes the voltage that lights it: its rate is multiplied by one plus the loop gain.
    The voltages rise evenly, an e-fold apart, to `LOOP_FINE` e-folds above the first, and evenly again to the top.
    """
    c = compressor
    bend = np.minimum(lies.first + LOOP_FINE * lies.e_fold, lies.top)
    volts = np.concatenate([
        np.linspace(lies.first, bend, LOOP_FINE + 1), np.linspace(bend, lies.top, LOOP_ABOVE + 1)[1:],
    ])  # fmt: skip
    light = laws.illuminance(c, laws.led_current(c, volts))
    settled, rate = (
        np.asarray(cell_conductance(light, cell=c.coupler_at_temperature.cell)),
        np.asarray(laws.rise_rate(c, light)),
    )
    if c.sense == "after":
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = np.diff(np.log(settled), axis=0) / np.diff(volts, axis=0)
            sharpness = np.abs(laws.gain_law(c).sharpness(settled))  # 0/0 for an open series cell: 1
        slope = np.where(np.isfinite(slope), slope, 0.0)
        slope = np.maximum(np.concatenate([slope[:1], slope]), np.concatenate([slope, slope[-1:]]))
        sharpest = np.max(np.where(np.isnan(sharpness), 1.0, sharpness), axis=0)
        rate = rate * (1 + slope * (volts + c.voltage_diode) * sharpest)
    return volts, np.maximum.accumulate(rate, axis=0)
