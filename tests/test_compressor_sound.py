"""Sound files in and out, the plucked string, and a pedal measured through a recording of it."""

from __future__ import annotations

import struct
import tracemalloc
import wave
from dataclasses import replace

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import resample_poly

from pedalcalc.compressor import example, render
from pedalcalc.compressor.bursts import bursts, measure_recording, write_bursts
from pedalcalc.compressor.pluck import plucked_string
from pedalcalc.compressor.sound import BLOCK, read_wav, render_file, write_wav
from pedalcalc.compressor.timing import IEC_60118_2_STYLE, PART_63, SETTLE_2DB, envelope, measure_step
from pedalcalc.compressor.wav import BLOCK as PIECE
from pedalcalc.compressor.wav import CLIPPED_RUN

RATE = 48000


def _tone(seconds=0.1, peak=0.5, rate=RATE):
    return peak * np.sin(2 * np.pi * 440 * np.arange(round(seconds * rate)) / rate)


# ------------------------------------------------------------ reading


@pytest.mark.parametrize(
    ("width", "coded", "error"),
    [
        (1, lambda x: np.round(x * 128 + 128).astype(np.uint8), 1 / 128),
        (2, lambda x: np.round(x * 2**15).astype("<i2"), 1 / 2**15),
        (3, lambda x: np.round(x * 2**23).astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3], 1 / 2**23),
        (4, lambda x: np.round(x * 2**31).astype("<i4"), 1 / 2**31),
    ],
)
def test_every_width_of_pcm_is_read_as_fractions_of_full_scale(tmp_path, width, coded, error):
    """Files written byte by byte with the standard library's wave module."""
    signal, path = _tone(), tmp_path / "tone.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(width)
        file.setframerate(44100)
        file.writeframes(coded(signal).tobytes())
    recording = read_wav(path)
    np.testing.assert_allclose(recording.signal, signal, atol=error)
    assert recording.sample_rate == 44100 and recording.duration == pytest.approx(signal.size / 44100)
    assert recording.voltage_peak == pytest.approx(0.5, abs=0.005)
    assert not recording.clipped and recording.cautions == ()


def test_eight_bits_have_their_scale_at_128(tmp_path):
    """MICROSOFT and IBM, Multimedia Programming Interface 1.0: 8 bits run from 0 to 255 about 128, so 0 is -1."""
    wavfile.write(tmp_path / "steps.wav", RATE, np.array([0, 64, 128, 192, 255], np.uint8))
    np.testing.assert_array_equal(read_wav(tmp_path / "steps.wav").signal, [-1, -0.5, 0, 0.5, 127 / 128])


@pytest.mark.parametrize("width", [2, 3])
@pytest.mark.parametrize("extensible", [False, True])
def test_chunks_ahead_of_the_samples_are_passed_over(tmp_path, width, extensible):
    """One of an odd size has a byte more than it says (Multimedia Programming Interface 1.0); written byte by byte."""
    values = np.array([-1, 0.5, 0.25, 0, 1 - 2.0 ** (1 - 8 * width)])
    coded = [int(one * 2 ** (8 * width - 1)).to_bytes(width, "little", signed=True) for one in values]
    layout = struct.pack("<HHIIHH", 0xFFFE if extensible else 1, 1, RATE, RATE * width, width, 8 * width)
    if extensible:
        layout += struct.pack("<HHI", 22, 8 * width, 4) + bytes.fromhex("0100000000001000800000aa00389b71")
    chunks = [(b"fmt ", layout), (b"note", b"abc"), (b"none", b""), (b"data", b"".join(coded)), (b"LIST", b"abcde")]
    body = b"".join(name + struct.pack("<I", len(one)) + one + bytes(len(one) % 2) for name, one in chunks)
    (tmp_path / "chunks.wav").write_bytes(b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body)
    np.testing.assert_array_equal(read_wav(tmp_path / "chunks.wav").signal, values)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_float_files_are_read_as_they_are(tmp_path, kind):
    wavfile.write(tmp_path / "tone.wav", RATE, _tone().astype(kind))
    np.testing.assert_allclose(read_wav(tmp_path / "tone.wav").signal, _tone(), atol=1e-7)


