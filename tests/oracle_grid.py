"""Random compressors, in the regions where an engine goes wrong, against their differential equations.

``python -m tests.oracle_grid --count 48 --seed 1`` prints how far envelopes and times of `level_response` lie from
the equations integrated finely (oracle_compressor), region by region; the suite runs a small sample.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np

from pedalcalc.compressor import Compressor, example, gain_for_threshold, measure_step
from pedalcalc.compressor.response import level_response
from pedalcalc.compressor.timing import DEFINITIONS, AttackRelease, envelope
from pedalcalc.devices import (
    COUPLER_GREEN_GAP_GL5528,
    COUPLER_GREEN_GL5528,
    COUPLER_NSL28,
    COUPLER_WHITE_GL5528,
    typical,
)
from tests.oracle_compressor import Run, Track, integrate, tone_steps

COUPLERS = tuple(map(typical, (COUPLER_GREEN_GAP_GL5528, COUPLER_GREEN_GL5528, COUPLER_WHITE_GL5528, COUPLER_NSL28)))
FAST = COUPLERS[1:]
PLACEMENTS = ("shunt", "feedback", "series")


@dataclass(frozen=True)
class Region:
    """Where random circuits are drawn, and how finely and for how long they are integrated."""

    name: str
    rate: int  # evaluations of the equations a second
    high: float  # seconds at the high level
    after: float  # seconds after it
    before: float = 0.2  # seconds at the low level; a step of the oracle, and at no zero of a tone


REGIONS = {
    region.name: region
    for region in (
        Region("fast loop, direct", 3_072_000, 0.08, 0.12, 0.02),
        Region("fast loop, held", 1_536_000, 0.12, 0.12, 0.02),
        Region("LED on the capacitor, small product", 3_072_000, 0.08, 0.12, 0.02),
        Region("half wave with a drop", 384_000, 0.25, 0.3),
        Region("leakage", 384_000, 0.25, 0.3),
        Region("55 Hz", 384_000, 0.3, 0.4),
        Region("clipped side-chain", 384_000, 0.25, 0.3),
        Region("anything", 384_000, 0.4, 0.6),
    )
}


@dataclass(frozen=True)
class Setting:
    """One random circuit and the step that it meets."""

    compressor: Compressor
    frequency: float
    level_low_dbv: float
    level_high_dbv: float
    label: str = ""


def draw(region: str, random: np.random.Generator) -> Setting:
    """Draw one circuit of a region."""

    def between(low, high):
        return float(np.exp(random.uniform(np.log(low), np.log(high))))

    placement = str(random.choice(PLACEMENTS[:2] if region.startswith("fast") else PLACEMENTS))
    sense = "after" if region.startswith("fast") else str(random.choice(["after", "before"]))
    drive = str(random.choice(["direct", "capacitor", "buffered"]))
    full = str(random.choice(["full", "half"]))
    attack, release, hold = between(1e-3, 3e-2), between(3e-2, 0.5), between(1e-7, 4.7e-6)
    frequency = float(random.choice([82.41, 110.0, 196.0, 329.6, 997.0, 1993.0]))
    led, drop, leakage, rail = between(470, 22e3), 0.0, 0.0, 7.0
    coupler = COUPLERS[random.integers(len(COUPLERS))]
    step = float(random.uniform(8, 25))
    if region.startswith("fast"):
        drive = "direct" if "direct" in region else str(random.choice(["buffered", "capacitor"]))
        coupler, led = FAST[random.integers(len(FAST))], between(330, 2.2e3)
        attack, hold = between(1e-5, 3e-4), between(1e-7, 1e-6)
        frequency = float(random.choice([196.0, 329.6, 997.0, 1993.0]))
    elif region.startswith("LED on"):
        drive, led, hold = "capacitor", between(220, 2.2e3), between(1e-8, 3e-7)
        attack, release = between(1e-5, 1e-3), between(1e-2, 0.2)
        frequency = float(random.choice([329.6, 997.0, 1993.0]))
    elif region.startswith("half"):
        full, drop, drive = "half", float(random.uniform(0.2, 0.7)), str(random.choice(["buffered", "capacitor"]))
    elif region == "leakage":
        leakage, drive = between(3e-7, 1e-5), "buffered"
    elif region == "55 Hz":
        frequency, release = 55.0, between(2e-2, 0.2)
    elif region.startswith("clipped"):
        rail, step = float(random.uniform(2.4, 4.5)), float(random.uniform(15, 30))
    circuit = replace(
        example(),
        placement=placement,
        sense=sense,
        drive=drive,
        rectifier=full,
        coupler=coupler,
        resistance_input=between(10e3, 220e3) if placement != "series" else between(1e3, 4.7e3),
        resistance_output=between(47e3, 1e6) if placement != "series" else between(10e3, 100e3),
        gain_makeup=float(random.uniform(1, 5)),
        resistance_led=led,
        voltage_diode=drop,
        current_leakage=leakage,
        voltage_rail=rail,
        capacitance_hold=hold,
        resistance_attack=attack / hold,
        resistance_release=release / hold,
    )
    low = float(random.uniform(-40, -28))
    high = low + step
    threshold = float(random.uniform(low + 0.1 * step, high - 0.4 * step))
    try:
        gain = gain_for_threshold(threshold, compressor=circuit, reduction_db=1.0) if placement != "series" else 8.0
    except ValueError:  # its side-chain never reaches so much: take what lights its LED
        gain = between(5, 100)
    return Setting(replace(circuit, gain_sidechain=gain), frequency, low, high)


@dataclass(frozen=True)
class Comparison:
    """Engine against oracle at one setting."""

    setting: Setting
    rms_db: float
    worst_db: float
    engine: list[AttackRelease]
    oracle: list[AttackRelease]


def stepped(region: Region, settings: list[Setting]) -> Run:
    """Return what the oracle shall integrate: an up-and-down step, from rest and phase 0."""
    before = region.before
    down, end = before + region.high, before + region.high + region.after
    tones = np.array([s.frequency for s in settings])
    low, high = (
        np.sqrt(2) * 10 ** (np.array([getattr(s, n) for s in settings]) / 20)
        for n in ("level_low_dbv", "level_high_dbv")
    )
    signal = tone_steps(
        frequency=tones, amplitude_low=low, amplitude_high=high, time_up=before - 1e-9, time_down=down - 1e-9
    )
    return Run([s.compressor for s in settings], signal, end, region.rate, keep=region.rate // 48_000)


def compare(region: Region, settings: list[Setting], track: Track) -> list[Comparison]:
    """Run the engine over the same steps, and compare with what the oracle found."""
    before = region.before
    down, end = before + region.high, before + region.high + region.after
    found = []
    for k, s in enumerate(settings):
        response = level_response(
            s.compressor,
            time=[0.0, before, down],
            level_in_dbv=[s.level_low_dbv, s.level_high_dbv, s.level_low_dbv],
            duration=end - 1e-3,
            frequency=s.frequency,
        )
        exact = envelope(track.signal[k], sample_rate=48_000.0, frequency=s.frequency)
        times = exact.time + track.time[0]
        shared = times <= response.time[-1]  # what has not settled is measured at the end of the record
        times, level_exact = times[shared], exact.level_dbv[shared]
        time = response.time[(response.time >= times[0]) & (response.time <= times[-1])]
        level = np.interp(time, response.time, response.level_out_dbv)
        error = level - np.interp(time, times, level_exact)
        far = np.all([np.abs(time - edge) > 0.5 / s.frequency for edge in (before, down)], axis=0)
        weight = np.gradient(time) * far
        measured = []
        for definition in DEFINITIONS:
            asked = replace(
                definition,
                frequency=s.frequency,
                level_low_dbv=s.level_low_dbv,
                level_step_db=s.level_high_dbv - s.level_low_dbv,
            )
            measured.append(
                tuple(
                    measure_step(t, level_dbv=v, time_up=before, time_down=down, definition=asked)
                    for t, v in ((response.time, response.level_out_dbv), (times, level_exact))
                )
            )
        found.append(
            Comparison(
                s,
                float(np.sqrt(np.sum(error**2 * weight) / np.sum(weight))),
                float(np.max(np.abs(error[far]))),
                [m[0] for m in measured],
                [m[1] for m in measured],
            )
        )
    return found


def missed(comparison: Comparison) -> list[str]:
    """Return what lies outside: 2 % or 0.5 ms for a time, 0.1 dB for an overshoot.

    Times are not scored where the overshoot lies within 0.2 dB of the edge of the band: either side may be right.
    """
    out = []
    for engine, oracle in zip(comparison.engine, comparison.oracle, strict=True):
        for leg in ("attack", "release"):
            near = abs(getattr(oracle, f"overshoot_{leg}_db") - getattr(oracle, f"band_{leg}_db")) < 0.2
            if abs(getattr(engine, f"overshoot_{leg}_db") - getattr(oracle, f"overshoot_{leg}_db")) > 0.1:
                out.append(
                    f"{oracle.name}: overshoot {leg} {getattr(engine, f'overshoot_{leg}_db'):.3f} dB, "
                    f"oracle {getattr(oracle, f'overshoot_{leg}_db'):.3f}"
                )
            for which in ("", "_first"):
                got, exact = (getattr(r, f"time_{leg}{which}") for r in (engine, oracle))
                if not near and abs(got - exact) > max(0.02 * exact, 0.5e-3):
                    out.append(f"{oracle.name}: {leg}{which} {got * 1e3:.2f} ms, oracle {exact * 1e3:.2f}")
    return out


def main() -> None:
    """Print the distribution of errors, region by region."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=24, help="circuits in each region")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--region", choices=list(REGIONS), action="append")
    parser.add_argument("--list", action="store_true", help="list what is outside")
    asked = parser.parse_args()
    for name in asked.region or REGIONS:
        random = np.random.default_rng([asked.seed, list(REGIONS).index(name)])
        settings = [draw(name, random) for _ in range(asked.count)]
        done = compare(REGIONS[name], settings, *integrate(stepped(REGIONS[name], settings)))
        rms = np.sort([c.rms_db for c in done])
        times = [len(missed(c)) for c in done]
        print(
            f"{name}: rms dB median {np.median(rms):.4f}, 90 % {np.quantile(rms, 0.9):.4f}, worst {rms[-1]:.4f}; "
            f"single points worst {max(c.worst_db for c in done):.3f} dB; "
            f"{sum(times)} of {len(done) * len(DEFINITIONS) * 6} figures outside, in {np.count_nonzero(times)} circuits",
            flush=True,
        )
        if asked.list:
            for c in done:
                if c.rms_db > 0.02 or missed(c):
                    x, out = c.setting.compressor, missed(c)
                    print(
                        f"   rms {c.rms_db:.4f} worst {c.worst_db:.3f} | {x.placement} {x.sense} {x.drive} {x.rectifier} "
                        f"{x.coupler.name[-34:]} {c.setting.frequency:g} Hz led {x.resistance_led:.3g} "
                        f"RaC {x.resistance_attack * x.capacitance_hold:.2g} C {x.capacitance_hold:.2g}: {len(out)} {out[:2]}"
                    )


if __name__ == "__main__":
    main()
