"""The listening panel: what can be heard is what the sliders show, at the levels it says."""

from __future__ import annotations

import base64
import dataclasses
import io
import re

import numpy as np
import pytest
from scipy.io import wavfile

from pedalcalc import compressor, devices, explore
from pedalcalc.compressor import playing
from pedalcalc.compressor.playing import sketch
from tests.test_explore import COMPRESSOR, shot, told


def heard(panel):
    """Return the samples in the player as fractions of full scale, their rate, and the words beside it."""
    found = re.search(r"<strong>(.*?)</strong>.*base64,([^\"]*)\"", panel.player.value)
    rate, coded = wavfile.read(io.BytesIO(base64.b64decode(found[2])))
    return coded / 32767.0, rate, found[1]


def rms(signal):
    return np.sqrt(np.mean(np.square(signal)))


def notes(volts):
    signal = compressor.plucked_string(
        [110.0, 164.8, 220.0], time_start=[0.05, 0.6, 1.15], voltage_peak=1.0, duration=2.0, sample_rate=48_000
    )
    return volts * signal / np.max(np.abs(signal))


@pytest.fixture
def take(tmp_path):
    """A recording of one's own: 12 s of a tone that swells, in 16 bits at 44.1 kHz."""
    time = np.arange(12 * 44_100) / 44_100
    tone = 0.5 * np.sin(2 * np.pi * 196 * time) * time / 12
    wavfile.write(tmp_path / "my take.wav", 44_100, np.round(32767 * tone).astype(np.int16))
    return tmp_path / "my take.wav", tone


def test_what_is_heard_is_what_the_sliders_say():
    panel = explore.listening(COMPRESSOR, level_full_scale_dbv=-11.0)
    panel.sliders["resistance_attack"].index += 4
    built = dataclasses.replace(COMPRESSOR, resistance_attack=panel.sliders["resistance_attack"].value)
    before = notes(np.sqrt(2) * 10 ** (-11 / 20))
    after = compressor.render(before, sample_rate=48_000, compressor=built)
    scale = 0.25 / max(np.max(np.abs(before)), np.max(np.abs(after.signal)))
    for words, wanted in (("as played", before), ("through the compressor", after.signal)):
        panel.play_buttons[words].click()
        got, rate, label = heard(panel)
        assert (rate, label) == (48_000, words)
        np.testing.assert_allclose(got, scale * wanted, atol=1 / 32767)
    low, high = after.gain_db.min(), after.gain_db.max()
    assert f"gain {high:.1f} dB to {low:.1f} dB" in told(panel)
    level = 20 * np.log10(rms(before))
    assert f"average level {level:.1f} dBV as played".replace("-", "\N{MINUS SIGN}") in told(panel)


@pytest.mark.parametrize(
    "parts",
    [
        {},
        {"resistance_attack": 100.0, "resistance_release": 82e3, "capacitance_hold": 100e-9, "gain_sidechain": 200.0},
        {"resistance_attack": 100.0, "gain_sidechain": 100.0, "coupler": devices.typical(devices.COUPLER_STEEP)},
        {"rectifier": "half", "resistance_attack": 1e3, "coupler": devices.typical(devices.COUPLER_NSL28)},
        {"drive": "direct"},
    ],
)
def test_the_picture_shows_the_sound_that_is_played(parts, monkeypatch):
    """The quick pass for the picture against the full rendering for the ear, in the words and block by block."""
    built = dataclasses.replace(COMPRESSOR, **parts)
    signal = notes(1.0)
    drawn = sketch(signal, sample_rate=48_000, compressor=built)
    played = compressor.render(signal, sample_rate=48_000, compressor=built)
    for number in (np.min, np.max):
        assert number(drawn.gain_db) == pytest.approx(number(played.gain_db), abs=0.06)
    assert 20 * np.log10(rms(drawn.signal) / rms(played.signal)) == pytest.approx(0.0, abs=0.06)
    apart = np.abs(drawn.gain_db - played.gain_db)
    assert np.median(apart) < 0.02 and np.mean(apart > 0.3) < 0.002
    monkeypatch.setattr(playing, "BLOCKS_MOST", signal.size / 6)  # as for ten seconds of one's own
    coarse = sketch(signal, sample_rate=48_000, compressor=built)
    assert coarse.gain_db.min() == pytest.approx(played.gain_db.min(), abs=0.35)
    assert 20 * np.log10(rms(coarse.signal) / rms(played.signal)) == pytest.approx(0.0, abs=0.15)


def test_a_sound_that_is_played_tells_its_own_figures(monkeypatch):
    """A sketch of too few blocks says another gain; once played, the words are those of the whole rendering."""
    monkeypatch.setattr(playing, "BLOCKS_MOST", 400)
    panel = explore.listening(COMPRESSOR)
    sketched, picture = told(panel), panel.image.value
    panel.play("through the compressor")
    source = panel.sliders["source"].value
    volts = np.sqrt(2) * 10 ** (panel.sliders["level_full_scale_dbv"].value / 20) * source.signal
    whole = compressor.render(volts, sample_rate=source.sample_rate, compressor=panel.circuit())
    words = f"gain {whole.gain_db.max():.1f} dB to {whole.gain_db.min():.1f} dB".replace("-", "\N{MINUS SIGN}")
    assert words in told(panel) and words not in sketched
    assert panel.image.value != picture and "<audio" in panel.player.value