def test_several_channels_must_be_chosen_from(tmp_path):
    path = tmp_path / "stereo.wav"
    wavfile.write(path, RATE, np.stack([_tone(peak=0.5), _tone(peak=0.25)], axis=1).astype(np.float32))
    with pytest.raises(ValueError, match=r"2 channels: choose channel 0"):
        read_wav(path)
    assert read_wav(path, channel=1).voltage_peak == pytest.approx(0.25, rel=1e-3)
    with pytest.raises(ValueError, match="channel must be below 2"):
        read_wav(path, channel=2)
    with pytest.raises(ValueError, match="channel must be one whole number"):
        read_wav(path, channel=0.5)


def test_clipping_and_silence_are_pointed_out(tmp_path):
    wavfile.write(tmp_path / "hot.wav", RATE, np.round(np.clip(_tone(peak=1.5), -1, 1) * 32767).astype(np.int16))
    hot = read_wav(tmp_path / "hot.wav")
    assert hot.clipped and [caution.what for caution in hot.cautions] == ["recording is clipped"]
    full = np.round(_tone(peak=1.0) * 32767).astype(np.int16)
    wavfile.write(tmp_path / "full.wav", RATE, full)
    assert read_wav(tmp_path / "full.wav").voltage_peak == pytest.approx(1.0, abs=1e-3)
    wavfile.write(tmp_path / "silent.wav", RATE, np.zeros(100, np.int16))
    silent = read_wav(tmp_path / "silent.wav")
    assert not silent.clipped and "hardly any sound" in silent.cautions[0].what


def test_a_clip_is_found_where_two_blocks_of_reading_meet(tmp_path):
    for first in range(PIECE - CLIPPED_RUN, PIECE + 1):
        samples = np.zeros(2 * PIECE, np.float32)
        samples[first : first + CLIPPED_RUN] = 1.0
        wavfile.write(tmp_path / "clip.wav", RATE, samples)
        assert read_wav(tmp_path / "clip.wav").clipped, first
        samples[first + CLIPPED_RUN - 1] = 0.0
        wavfile.write(tmp_path / "clip.wav", RATE, samples)
        assert not read_wav(tmp_path / "clip.wav").clipped, first
    samples[:] = 0.0
    samples[-CLIPPED_RUN:] = -1.0
    wavfile.write(tmp_path / "clip.wav", RATE, samples[-PIECE - CLIPPED_RUN :])
    assert read_wav(tmp_path / "clip.wav").clipped


def test_a_full_scale_sine_of_a_guitar_note_is_not_called_clipped(tmp_path):
    """A rounded top is round; a flat one is flat."""
    top = 0.98 * np.sin(2 * np.pi * 82 * np.arange(4800) / RATE)
    wavfile.write(tmp_path / "loud.wav", RATE, np.round(top * 32767).astype(np.int16))
    assert not read_wav(tmp_path / "loud.wav").clipped


