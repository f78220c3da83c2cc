"""Attack and release of an optical compressor at the ends of its controls, with the band of the cell's own times."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pedalcalc import compressor, sidechain
from pedalcalc._arguments import is_a
from pedalcalc._base import simulate
from pedalcalc._result import Caution, Result, quantity
from pedalcalc.board._core import Board
from pedalcalc.board._optical import NO_COMPRESSION, OpticalBuild
from pedalcalc.board._rows import Parts, told_range

#: Band of a cell's times that nobody has taken, times or divided by (common practice).
TIMES_OF_CLASS = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class OpticalTiming(Result):
    """Attack and release at one setting of both controls, with the band that the cell's own times leave."""

    name: str = quantity("text", "controls")
    resistance_attack: float = quantity("Ω", "attack resistance")
    resistance_release: float = quantity("Ω", "release resistance")
    time_attack_63: float = quantity("s", "detector alone, attack 63 %")
    time_release_63: float = quantity("s", "detector alone, release 63 %")
    text_attack: str = quantity("text", "whole attack")
    text_release: str = quantity("text", "whole release")
    text_cell: str = quantity("text", "cell's own times")
    overshoot_attack_db: float = quantity("dB", "overshoot, attack")
    step: compressor.Response = quantity("record", "step response")
    timing: compressor.AttackRelease = quantity("record", "as timed")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@simulate
def optical_timing(
    board: Board,
    *,
    optical: OpticalBuild,
    roles: Mapping[str, str],
    definition: compressor.TimingDefinition = compressor.SETTLE_2DB,
) -> tuple[OpticalTiming, ...]:
    """Time attack and release at the fastest, the present and the slowest setting of both controls.

    Parameters
    ----------
    board : Board
        The board.
    optical : OpticalBuild
        Its stages, as `optical_compressor` finds them.
    roles : mapping of str to str
        As for `optical_compressor`.
    definition : TimingDefinition, optional
        What attack and release mean; settling within 2 dB either way if not given.

    Returns
    -------
    tuple of OpticalTiming
        Fastest, as they stand, slowest.

    Raises
    ------
    ValueError
        If a role is missing.

    Notes
    -----
    Each setting is run three times: with the cell's own times, and with them at either end of their band: a factor of two
    where nobody has timed it, the fit's where its readings have times.

    References
    ----------
    PRACTICE, settling within 2 dB and the band of an untimed cell; DERIVED, the rest.

    Examples
    --------
    >>> from pedalcalc.board import OPTICAL_ROLES, assemble, doubled_supply, optical_compressor
    >>> build = assemble("notebooks/builds/optical-compressor/parts.csv", supply=9.0)
    >>> stages = optical_compressor(
    ...     build, supplied=doubled_supply(build, roles=OPTICAL_ROLES), roles=OPTICAL_ROLES,
    ...     resistance_generator=10e3, resistance_load=1e6,
    ... )
    >>> [timed.name for timed in optical_timing(build, optical=stages, roles=OPTICAL_ROLES)]
    ['both fast', 'as they stand', 'both slow']
    """
    parts = Parts(is_a("board", board, Board), roles)
    is_a("optical", optical, OpticalBuild)
    is_a("definition", definition, compressor.TimingDefinition)
    ends = {role: _ends(parts, role) for role in ("attack", "release")}
    settings = {
        "both fast": (ends["attack"][0], ends["release"][0]),
        "as they stand": (optical.compressor.resistance_attack, optical.compressor.resistance_release),
        "both slow": (ends["attack"][1], ends["release"][1]),
    }
    own = board.own(parts.name("coupler"))
    known = own is not None and not np.isnan(own.time_factor)
    factor = own.time_factor if own is not None and known else TIMES_OF_CLASS
    found = tuple(_timed(name, optical.compressor, *ohms, factor, known, definition) for name, ohms in settings.items())
    if any(NO_COMPRESSION in one.what for one in optical.cautions):  # that there is nothing to time is told there
        found = tuple(
            dataclasses.replace(one, cautions=(), timing=dataclasses.replace(one.timing, cautions=())) for one in found
        )
    return found


def _ends(parts: Parts, role: str) -> tuple[float, float]:
    ohms = np.asarray(parts.board.control(parts.name(role), rotation=[0.0, 1.0]).resistance)
    stop = parts.ohms(f"{role} stop")
    return stop + float(ohms.min()), stop + float(ohms.max())


def _timed(
    name: str,
    circuit: compressor.Compressor,
    attack: float,
    release: float,
    factor: float,
    known: bool,
    definition: compressor.TimingDefinition,
) -> OpticalTiming:
    built = dataclasses.replace(circuit, resistance_attack=attack, resistance_release=release)
    runs = {share: _step(_slowed(built, share), definition) for share in (1 / factor, 1.0, factor)}
    step, timing = runs[1.0]
    times = [[getattr(run[1], field) for run in runs.values()] for field in ("time_attack", "time_release")]
    detector = detector_times(built)
    return OpticalTiming(
        name=name,
        resistance_attack=attack,
        resistance_release=release,
        time_attack_63=detector[0],
        time_release_63=detector[1],
        text_attack=told_range(min(times[0]), max(times[0]), "s", 2),
        text_release=told_range(min(times[1]), max(times[1]), "s", 2),
        text_cell="as you timed it" if known else "of its class",
        overshoot_attack_db=timing.overshoot_attack_db,
        step=step,
        timing=timing,
        cautions=timing.cautions,
    )


def detector_times(built: compressor.Compressor) -> tuple[float, float]:
    """Return attack and release of the detector alone, 63 %; NaN where the rectifier never conducts.

    The averaged law holds for a tone of many periods in an attack, so it is asked at a tone high enough.
    """
    if built.voltage_rail <= built.voltage_diode:
        return float("nan"), float("nan")
    found = sidechain.detector_timing(
        built.voltage_rail,
        frequency=max(1000.0, 10 / max(built.resistance_attack * built.capacitance_hold, 1e-9)),
        resistance_attack=built.resistance_attack,
        resistance_release=built.resistance_release,
        capacitance_hold=built.capacitance_hold,
        rectifier=built.rectifier,
        voltage_diode=built.voltage_diode,
    )
    return float(found.time_attack_63), float(found.time_release_63)


def _slowed(built: compressor.Compressor, share: float) -> compressor.Compressor:
    cell = built.coupler.cell
    slower = {name: share * getattr(cell, name) for name in ("time_rise_10lx", "time_fall_10lx")}
    return dataclasses.replace(
        built, coupler=dataclasses.replace(built.coupler, cell=dataclasses.replace(cell, **slower))
    )


def _step(
    built: compressor.Compressor, definition: compressor.TimingDefinition
) -> tuple[compressor.Response, compressor.AttackRelease]:
    """Play the definition's step for as long as both parts need to settle."""
    low = definition.level_low_dbv
    high, after = 1.5, 4.0
    for _ in range(5):
        step = compressor.step_response(
            built,
            level_low_dbv=low,
            level_high_dbv=low + definition.level_step_db,
            frequency=definition.frequency,
            time_high=high,
            time_after=after,
        )
        timing = compressor.measure_step(
            step.time,
            level_dbv=step.level_out_dbv,
            time_up=step.time_up,
            time_down=step.time_down,
            definition=definition,
        )
        if timing.settled_attack and timing.settled_release:
            break
        high, after = 2 * high, 2 * after
    return step, timing