def test_same_loudness_is_the_same_average_level():
    panel = explore.listening(COMPRESSOR)
    panel.play("as played")
    quiet, *_ = heard(panel)
    panel.play("through the compressor")
    loud, *_ = heard(panel)
    assert rms(loud) > 1.3 * rms(quiet)
    panel.same_loudness.value = True  # plays again what was playing
    matched, _, words = heard(panel)
    panel.play("as played")
    assert rms(matched) == pytest.approx(rms(heard(panel)[0]), rel=1e-3)
    told = float(re.search(r"([+\N{MINUS SIGN}][\d.]+) dB", words)[1].replace("\N{MINUS SIGN}", "-"))
    assert told == pytest.approx(20 * np.log10(rms(quiet) / rms(loud)), abs=0.06)
    assert np.max(np.abs(matched)) <= 0.2501


def test_a_move_empties_the_player_and_the_caution_stays():
    panel = explore.listening(COMPRESSOR)
    assert "<audio" not in panel.player.value and "volume right down" in panel.player.value
    panel.play("as played")
    assert "<audio" in panel.player.value and "volume right down" in panel.player.value
    panel.sliders["gain_sidechain"].index += 1
    assert "<audio" not in panel.player.value and "volume right down" in panel.player.value
    panel.same_loudness.value = True
    assert "<audio" not in panel.player.value, "nothing plays unasked"


def test_a_file_of_ones_own(take):
    path, tone = take
    panel = explore.listening(COMPRESSOR, path=path, level_full_scale_dbv=6.0)
    assert panel.sliders["source"].label == "my take.wav, first 10 s"
    assert [label for label, _ in panel.sliders["source"].options][:2] == ["three plucked notes", "a strummed chord"]
    panel.play("as played")
    got, rate, _ = heard(panel)
    first = tone[: 10 * 44_100]
    assert rate == 44_100 and got.size == first.size
    np.testing.assert_allclose(got / np.max(np.abs(got)), first / np.max(np.abs(first)), atol=3e-3)
    # A sine that fills the file is at 6 dBV, so the rms of this one follows from its fractions.
    level = 20 * np.log10(rms(first)) + 6.0 + 20 * np.log10(np.sqrt(2))
    assert f"average level {level:.1f} dBV as played".replace("-", "\N{MINUS SIGN}") in told(panel)


def test_files_that_cannot_be_heard(tmp_path, take):
    with pytest.raises(FileNotFoundError, match="no file"):
        explore.listening(COMPRESSOR, path=tmp_path / "none.wav")
    wavfile.write(tmp_path / "slow.wav", 8_000, np.zeros(8_000, np.int16))
    with pytest.raises(ValueError, match="at least 16 kHz"):
        explore.listening(COMPRESSOR, path=tmp_path / "slow.wav")
    both = np.zeros((32_000, 2), np.int16)
    both[:, 1] = 1000
    wavfile.write(tmp_path / "stereo.wav", 32_000, both)
    with pytest.raises(ValueError, match="2 channels"):
        explore.listening(COMPRESSOR, path=tmp_path / "stereo.wav")
    silent = explore.listening(COMPRESSOR, path=tmp_path / "stereo.wav", channel=0)
    assert "hardly any sound in the file" in told(silent) and "silence as played" in told(silent)
    assert re.search(r"gain [\d.]+ dB throughout, no compression to hear;", told(silent))
    silent.same_loudness.value = True
    silent.play("through the compressor")
    assert np.all(heard(silent)[0] == 0)
    with pytest.raises(ValueError, match="level_full_scale_dbv"):
        explore.listening(COMPRESSOR, level_full_scale_dbv=60.0)
    with pytest.raises(TypeError, match="Panel"):
        explore.listening(COMPRESSOR, follows=COMPRESSOR)


def test_it_follows_the_panel_it_is_told_to():
    step = explore.step_response(COMPRESSOR)
    panel = explore.listening(COMPRESSOR, follows=step)
    panel.play("through the compressor")
    first = shot(panel)
    step.readouts["resistance_attack"].value = "5k1"
    assert panel.sliders["resistance_attack"].value == 5100.0 and "attack resistance 5.10 kΩ" in told(panel)
    assert "press play" in told(panel) and "<audio" not in panel.player.value
    waiting = shot(panel)
    assert waiting != first
    panel.play("through the compressor")
    assert "press play" not in told(panel) and shot(panel) != waiting
    alone = explore.listening(dataclasses.replace(COMPRESSOR, resistance_attack=5100.0))
    alone.play("through the compressor")
    np.testing.assert_array_equal(heard(panel)[0], heard(alone)[0])
    step.restart()
    panel.play("as played")
    assert shot(panel) == first
    # One that is made later starts where the other stands.
    step.sliders["capacitance_hold"].index += 2
    later = explore.listening(COMPRESSOR, follows=step)
    assert later.sliders["capacitance_hold"].value == step.sliders["capacitance_hold"].value
    assert "press play" not in told(later)
    # What it does not share stays its own.
    assert later.sliders["source"].label == "three plucked notes"