def test_files_that_are_no_use_are_refused(tmp_path):
    with pytest.raises(FileNotFoundError, match="no file"):
        read_wav(tmp_path / "nothing.wav")
    with pytest.raises(FileNotFoundError, match="no file"):
        read_wav(tmp_path)
    wavfile.write(tmp_path / "whole.wav", RATE, _tone().astype(np.float32))
    whole = (tmp_path / "whole.wav").read_bytes()
    with wave.open(str(tmp_path / "fine.wav"), "wb") as fine:
        fine.setnchannels(1)
        fine.setsampwidth(3)
        fine.setframerate(RATE)
        fine.writeframes(bytes(3000))
    assert read_wav(tmp_path / "fine.wav").signal.size == 1000
    broken = {
        "24 bits, cut": (tmp_path / "fine.wav").read_bytes()[:-100],
        "text": b"not a sound",
        "another format": b"ID3" + bytes(100),
        "cut": whole[:-1001],
        "cut in its head": whole[:30],
        "law of telephones": whole[:20] + b"\x06\x00" + whole[22:],
        "no channel": whole[:22] + b"\x00\x00" + whole[24:],
        "no samples": whole.replace(b"data", b"junk"),
    }
    for name, content in broken.items():
        (tmp_path / f"{name}.wav").write_bytes(content)
        with pytest.raises(
            ValueError, match=r"not a complete WAV file .*: copy it again whole, or export it as WAV with"
        ):
            read_wav(tmp_path / f"{name}.wav")
    wavfile.write(tmp_path / "slow.wav", 4000, _tone().astype(np.float32))
    with pytest.raises(ValueError, match=r"sample rate of .* must be 8000 to 384000 Hz, got 4000"):
        read_wav(tmp_path / "slow.wav")
    wavfile.write(tmp_path / "hole.wav", RATE, np.array([0.0, np.nan], np.float32))
    with pytest.raises(ValueError, match="no finite numbers"):
        read_wav(tmp_path / "hole.wav")
    wavfile.write(tmp_path / "empty.wav", RATE, np.zeros(0, np.int16))
    with pytest.raises(ValueError, match="no samples"):
        read_wav(tmp_path / "empty.wav")


# ------------------------------------------------------------ writing


def test_what_is_written_is_read_back(tmp_path):
    path = tmp_path / "tone.wav"
    write_wav(path, signal=_tone(peak=1.9), sample_rate=44100, voltage_full_scale=2.0)
    recording = read_wav(path)
    np.testing.assert_allclose(recording.signal * 2.0, _tone(peak=1.9), atol=2.0 / 32768)
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 44100)


def test_nothing_is_overwritten_unasked_and_nothing_left_half_written(tmp_path, monkeypatch):
    path = tmp_path / "tone.wav"
    good = {"signal": _tone(), "sample_rate": RATE, "voltage_full_scale": 1.0}
    write_wav(path, **good)
    before = path.read_bytes()
    with pytest.raises(FileExistsError, match="exists"):
        write_wav(path, **(good | {"signal": _tone(peak=0.1)}))
    assert path.read_bytes() == before

    def breaks(*_):
        raise OSError("disk full")

    monkeypatch.setattr(wavfile, "write", breaks)
    with pytest.raises(OSError, match="disk full"):
        write_wav(path, **good, replace=True)
    assert path.read_bytes() == before and list(tmp_path.iterdir()) == [path]
    monkeypatch.undo()
    write_wav(path, **(good | {"signal": _tone(peak=0.1)}), replace=True)
    assert path.read_bytes() != before and list(tmp_path.iterdir()) == [path]


def test_writing_refusals(tmp_path):
    good = {"signal": _tone(), "sample_rate": RATE, "voltage_full_scale": 1.0}
    for changed, words in [
        ({"signal": _tone(peak=1.01)}, "signal must be within full scale"),
        ({"signal": np.array([0.0, np.nan])}, "signal"),
        ({"signal": np.zeros((2, 10))}, "signal must be one row"),
        ({"signal": np.zeros(0)}, "signal"),
        ({"sample_rate": 44100.5}, "sample_rate must be one whole number"),
        ({"sample_rate": 100.0}, "sample_rate"),
        ({"voltage_full_scale": 0.0}, "voltage_full_scale"),
        ({"voltage_full_scale": np.nan}, "voltage_full_scale"),
    ]:
        with pytest.raises(ValueError, match=words):
            write_wav(tmp_path / "tone.wav", **(good | changed))
    assert not list(tmp_path.iterdir())


# ------------------------------------------------------------ plucked string


