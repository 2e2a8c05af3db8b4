"""Reading sound files of every kind."""

from __future__ import annotations

import hashlib
import io
import subprocess
import wave
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldnote.capture import RATE_HZ, read_sound
from fieldnote.errors import FieldnoteError, NotFound, UnreadableSound, UserMistake

TONE_HZ = 440.0


def tone(rate_hz: int, seconds: float = 1.0, hz: float = TONE_HZ, channels: int = 1, level: float = 0.5) -> np.ndarray:
    mono = level * np.sin(2 * np.pi * hz * np.arange(round(rate_hz * seconds)) / rate_hz)
    return np.repeat(mono[:, None], channels, axis=1).astype(np.float32)


def loudest_hz(samples: np.ndarray) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.argmax(spectrum) * RATE_HZ / len(samples))


def level_db(samples: np.ndarray) -> float:
    """Root mean square of the middle half, in decibels."""
    middle = samples[len(samples) // 4 : -len(samples) // 4]
    return float(10 * np.log10(np.square(middle.astype(np.float64)).mean() + 1e-20))


def write_with_av(path: Path, codec: str, rate_hz: int, samples: np.ndarray) -> None:
    layout = "mono" if samples.shape[1] == 1 else "stereo"
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=rate_hz, layout=layout)
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples.T), format="fltp", layout=layout)
        frame.sample_rate = rate_hz
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


@pytest.mark.parametrize(
    ("name", "subtype"),
    [
        ("a.wav", "PCM_U8"),
        ("a.wav", "PCM_16"),
        ("a.wav", "PCM_24"),
        ("a.wav", "FLOAT"),
        ("a.wav", "ULAW"),
        ("a.flac", "PCM_16"),
        ("a.ogg", "VORBIS"),
        ("a.opus", "OPUS"),
        ("a.mp3", "MPEG_LAYER_III"),
        ("a.aiff", "PCM_16"),
    ],
)
@pytest.mark.parametrize(("rate_hz", "channels"), [(8000, 1), (48000, 2)], ids=["8k-mono", "48k-stereo"])
def test_kinds(tmp_path: Path, name: str, subtype: str, rate_hz: int, channels: int) -> None:
    """A tone comes out of every kind of file at its own pitch, length and level."""
    path = tmp_path / name
    kind = "OGG" if name.endswith("opus") else None
    soundfile.write(path, tone(rate_hz, channels=channels), rate_hz, subtype=subtype, format=kind)
    sound = read_sound(path)
    assert (sound.rate_hz, sound.channels) == (rate_hz, channels)
    assert sound.samples.dtype == np.float32
    assert sound.duration_s == pytest.approx(1.0, abs=0.11)  # MP3 pads its ends
    assert loudest_hz(sound.samples) == pytest.approx(TONE_HZ, abs=2)
    assert level_db(sound.samples) == pytest.approx(level_db(tone(RATE_HZ)[:, 0]), abs=0.6)
    assert sound.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert sound.warnings == ()


@pytest.mark.parametrize(
    ("name", "codec", "rate_hz", "channels"),
    [("a.m4a", "aac", 44100, 2), ("a.m4a", "aac", 16000, 1), ("a.webm", "libopus", 48000, 1)],
    ids=["m4a-stereo", "m4a-16k", "webm-opus"],
)
def test_kinds_that_soundfile_lacks(tmp_path: Path, name: str, codec: str, rate_hz: int, channels: int) -> None:
    """Voice memos of phones and recordings of browsers are read too."""
    path = tmp_path / name
    write_with_av(path, codec, rate_hz, tone(rate_hz, channels=channels))
    sound = read_sound(path)
    assert (sound.rate_hz, sound.channels) == (rate_hz, channels)
    assert sound.duration_s == pytest.approx(1.0, abs=0.15)
    assert loudest_hz(sound.samples) == pytest.approx(TONE_HZ, abs=2)


@pytest.mark.parametrize("rate_hz", [8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000])
def test_length_at_every_rate(tmp_path: Path, rate_hz: int) -> None:
    """No sample of time is lost or added in resampling."""
    soundfile.write(tmp_path / "a.wav", tone(rate_hz, 2.5), rate_hz)
    assert len(read_sound(tmp_path / "a.wav").samples) == pytest.approx(2.5 * RATE_HZ, abs=2)


