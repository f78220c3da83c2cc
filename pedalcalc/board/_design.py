"""What the design wants of an optical compressor beside what is listed and fitted, and what was asked beside what is got."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc import compressor, led, opto, rc, values
from pedalcalc._arguments import is_a, one_number
from pedalcalc._base import search
from pedalcalc._result import Result, Spread, quantity
from pedalcalc.board._core import Board
from pedalcalc.board._dynamics import DynamicsBand, told_threshold
from pedalcalc.board._optical import LEAST_SHARE, OpticalBuild, deepest_db
from pedalcalc.board._rows import Parts, drop, stated, told
from pedalcalc.board._supply import DoubledSupply
from pedalcalc.board._timing import detector_times
from pedalcalc.devices import Coupler


@dataclass(frozen=True, slots=True, eq=False)
class DesignPart(Result):
    """One part whose value the design chooses."""

    reference: str = quantity("text", "part")
    text_wanted: str = quantity("text", "wanted by the design")
    text_stock: str = quantity("text", "nearest stock value")
    text_listed: str = quantity("text", "listed")
    value_text: str = quantity("text", "fitted")
    reason: str = quantity("text", "fitted against stock value")


@dataclass(frozen=True, slots=True, eq=False)
class Target(Result):
    """One thing that was asked for and what the build gives, with the reason where they differ."""

    what: str = quantity("text", "asked for")
    text_wanted: str = quantity("text", "asked")
    text_got: str = quantity("text", "got")
    reason: str = quantity("text", "why they differ")


@dataclass(frozen=True, slots=True, eq=False)
class OpticalDesign(Result):
    """Parts as the design wants them, and what was asked beside what is got."""

    design_parts: tuple[DesignPart, ...] = quantity("records", "parts that the design chooses")
    targets: tuple[Target, ...] = quantity("records", "asked and got")


def design_part(
    parts: Parts,
    role: str,
    what: str,
    wanted: float,
    unit: str,
    stock: str,
    choose: Callable[..., Any] = values.nearest_value,
) -> DesignPart:
    """Return one part as wanted, in stock, listed and fitted."""
    part = parts.board.part(parts.name(role))
    in_stock = float(choose(wanted, stock=stock)) if 1e-15 <= wanted <= 1e12 else np.nan
    return DesignPart(
        reference=f"{part.reference}, {what}",
        text_wanted=told(wanted, unit),
        text_stock=told(in_stock, unit),
        text_listed=part.text_listed or part.value_text,
        value_text=part.value_text,
        reason=stated(in_stock, part.value),
    )


def _or_nan(find: Callable[[], Any]) -> float:
    """Return what a design function finds, NaN where it says that nothing reaches it."""
    try:
        return float(find())
    except ValueError:
        return float("nan")


@search
def optical_design(
    board: Board,
    *,
    supplied: DoubledSupply,
    optical: OpticalBuild,
    roles: Mapping[str, str],
    current_wanted: ArrayLike,
    current_led: ArrayLike,
    reduction_db: ArrayLike,
    threshold_dbv: ArrayLike,
    time_attack_wanted: ArrayLike,
    time_release_wanted: ArrayLike,
    frequency_corner: ArrayLike,
) -> OpticalDesign:
    """Choose the parts of an optical compressor for what is asked, and set what is fitted beside them.

    Parameters
    ----------
    board : Board
        The board.
    supplied : DoubledSupply
        Its supply.
    optical : OpticalBuild
        Its stages.
    roles : mapping of str to str
        As for `optical_compressor`.
    current_wanted : array_like
        Indicator current asked for [A], above 0.
    current_led : array_like
        Lamp current of the coupler at the loudest signal [A], above 0.
    reduction_db : array_like
        Deepest gain reduction [dB], above 0.
    threshold_dbv : array_like
        Input level at which the gain is 1 dB down, threshold control fully clockwise [dBV].
    time_attack_wanted : array_like
        Fastest attack of the detector, 63 % [s], above 0.
    time_release_wanted : array_like
        Fastest release of the detector, 63 % [s], above 0.
    frequency_corner : array_like
        Lower corner of the input [Hz], above 0.

    Returns
    -------
    OpticalDesign
        Parts wanted, in stock, listed and fitted; asked and got with the reason.

    Raises
    ------
    ValueError
        If a value is out of range or a role is missing.

    Notes
    -----
    Each part is chosen for the build as it is, all other parts as fitted. R of the detector follows from its time, which
    is proportional to it, by repetition.

    References
    ----------
    DERIVED; PRACTICE, 63 % of the hold voltage and 1 dB of reduction.

    Examples
    --------
    >>> from pedalcalc.board import OPTICAL_ROLES, assemble, doubled_supply, optical_compressor
    >>> build = assemble("notebooks/builds/optical-compressor/parts.csv", supply=9.0)
    >>> fed = doubled_supply(build, roles=OPTICAL_ROLES)
    >>> stages = optical_compressor(build, supplied=fed, roles=OPTICAL_ROLES, resistance_generator=1e4, resistance_load=1e6)
    >>> found = optical_design(
    ...     build, supplied=fed, optical=stages, roles=OPTICAL_ROLES, current_wanted=1.5e-3, current_led=2e-3,
    ...     reduction_db=20.0, threshold_dbv=-25.0, time_attack_wanted=5e-3, time_release_wanted=0.1,
    ...     frequency_corner=8.0,
    ... )
    >>> found.design_parts[0].reference
    'R7, arm'
    """
    parts = Parts(is_a("board", board, Board), roles)
    is_a("supplied", supplied, DoubledSupply)
    circuit = is_a("optical", optical, OpticalBuild).compressor
    lamp_wanted = one_number("current_wanted", current_wanted, "", above=0)
    most = one_number("current_led", current_led, "", above=0)
    deepest = one_number("reduction_db", reduction_db, "", above=0, most=200)
    threshold = one_number("threshold_dbv", threshold_dbv, "", least=-400, most=200)
    attack = one_number("time_attack_wanted", time_attack_wanted, "", least=1e-6, most=1e4)
    release = one_number("time_release_wanted", time_release_wanted, "", least=1e-6, most=1e4)
    lowest = one_number("frequency_corner", frequency_corner, "", above=0)
    coupler: Coupler = circuit.coupler
    held = float(supplied.voltage_rail[1]) - supplied.voltage_diode
    lit = float(opto.coupler_point(most, coupler=coupler).resistance_cell)
    heard = max(float(board.control(parts.name("threshold"), rotation=1.0).track_fraction), LEAST_SHARE)
    open_control = dataclasses.replace(
        circuit, gain_sidechain=circuit.gain_sidechain / max(float(board.control(parts.name("threshold")).track_fraction), LEAST_SHARE) * heard
    )  # fmt: skip
    gain = _or_nan(lambda: compressor.gain_for_threshold(threshold, compressor=circuit)) / heard
    for_lamp = _or_nan(lambda: (held - float(drop(most, coupler.led))) / most)
    r_attack, r_release = _detector(circuit, attack, release)
    chosen_lamp = _or_nan(lambda: _lamp(parts, supplied, lamp_wanted))
    rows = (
        design_part(parts, "arm", "arm", lit * (10 ** (deepest / 20) - 1), "Ω", "E12"),
        design_part(parts, "lamp resistor", "LED of the coupler", for_lamp if for_lamp > 0 else np.nan, "Ω", "E12"),
        design_part(parts, "side-chain feedback", "side-chain gain", (gain - 1) * parts.ohms("side-chain ground"), "Ω", "E12"),
        design_part(parts, "attack stop", "fastest attack", r_attack, "Ω", "E12"),
        design_part(parts, "release stop", "fastest release", r_release, "Ω", "E12"),
        design_part(parts, "indicator resistor", "indicator", chosen_lamp, "Ω", "E12"),
        design_part(
            parts, "input", "input corner", float(rc.corner_capacitance(lowest, resistance=parts.ohms("bias"))), "F", "E6"
        ),
    )  # fmt: skip
    targets = (
        *_levels(parts, supplied, open_control, most, deepest),
        _threshold(parts, open_control, threshold, optical),
        *_times(parts, open_control, attack, release, optical.dynamics),
        Target(what="indicator current", text_wanted=told(lamp_wanted, "A"), text_got=told(float(supplied.current_direct[1]), "A"),
               reason=f"{parts.name('indicator resistor')} as fitted, usual lamp and supply"),
        Target(what="lower corner of the input", text_wanted=told(lowest, "Hz", 2), text_got=told(optical.frequency_low, "Hz", 2),
               reason=f"{parts.name('input')} as fitted; the guitar's own resistance lowers it a little"),
    )  # fmt: skip
    return OpticalDesign(design_parts=rows, targets=targets)


def _lamp(parts: Parts, supplied: DoubledSupply, wanted: float) -> float:
    low, usual, high = (float(v) for v in np.maximum(np.asarray(supplied.budget.voltage_pin), 0.0))
    found = led.choose_resistor(
        parts.board.record(parts.name("indicator")),
        voltage_supply=(min(low, usual), usual, max(high, usual)),
        current_wanted=wanted,
        stock="E12",
        tolerance=0.05,
    )
    return float(found.recommended.resistance)


def _detector(circuit: compressor.Compressor, attack: float, release: float) -> tuple[float, float]:
    """Return the attack and release resistors that give the detector its times."""
    ohms = np.array([max(circuit.resistance_attack, 100.0), max(circuit.resistance_release, 1000.0)])
    for _ in range(60):
        found = detector_times(dataclasses.replace(circuit, resistance_attack=ohms[0], resistance_release=ohms[1]))
        ratio = np.array([attack, release]) / found
        if np.isnan(ratio).any():
            return float("nan"), float("nan")
        ohms = ohms * np.clip(ratio, 0.2, 5.0) ** 0.7
        if np.max(np.abs(ratio - 1)) < 1e-6:
            break
    return float(ohms[0]), float(ohms[1])


def _levels(
    parts: Parts, supplied: DoubledSupply, circuit: compressor.Compressor, most: float, deepest: float
) -> tuple[Target, ...]:
    amps = float(supplied.current_led[1])
    lit = float(opto.coupler_point(amps, coupler=circuit.coupler).resistance_cell)
    depth = deepest_db(supplied, circuit)
    return (
        Target(what="LED of the coupler, loudest", text_wanted=told(most, "A"), text_got=told(amps, "A"),
               reason=f"{parts.name('lamp resistor')} as fitted, and what the rail leaves with the LED lit"),
        Target(what="deepest reduction", text_wanted=told(deepest, "dB"), text_got=told(depth, "dB"),
               reason=f"at {told(amps, 'A')} the cell falls to {told(lit, 'Ω')}, behind {parts.name('arm')} as fitted"),
    )  # fmt: skip


def _threshold(parts: Parts, circuit: compressor.Compressor, threshold: float, optical: OpticalBuild) -> Target:
    """Return the threshold asked and got, a range where units were drawn."""
    curve = compressor.static_curve(np.linspace(-60.0, 6.0, 133), compressor=circuit)
    down = np.asarray(curve.gain_reduction_db)
    got = float(np.interp(1.0, down, np.asarray(curve.level_in_dbv))) if down.max() > 1 else float("nan")
    features = compressor.curve_features(curve.level_in_dbv, level_out_dbv=curve.level_out_dbv)
    corner = (
        f"; the corner of the two straight lines below, {told(features.threshold_dbv, 'dBV')}, is another reading of the same curve"
        if features.compresses and not np.isnan(features.threshold_dbv)
        else ""
    )
    fitted = f"{parts.name('side-chain feedback')} as fitted"
    text = told(got, "dBV")
    for band in optical.dynamics:
        # A threshold control further up moves the level at which a given reduction is met, and nothing else.
        shift = 20 * np.log10(optical.compressor.gain_sidechain / circuit.gain_sidechain)
        fitted += f" gives {text}; the range is that of parts within their tolerance, coupler {band.text_coupler}"
        text = told_threshold(Spread(*(end + shift for end in band.threshold_1db_dbv)))
    return Target(
        what="threshold, 1 dB down, control fully up",
        text_wanted=told(threshold, "dBV"),
        text_got=text,
        reason=f"{fitted}{corner}",
    )


def _times(
    parts: Parts,
    circuit: compressor.Compressor,
    attack: float,
    release: float,
    dynamics: tuple[DynamicsBand, ...],
) -> tuple[Target, ...]:
    whole = {
        word: "".join(f", {getattr(band, f'text_{word}')} as the controls stand" for band in dynamics)
        for word in ("attack", "release")
    }

    def least(role: str) -> float:
        ohms = parts.board.control(parts.name(role), rotation=[0.0, 1.0]).resistance
        return parts.ohms(f"{role} stop") + float(np.min(ohms))

    fastest = dataclasses.replace(circuit, resistance_attack=least("attack"), resistance_release=least("release"))
    got = detector_times(fastest)
    return tuple(
        Target(what=f"fastest {word} of the detector, 63 %", text_wanted=told(asked, "s"), text_got=told(have, "s"),
               reason=f"{parts.name(f'{word} stop')} and {parts.name('hold')} as fitted; {why}")
        for word, asked, have, why in (
            ("attack", attack, got[0], f"the whole attack is longer{whole['attack']}: the cell must first light up, and the loop overshoots and comes back at the pace of the release"),
            ("release", release, got[1], f"the whole release{whole['release']}{',' if dynamics else ''} ends when the gain is within 2 dB, before the hold capacitor is empty, but not before the cell has darkened"),
        )
    )  # fmt: skip