def test_plucked_string_has_its_pitch_its_peak_and_dies_away():
    note = plucked_string(110.0, time_start=0.0, voltage_peak=0.2, duration=4.0, sample_rate=RATE)
    assert np.max(np.abs(note)) == pytest.approx(0.2)
    spectrum = np.abs(np.fft.rfft(note * np.hanning(note.size)))
    lines = np.fft.rfftfreq(note.size, 1 / RATE)
    fundamental = (lines > 90) & (lines < 130)
    assert lines[fundamental][np.argmax(spectrum[fundamental])] == pytest.approx(110, abs=0.3)
    third = (lines > 320) & (lines < 340)
    assert lines[third][np.argmax(spectrum[third])] == pytest.approx(330 * np.sqrt(1 + 9 * 7e-5), abs=0.3)
    loudness = [np.sqrt(np.mean(note[k * RATE : (k + 1) * RATE] ** 2)) for k in range(4)]
    assert loudness[0] > loudness[1] > loudness[2] > loudness[3] > 0


def test_plucked_string_is_the_same_every_time_at_any_rate():
    how = {"time_start": [0.0, 0.3], "voltage_peak": [0.1, 0.3], "duration": 0.8}
    first = plucked_string([82.4, 220.0], sample_rate=RATE, **how)
    np.testing.assert_array_equal(first, plucked_string([82.4, 220.0], sample_rate=RATE, **how))
    fine = plucked_string([82.4, 220.0], sample_rate=4 * RATE, **how)
    np.testing.assert_allclose(fine[::4], first, rtol=0, atol=0.02 * 0.3)  # the peak of each is a sample's
    alone = plucked_string(82.4, time_start=0.0, voltage_peak=0.1, duration=0.8, sample_rate=RATE)
    np.testing.assert_array_equal(first[: int(0.3 * RATE)], alone[: int(0.3 * RATE)])


def test_plucked_string_refusals():
    good = {"frequency": 110.0, "time_start": 0.0, "voltage_peak": 0.1, "duration": 1.0, "sample_rate": RATE}
    for changed, words in [
        ({"frequency": 0.46 * RATE}, "frequency"),
        ({"frequency": np.nan}, "frequency"),
        ({"time_start": 1.0}, "time_start"),
        ({"duration": 0.0}, "duration"),
        ({"sample_rate": 0.0}, "sample_rate"),
    ]:
        with pytest.raises(ValueError, match=words):
            plucked_string(**(good | changed))
    assert np.all(plucked_string(**(good | {"voltage_peak": 0.0})) == 0)


# ------------------------------------------------------------ a file through the compressor


def test_render_file_is_render_of_its_samples(tmp_path):
    note = plucked_string(82.4, time_start=0.0, voltage_peak=0.9, duration=1.0, sample_rate=RATE)
    write_wav(tmp_path / "in.wav", signal=note, sample_rate=RATE, voltage_full_scale=1.0)
    calls: list[float] = []
    done = render_file(
        tmp_path / "in.wav",
        path_out=tmp_path / "out.wav",
        compressor=example(),
        voltage_full_scale=0.5,
        progress=calls.append,
    )
    expected = render(read_wav(tmp_path / "in.wav").signal * 0.5, sample_rate=RATE, compressor=example())
    back = read_wav(tmp_path / "out.wav")
    np.testing.assert_allclose(
        back.signal * done.voltage_full_scale, expected.signal, atol=done.voltage_full_scale / 32768
    )
    assert done.gain_min_db == pytest.approx(expected.gain_db.min()) and calls[-1] == 1.0
    with pytest.raises(FileExistsError, match="exists"):
        render_file(tmp_path / "in.wav", path_out=tmp_path / "out.wav", compressor=example(), voltage_full_scale=0.5)


@pytest.mark.parametrize("scale", [1e-60, 1e60])
def test_render_file_writes_a_file_of_any_scale(tmp_path, scale):
    # far below the coupler's threshold and far above: neither is lost in, nor too much for, the 32 bits between
    write_wav(tmp_path / "in.wav", signal=_tone(peak=0.5), sample_rate=RATE, voltage_full_scale=1.0)
    done = render_file(
        tmp_path / "in.wav", path_out=tmp_path / "out.wav", compressor=example(), voltage_full_scale=scale
    )
    assert np.isfinite(done.gain_min_db)
    assert read_wav(tmp_path / "out.wav").voltage_peak > 1e-3