# Sampling theorem: at 16 kHz nothing above 8 kHz can be told from its mirror image below (Shannon 1949). A tone
# from 8.8 kHz up must therefore vanish. 60 dB is common practice for speech, no source; slicing without a filter, tried
# beside it, leaves the image at full level.
@pytest.mark.parametrize("hz", [8800.0, 10000.0, 12000.0, 15000.0, 15990.0, 20000.0, 23000.0])
def test_nothing_folds_back(tmp_path: Path, hz: float) -> None:
    """A tone above half the rate leaves no image behind."""
    high = tone(48000, hz=hz)
    soundfile.write(tmp_path / "a.wav", high, 48000, subtype="FLOAT")
    assert level_db(read_sound(tmp_path / "a.wav").samples) < level_db(high) - 60
    assert level_db(high[::3, 0]) > level_db(high) - 1


def test_sweep_keeps_speech_band_and_drops_the_rest(tmp_path: Path) -> None:
    """Along a sine sweep from 100 Hz to 23 kHz, what speech uses stays within 0.2 dB and what folds is gone."""
    rate_hz, seconds = 48000, 6.0
    t = np.arange(round(rate_hz * seconds)) / rate_hz
    phase = 2 * np.pi * (100 * t + (23000 - 100) / (2 * seconds) * t**2)
    soundfile.write(tmp_path / "a.wav", 0.5 * np.sin(phase), rate_hz, subtype="FLOAT")
    out = read_sound(tmp_path / "a.wav").samples.astype(np.float64)
    window = 1600
    levels = 10 * np.log10(np.square(out[: len(out) // window * window].reshape(-1, window)).mean(axis=1) + 1e-20)
    swept_hz = 100 + (23000 - 100) / seconds * (np.arange(len(levels)) + 0.5) * window / RATE_HZ
    full = 10 * np.log10(0.5**2 / 2)
    assert np.abs(levels[(swept_hz > 300) & (swept_hz < 7000)] - full).max() < 0.2
    assert levels[swept_hz > 8800].max() < full - 60


def test_upside_down_stereo_is_not_silenced(tmp_path: Path) -> None:
    """The same voice with opposite polarity on two channels survives."""
    one = tone(16000)[:, 0]
    soundfile.write(tmp_path / "a.wav", np.stack([one, -one], axis=1), 16000)
    assert level_db(read_sound(tmp_path / "a.wav").samples) == pytest.approx(level_db(one), abs=0.5)


def test_one_live_channel_of_six_keeps_its_level(tmp_path: Path) -> None:
    """Five dead channels do not drown the one that carries the voice."""
    six = np.zeros((16000, 6), np.float32)
    six[:, 3] = tone(16000)[:, 0]
    soundfile.write(tmp_path / "a.wav", six, 16000)
    sound = read_sound(tmp_path / "a.wav")
    assert sound.channels == 6
    assert level_db(sound.samples) == pytest.approx(level_db(six[:, 3]), abs=0.5)


def test_float_files_with_impossible_samples(tmp_path: Path) -> None:
    """Not-a-number, infinity and overflow do not spread into the sound."""
    odd = tone(16000)[:, 0].copy()
    odd[[100, 200, 300]] = np.nan, np.inf, 1e30
    soundfile.write(tmp_path / "a.wav", odd, 16000, subtype="FLOAT")
    samples = read_sound(tmp_path / "a.wav").samples
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() <= 1.1


def test_through_a_pipe() -> None:
    """Content without a file is read the same way."""
    buffer = io.BytesIO()
    soundfile.write(buffer, tone(16000), 16000, format="WAV")
    assert read_sound("-", buffer.getvalue()).duration_s == 1.0


def bad_text(path: Path) -> None:
    path.write_text("the left d pillar grommet is torn\n" * 50)


def bad_noise(path: Path) -> None:
    path.write_bytes(np.random.default_rng(1).bytes(20000))


def bad_header_only(path: Path) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16000)


def bad_picture(path: Path) -> None:
    with av.open(str(path), "w", format="mp4") as container:
        stream = container.add_stream("mpeg4", rate=10)
        stream.width, stream.height = 64, 48
        container.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((48, 64, 3), np.uint8), format="rgb24")))
        container.mux(stream.encode(None))


