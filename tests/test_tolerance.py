"""Bands over a board against closed forms: sums of even laws, and the guide's contributions to a variance."""

from __future__ import annotations

import numpy as np
import pytest

from pedalcalc import circuit, devices, tolerance
from pedalcalc.board import assemble
from pedalcalc.parts import Connection, Part
from tests.circuit_parts import NAN, clip


def resistor(reference, ohms, share, one, two):
    pins = (Connection("1", one), Connection("2", two))
    return Part(reference, "resistor", ohms, "Ω", f"{ohms:g}", -share, share, NAN, NAN, NAN, pins, "")


DIVIDER = assemble(
    [clip(), resistor("R1", 10e3, 0.05, "rail", "half"), resistor("R2", 10e3, 0.01, "half", "ground")], supply=9.0
)
CALLS = {
    "bands": {"board": DIVIDER, "count": 50},
    "blame": {"board": DIVIDER, "reading": "half", "count": 100},
}


def _half(**asked):
    return next(row for row in tolerance.bands(DIVIDER, **asked).rows if row.name == "half")


def test_quantiles_are_those_of_the_sum_of_two_even_laws():
    # V = 9/2 (1 + (t2 - t1)/4) to first order: t1 even within 5 %, t2 within 1 %; their sum is a trapezoid whose upper
    # tail of probability q begins at a + b - sqrt(8 a b q) (elementary).
    row = _half(count=4000, coverage=0.98)
    reach = 0.05 + 0.01 - np.sqrt(8 * 0.05 * 0.01 * 0.01)
    # the ratio R2/(R1 + R2) without the first-order step
    low, high = 9 / (1 + (1 + reach * 5 / 6) / (1 - reach / 6)), 9 / (1 + (1 - reach * 5 / 6) / (1 + reach / 6))
    assert row.reading_low == pytest.approx(low, abs=row.error_ends + 2e-3)
    assert row.reading_high == pytest.approx(high, abs=row.error_ends + 2e-3)


def test_parts_of_one_reel_leave_a_divider_alone():
    same = assemble(
        [clip(), resistor("R1", 10e3, 0.05, "rail", "half"), resistor("R2", 10e3, 0.05, "half", "ground")], supply=9.0
    )
    row = next(row for row in tolerance.bands(same, reels=[("R1", "R2")], count=200).rows if row.name == "half")
    assert row.reading_high - row.reading_low < 1e-9


def test_blame_is_the_guide_s_share():
    # JCGM 100, 5.1: contributions (c_i u_i)², here of equal c and u in the ratio 5 to 1
    shares = {one.reference: one.share_variance for one in tolerance.blame(DIVIDER, reading="half", count=4000)}
    assert shares["R1"] == pytest.approx(25 / 26, abs=0.01)
    assert sum(shares.values()) == pytest.approx(1, abs=1e-3)  # by definition: what no line explains has its own share


def test_what_is_no_reading_is_named():
    with pytest.raises(ValueError, match="reading must be a net"):
        tolerance.blame(DIVIDER, reading="haf")
    with pytest.raises(ValueError, match="coverage must be"):
        tolerance.bands(DIVIDER, coverage=1.0)
    with pytest.raises(ValueError, match="X1 is a connector"):
        tolerance.bands(DIVIDER, reels=[("X1",)])
    with pytest.raises(ValueError, match="R1 is on two of them"):
        tolerance.bands(DIVIDER, reels=[("R1", "R2"), ("R1",)])


def test_too_few_units_bound_no_end():
    """The lowest of n draws is below the quantile q with probability 1 - (1 - q)^n: 97.5 % needs 736 draws at 0.5 %."""
    assert 1 - 0.995**736 > 0.975 > 1 - 0.995**735
    assert np.isinf(_half(count=735).error_ends)
    assert np.isfinite(_half(count=738).error_ends)
    assert np.isinf(_half(count=30, coverage=1 - 1e-12).error_ends)


def test_an_op_amp_s_offset_is_in_the_band():
    """Noise gain 101: the output's spread is 101 offsets, whose third standard deviation is the sheet's 10 mV."""
    pins = ("out", "minus", "plus", "ground", "plus", "other", "other", "rail")
    nets = tuple(Connection(str(k + 1), net) for k, net in enumerate(pins))
    built = assemble(
        [
            clip(), resistor("R1", 1e3, 0.0, "rail", "plus"), resistor("R2", 1e3, 0.0, "plus", "ground"),
            resistor("R3", 1e5, 0.0, "out", "minus"), resistor("R4", 1e3, 0.0, "minus", "plus"),
            Part("IC1", "integrated circuit", NAN, "", "TL072", NAN, NAN, NAN, NAN, NAN, nets, ""),
        ],
        supply=9.0,
    )  # fmt: skip
    chips = devices.drawn(devices.OPAMP_TL072, count=4000, seed=1)
    assert np.abs(chips.voltage_offset_signed).max() <= 10e-3
    seen = circuit.operating_point(built, values={"IC1": chips}).voltages["out"]
    # Through R4 the leg pulls the divider, 500 ohm behind both: the noise gain is (R3 + R4 + 500) / R4.
    assert seen.std() == pytest.approx(101.5 * 10e-3 / 3, rel=0.05)
    np.testing.assert_allclose(seen - 4.5, 101.5 * chips.voltage_offset_signed, rtol=0.05, atol=2e-3)


@pytest.mark.parametrize("count", [100, 760, 2000])
def test_what_bounds_the_end_of_a_band_is_the_binomial_interval(count):
    """scipy.stats' own interval of how many of the draws lie below an end."""
    from scipy.stats import binom

    from pedalcalc.tolerance.bands import CONFIDENCE, band_ends

    drawn = np.arange(count) ** 1.5
    low, high, error = band_ends(drawn[::-1], 0.9)
    wanted = []
    for end, share in ((low, 0.05), (high, 0.95)):
        first, last = (int(at) for at in binom.interval(CONFIDENCE, count, share))
        wanted += [end - drawn[first - 1], drawn[last] - end]
    assert error == pytest.approx(max(wanted), rel=1e-12)