def test_render_file_keeps_the_scale_unless_the_output_would_clip(tmp_path):
    lamp = replace(example().coupler.led, current_max=1e-4)
    weak = replace(example(), coupler=replace(example().coupler, led=lamp))  # told of once, by the loud tone alone
    for peak, kept in [(0.01, True), (0.9, False)]:
        write_wav(tmp_path / "in.wav", signal=_tone(peak=peak), sample_rate=RATE, voltage_full_scale=1.0, replace=True)
        done = render_file(
            tmp_path / "in.wav",
            path_out=tmp_path / "out.wav",
            compressor=weak,
            voltage_full_scale=1.0,
            replace=True,
        )
        assert any("LED current in the coupler" in one.what for one in done.cautions) is not kept
        assert (done.voltage_full_scale == 1.0) is kept
        assert read_wav(tmp_path / "out.wav").voltage_peak <= 1.0


def test_render_file_refuses_what_is_no_compressor(tmp_path):
    with pytest.raises(TypeError, match="Compressor"):
        render_file(tmp_path / "in.wav", path_out=tmp_path / "out.wav", compressor="x", voltage_full_scale=1.0)


# ------------------------------------------------------------ measure your own

TAU_ATTACK, TAU_RELEASE, RATIO = 0.02, 0.2, 4.0


@pytest.fixture(scope="module")
def played():
    """A pedal whose gain answers the test file's steps first order in dB, with known time constants."""
    signal = bursts(RATE, 20.0)
    time = np.arange(signal.size) / RATE
    gain = np.zeros(signal.size)
    for begin in (1.3, 10.8, 20.3):  # 0.5 pause + 0.3 marker + 0.5 pause, then 3 + 2 + 4 + 0.5 s a tone
        up, down = begin + 3, begin + 5
        change = 20 * (1 - 1 / RATIO)
        loud, after = (time >= up) & (time < down), time >= down
        gain[loud] = -change * (1 - np.exp(-(time[loud] - up) / TAU_ATTACK))
        gain[after] = -change * np.exp(-(time[after] - down) / TAU_RELEASE)
    return signal * 10 ** (gain / 20)


def _record(path, signal, rate=RATE):
    wavfile.write(path, rate, signal.astype(np.float32))
    return path


def _check(result, definition, left):
    for timing in result.timings:
        smear = 0.25 / timing.frequency
        assert timing.time_attack == pytest.approx(TAU_ATTACK * np.log(15 / left), rel=0.01, abs=0.3 * smear + 1e-4)
        assert timing.time_release == pytest.approx(TAU_RELEASE * np.log(15 / left), rel=0.02)
        assert timing.settled_attack and timing.settled_release
        assert timing.name == definition.name
    assert [timing.frequency for timing in result.timings] == [82.0, 220.0, 1000.0]


@pytest.mark.parametrize(("definition", "left"), [(SETTLE_2DB, 2.0), (PART_63, 15 / np.e)])
def test_recording_with_delay_gain_noise_offset_and_inverted(tmp_path, played, definition, left):
    noise = np.random.default_rng(1).normal(0, 2e-4, played.size + 3 * RATE)
    recorded = noise + 0.01
    recorded[61_234 : 61_234 + played.size] -= 0.3 * played
    result = measure_recording(_record(tmp_path / "take.wav", recorded), definition=definition)
    _check(result, definition, left)
    for level in result.levels:  # the gain is first order in dB, so the level after each step is known in closed form
        since = level.time - level.time_up
        loud = (since > 2 / level.frequency) & (level.time < level.time_down - 2 / level.frequency)
        wanted = 20 * np.log10(0.3 * 0.7 / np.sqrt(2)) - 15 * (1 - np.exp(-since[loud] / TAU_ATTACK))
        np.testing.assert_allclose(level.level_out_dbv[loud], wanted, atol=0.3)  # noise and the offset's rest
        assert level.time_down - level.time_up == pytest.approx(2.0, abs=1e-3)
    assert [level.frequency for level in result.levels] == [82.0, 220.0, 1000.0]
    assert result.time_marker == pytest.approx(61_234 / RATE + 0.5, abs=1e-3)
    assert result.level_noise_dbv == pytest.approx(20 * np.log10(2e-4), abs=0.5)
    assert result.cautions == ()  # to read a recording makes no sound; the file to play has its caution


