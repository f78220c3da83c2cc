"""How often the 95 % bands of the fits hold the truth: ``python -m tests.coverage_of_fits [DRAWS]``.

Couplers are drawn from what the fit takes for granted of a class (floor and dark resistance good to a factor of 3,
one standard deviation; any slope and scale), readings are made from each by the law and a normal scatter of their
logarithms, and the fit is told a scatter that may be too small. Printed are the share of draws in which each band holds the
truth, and the mean error of the slope over its standard error, for each number of readings and each
scatter over that told. Wanted: 92 to 98 %, and a third at the most.

Two readings cannot show that they scatter more than told; their bands are stated for what was told only, and
the fit says so. The fits of LEDs, JFETs and curves state no band.
"""

from __future__ import annotations

import dataclasses
import sys

import numpy as np

from pedalcalc import devices, opto

COUNTS, RATIOS = (2, 3, 5, 8, 12), (1, 2, 3)
CLASS = devices.typical(devices.COUPLER_GREEN_GAP_GL5528)
TOLD, TOLD_TIMES = 0.05, 0.1
AT = np.geomspace(60e-6, 8e-3, 5)  # between the lowest and the highest current read
BANDS = ("slope", "reference", "floor", "dark", "current")


def settled(current, coupler):
    """Return the resistance that the cell settles at."""
    return opto.coupler_point(current, coupler=coupler).resistance_cell


def drawn_coupler(random):
    """Return a coupler as the fit of its class expects it."""
    cell = CLASS.cell
    floor, dark = np.exp(random.normal(0, np.log(3), 2))
    return dataclasses.replace(
        CLASS,
        cell=dataclasses.replace(
            cell,
            resistance_floor=cell.resistance_floor * floor,
            resistance_dark=cell.resistance_dark * dark,
            gamma=random.uniform(0.5, 0.8),
        ),
        illuminance_reference=60 * np.exp(random.normal(0, 0.5)),
        light_exponent=random.uniform(0.9, 1.15),
    )


def coupler_hits(count, ratio, draws, seed=0):
    """Return whether each band held the truth, a row a draw, and the error of the slope over its standard error."""
    random = np.random.default_rng([seed, count, ratio])
    current, hits, errors = np.geomspace(30e-6, 15e-3, count), [], []
    for _ in range(draws):
        true = drawn_coupler(random)
        ohms = settled(current, true) * np.exp(random.normal(0, TOLD * ratio, count))
        found = opto.fit_coupler(current, resistance_cell=ohms, coupler=CLASS, tolerance=TOLD)
        band, truth = opto.coupler_band(AT, coupler=found), settled(AT, true)
        off = found.slope - true.cell.gamma * true.light_exponent
        pairs = (
            (found.resistance_reference, settled(found.current_reference, true), "reference"),
            (found.resistance_floor, true.cell.resistance_floor, "floor"),
            (found.resistance_dark, true.cell.resistance_dark, "dark"),
        )
        hits.append(
            [
                abs(off) <= found.slope_margin,
                *(abs(np.log(a / b)) <= np.log(getattr(found, f"resistance_{name}_factor")) for a, b, name in pairs),
                np.mean((band.resistance_low <= truth) & (truth <= band.resistance_high)),
            ]
        )
        errors.append(off / (found.slope_margin / 1.96))
    return np.array(hits, float), np.array(errors)


def timing_hits(count, ratio, draws, seed=0):
    """Return whether the bands of the fitted times held the truth, rise and fall, a row a draw."""
    random = np.random.default_rng([seed, count, ratio])
    cell, light, hits = devices.LDR_NORP12, np.geomspace(5, 2000, count), []
    start = dataclasses.replace(cell, time_rise_10lx=1.0, time_fall_10lx=1.0)
    rise, fall = (
        opto.time_to_rise(0.63, illuminance=light, cell=cell),
        opto.time_to_fall(0.2, illuminance=light, cell=cell),
    )
    while len(hits) < draws:
        scatter = np.exp(random.normal(0, TOLD_TIMES * ratio, (2, count)))
        try:
            found = opto.fit_timing(
                cell=start,
                illuminance_rise=light,
                fraction_rise=0.63,
                time_rise=rise * scatter[0],
                illuminance_fall=light,
                fraction_fall=0.2,
                time_fall=fall * scatter[1],
                tolerance=TOLD_TIMES,
            )
        except ValueError:  # two times that contradict each other are refused
            continue
        off = np.log(opto.time_to_rise(0.63, illuminance=light, cell=found.cell) / rise)
        off_fall = np.log(opto.time_to_fall(0.2, illuminance=light, cell=found.cell) / fall)
        hits.append(
            [np.mean(abs(off) <= np.log(found.rise_factor)), np.mean(abs(off_fall) <= np.log(found.fall_factor))]
        )
    return np.array(hits)


def main(draws: int) -> None:
    """Print both tables."""
    print(
        f"fit_coupler, {draws} draws each; scatter over that told\n readings  scatter",
        *(f"{b:>9}" for b in BANDS),
        "   bias/SE",
    )
    for count in COUNTS:
        for ratio in RATIOS:
            hits, errors = coupler_hits(count, ratio, draws)
            shares = (f"{100 * share:8.1f}%" for share in hits.mean(axis=0))
            print(f"{count:9} {ratio:8}", *shares, f"{errors.mean():+10.2f}", flush=True)
    print("\nfit_timing: so many rises and as many falls\n    times  scatter      rise      fall")
    for count in COUNTS:
        for ratio in RATIOS:
            shares = (f"{100 * share:8.1f}%" for share in timing_hits(count, ratio, draws).mean(axis=0))
            print(f"{count:9} {ratio:8}", *shares, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400)