@pytest.mark.parametrize(
    ("make", "error", "says"),
    [
        (lambda p: None, NotFound, "no such file"),
        (lambda p: p.mkdir(), UserMistake, "folder"),
        (lambda p: p.write_bytes(b""), UnreadableSound, "0 bytes"),
        (bad_text, UnreadableSound, "no sound that can be read"),
        (bad_noise, UnreadableSound, "no sound that can be read"),
        (bad_header_only, UnreadableSound, "no sound in this file"),
        (bad_picture, UnreadableSound, "no sound"),
    ],
    ids=["missing", "folder", "empty", "text", "random-bytes", "header-only", "film-without-sound"],
)
def test_bad_files(tmp_path: Path, make: object, error: type[FieldnoteError], says: str) -> None:
    """What cannot be read is refused in one line that says what, where and what to do."""
    path = tmp_path / "memo.wav"
    make(path)  # type: ignore[operator]
    with pytest.raises(error) as caught:
        read_sound(path)
    assert says in caught.value.what
    assert caught.value.where == str(path)
    assert caught.value.do
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", ["wav", "flac", "ogg", "mp3", "m4a"])
def test_cut_off_file_gives_what_is_there(tmp_path: Path, kind: str) -> None:
    """A copy that broke off at 60 % is read that far, or refused in one line; it never passes for whole."""
    whole, part = tmp_path / f"a.{kind}", tmp_path / f"b.{kind}"
    rng = np.random.default_rng(3)
    speechlike = (0.2 * rng.standard_normal((16000 * 4, 1))).astype(np.float32)
    if kind == "m4a":
        write_with_av(whole, "aac", 16000, speechlike)
    else:
        soundfile.write(whole, speechlike, 16000)
    part.write_bytes(whole.read_bytes()[: int(0.6 * whole.stat().st_size)])
    if kind == "m4a":  # its index stands at the end: without it nothing can be found
        with pytest.raises(UnreadableSound):
            read_sound(part)
        return
    sound = read_sound(part)
    assert 1.5 < sound.duration_s < 3.0
    if kind in ("wav", "flac"):  # the others do not say how long they should be
        assert any("cut off" in w or "damaged" in w for w in sound.warnings)


def test_long_file_needs_little_memory(tmp_path: Path) -> None:
    """Six minutes at 48 kHz stereo take less than twice what the result takes."""
    path = tmp_path / "a.flac"
    with soundfile.SoundFile(path, "w", 48000, 2) as file:
        for _ in range(6):
            file.write(np.zeros((48000 * 60, 2), np.float32))
    script = (
        "import resource, sys\n"
        "from fieldnote.capture import read_sound\n"
        "read_sound(sys.argv[2])\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "sound = read_sound(sys.argv[1])\n"
        "print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024 / sound.samples.nbytes)\n"
    )
    short = tmp_path / "b.flac"
    soundfile.write(short, np.zeros((48000, 2), np.float32), 48000)
    import sys

    told = subprocess.run(
        [sys.executable, "-c", script, str(path), str(short)], capture_output=True, text=True, check=True
    )
    assert float(told.stdout) < 2.6


@settings(max_examples=30, deadline=None)
@given(
    frames=st.integers(1, 30000),
    rate_hz=st.sampled_from([8000, 16000, 44100, 48000]),
    channels=st.integers(1, 8),
    subtype=st.sampled_from(["PCM_16", "PCM_U8", "FLOAT"]),
)
def test_any_wav_keeps_its_length(frames: int, rate_hz: int, channels: int, subtype: str) -> None:
    """Whatever the length, rate and channels, the time is the same afterwards and the samples are sound."""
    buffer = io.BytesIO()
    noise = np.random.default_rng(frames).uniform(-0.5, 0.5, (frames, channels))
    soundfile.write(buffer, noise, rate_hz, format="WAV", subtype=subtype)
    samples = read_sound("x.wav", buffer.getvalue()).samples
    assert len(samples) == pytest.approx(frames * RATE_HZ / rate_hz, abs=2)
    assert np.isfinite(samples).all()