def test_recording_that_runs_on_and_one_that_was_begun_twice(tmp_path, played):
    noise = np.random.default_rng(2).normal(0, 2e-4, 3 * played.size)
    for name, tries in (("long", ()), ("twice", (played[: 20 * RATE],))):
        parts = [*tries, played]
        recorded = noise.copy()
        begin = RATE
        for part in parts:
            recorded[begin : begin + part.size] += 0.3 * part
            begin += part.size
        result = measure_recording(_record(tmp_path / f"{name}.wav", recorded), definition=SETTLE_2DB)
        _check(result, SETTLE_2DB, 2.0)
        assert result.time_marker == pytest.approx(begin / RATE - played.size / RATE + 0.5, abs=1e-3)


def test_recording_at_another_rate_and_with_a_clock_of_its_own(tmp_path, played):
    recorded = resample_poly(played, 147, 160)  # 44.1 kHz
    result = measure_recording(_record(tmp_path / "take.wav", recorded, 44100), definition=SETTLE_2DB)
    _check(result, SETTLE_2DB, 2.0)
    assert abs(result.clock_error) < 1e-5
    late = np.interp(np.arange(0, played.size, 1 / 1.0002), np.arange(played.size), played)
    result = measure_recording(_record(tmp_path / "late.wav", late), definition=SETTLE_2DB)
    _check(result, SETTLE_2DB, 2.0)
    assert result.clock_error == pytest.approx(2e-4, abs=1e-5)


def test_recorded_compressor_measures_as_the_computed_one(tmp_path):
    """The same measurement on a file through the engine as on the engine's own answer to the same steps."""
    write_bursts(tmp_path / "bursts.wav", definition=SETTLE_2DB)
    render_file(tmp_path / "bursts.wav", path_out=tmp_path / "take.wav", compressor=example(), voltage_full_scale=0.5)
    result = measure_recording(tmp_path / "take.wav", definition=SETTLE_2DB)
    low = 0.5 * 0.7 / 10
    for timing in result.timings:
        time = np.arange(round(9.0 * RATE)) / RATE
        amplitude = np.where((time >= 3) & (time < 5), 10 * low, low)
        out = render(amplitude * np.sin(2 * np.pi * timing.frequency * time), sample_rate=RATE, compressor=example())
        track = envelope(out.signal, sample_rate=RATE, frequency=timing.frequency)
        direct = measure_step(
            track.time,
            level_dbv=track.level_dbv,
            time_up=3.0,
            time_down=5.0,
            definition=replace(SETTLE_2DB, frequency=timing.frequency),
        )
        assert direct.time_attack > 0.005
        # The overshoot lies near the edge of the band, where a hundredth of a dB is a millisecond.
        assert timing.time_attack == pytest.approx(direct.time_attack, rel=0.02, abs=2e-4)
        assert timing.time_release == pytest.approx(direct.time_release, rel=0.01, abs=2e-4)
        assert timing.overshoot_attack_db == pytest.approx(direct.overshoot_attack_db, abs=0.05)


def test_burst_file_carries_its_caution_and_its_step(tmp_path):
    done = write_bursts(tmp_path / "bursts.wav", definition=IEC_60118_2_STYLE, sample_rate=44100)
    assert done.level_step_db == 25 and "headphones" in done.cautions[0].action
    recording = read_wav(tmp_path / "bursts.wav")
    assert recording.duration == pytest.approx(done.duration) and recording.sample_rate == 44100
    assert recording.voltage_peak == pytest.approx(0.7, abs=1e-3)
    for tone, begin in [(82.0, 1.3), (220.0, 10.8), (1000.0, 20.3)]:
        part = recording.signal[round(begin * 44100) : round((begin + 9) * 44100)]
        track = envelope(part, sample_rate=44100, frequency=tone)
        inside = (track.time > 0.1) & (track.time < 8.9)
        steps = np.where((track.time > 3) & (track.time < 5), 0.0, -25.0)
        away = inside & (np.abs(track.time - 3) > 0.01) & (np.abs(track.time - 5) > 0.01)
        np.testing.assert_allclose(track.level_dbv[away] - 20 * np.log10(0.7 / np.sqrt(2)), steps[away], atol=0.05)


def test_recordings_that_cannot_be_used_say_why(tmp_path, played):
    cases = {
        "silent": (np.zeros(40 * RATE), RATE, "silent"),
        "noise": (np.random.default_rng(2).normal(0, 0.1, 40 * RATE), RATE, "was this file played"),
        "short": (_tone(), RATE, "was this file played"),
        "cut": (played[: 20 * RATE], RATE, "cut short"),
        "mislabelled": (played, 44100, "at 0.919 times the speed"),
    }
    for name, (signal, rate, words) in cases.items():
        with pytest.raises(ValueError, match=words):
            measure_recording(_record(tmp_path / f"{name}.wav", signal, rate), definition=SETTLE_2DB)


def test_recording_of_a_file_with_another_step_is_refused(tmp_path):
    write_bursts(tmp_path / "bursts.wav", definition=IEC_60118_2_STYLE)
    with pytest.raises(ValueError, match=r"level_step_db .* 20 dB was given, .* a step of 25\.0 dB"):
        measure_recording(tmp_path / "bursts.wav", definition=SETTLE_2DB)


def test_noise_and_clipping_are_passed_on(tmp_path, played):
    noisy = np.clip(1.6 * played + np.random.default_rng(3).normal(0, 0.02, played.size), -1, 1)
    result = measure_recording(_record(tmp_path / "take.wav", noisy), definition=SETTLE_2DB)
    told = " ".join(caution.what for caution in result.cautions)
    assert "clipped" in told and "noise" in told


def test_burst_refusals(tmp_path):
    with pytest.raises(ValueError, match="level_step_db"):
        write_bursts(tmp_path / "bursts.wav", definition=replace(SETTLE_2DB, level_step_db=61.0))
    with pytest.raises(ValueError, match="sample_rate"):
        write_bursts(tmp_path / "bursts.wav", definition=SETTLE_2DB, sample_rate=8000)
    with pytest.raises(TypeError, match="TimingDefinition"):
        measure_recording(tmp_path / "bursts.wav", definition="63 %")


@pytest.mark.parametrize(("width", "channels"), [(2, 1), (2, 2), (3, 1), (3, 2), (4, 1)])
def test_a_file_takes_at_most_twice_its_size_in_memory(tmp_path, width, channels):
    size, path = 16_000_000, tmp_path / "long.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels), file.setsampwidth(width), file.setframerate(48_000)
        file.writeframes(np.random.default_rng(1).integers(0, 255, size, dtype=np.uint8).tobytes())
    read_wav(path, channel=0)  # what is imported on the way counts no more
    tracemalloc.start()
    try:
        read_wav(path, channel=0)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    # Beside the samples there is one block of them in the making.
    assert peak < 2 * size + 40 * BLOCK


def test_a_recording_is_measured_without_holding_it(tmp_path):
    """Of 24 MB with the test tones amid minutes of silence less than twice its size, all results included."""
    write_bursts(tmp_path / "tones.wav", definition=SETTLE_2DB)
    rate, tones = wavfile.read(tmp_path / "tones.wav")
    signal = np.zeros(12_000_000, np.int16)
    signal[60 * rate :][: tones.size] = tones // 2
    wavfile.write(tmp_path / "take.wav", rate, signal)
    tracemalloc.start()
    try:
        found = measure_recording(tmp_path / "take.wav", definition=SETTLE_2DB)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found.time_marker == pytest.approx(60.5, abs=0.01)
    assert peak < 2 * signal.nbytes
