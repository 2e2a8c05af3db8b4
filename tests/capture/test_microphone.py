"""The microphone: through a library that is played here, and through a real sound server where there is one."""

from __future__ import annotations

import builtins
import contextlib
import itertools
import json
import os
import queue
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fieldnote.capture import microphone
from fieldnote.capture.microphone import Device, LossMeter, MicrophoneGone, SystemMicrophone, choose, devices
from fieldnote.errors import FieldnoteError, MicrophoneMissing, NotFound, UserMistake

RATE_HZ = 16_000
SAMPLES = Path(__file__).parents[2] / "sample_audio"
INPUTS = (Device(0, "Built-in", 2, 44100, True), Device(3, "Headset one", 1, 16000), Device(4, "Headset two", 1, 48000))


class PlayedLibrary:
    """The part of sounddevice that is used, with devices and refusals as the test says."""

    class PortAudioError(Exception):
        pass

    def __init__(self, *, rates: tuple[int, ...] = (16000,), refuses: str = "") -> None:
        self.rates, self.refuses = rates, refuses
        self.streams: list[SimpleNamespace] = []
        self.renewed = 0
        self.default = SimpleNamespace(device=(0, 0))

    def query_devices(self, number: int | None = None, kind: str | None = None) -> Any:
        known = [
            {"name": "Built-in", "max_input_channels": 2, "default_samplerate": 44100.0},
            {"name": "Speaker", "max_input_channels": 0, "default_samplerate": 48000.0},
        ]
        return known if kind is None else known[number or 0]

    def check_input_settings(self, samplerate: int, **_: Any) -> None:
        if samplerate not in self.rates:
            raise self.PortAudioError("Invalid sample rate")

    def InputStream(self, **options: Any) -> Any:
        if self.refuses:
            raise self.PortAudioError(self.refuses)
        stream = SimpleNamespace(active=True, options=options, start=lambda: None, close=lambda ignore_errors: None)
        self.streams.append(stream)
        return stream

    def _terminate(self) -> None:
        self.renewed += 1

    def _initialize(self) -> None:
        pass


@pytest.fixture
def library(monkeypatch: pytest.MonkeyPatch) -> Callable[..., PlayedLibrary]:
    def played(**options: Any) -> PlayedLibrary:
        made = PlayedLibrary(**options)
        monkeypatch.setattr(microphone, "_library", lambda: made)
        return made

    return played


def came(library: PlayedLibrary, block: np.ndarray, overflow: bool = False) -> None:
    library.streams[-1].options["callback"](block, len(block), None, SimpleNamespace(input_overflow=overflow))


@pytest.mark.parametrize(
    ("wanted", "number"),
    [
        pytest.param("", None, id="the system's choice"),
        pytest.param("3", 3, id="by number"),
        pytest.param("built", 0, id="by a part of its name"),
        pytest.param("headset TWO", 4, id="whatever the case"),
    ],
)
def test_a_device_is_chosen_by_number_or_name(wanted: str, number: int | None) -> None:
    """As ``--devices`` lists them."""
    assert choose(wanted, INPUTS) == number


@pytest.mark.parametrize(
    ("wanted", "inputs", "error", "told"),
    [
        pytest.param("", (), MicrophoneMissing, "no microphone", id="none at all"),
        pytest.param("9", INPUTS, NotFound, "3 Headset one", id="no such number: the others are named"),
        pytest.param("boom", INPUTS, NotFound, "0 Built-in", id="no such name: the others are named"),
        pytest.param("headset", INPUTS, UserMistake, "4 Headset two", id="two of that name"),
    ],
)
def test_a_device_that_is_not_there(
    wanted: str, inputs: tuple[Device, ...], error: type[FieldnoteError], told: str
) -> None:
    """One line that says what there is."""
    with pytest.raises(error) as caught:
        choose(wanted, inputs)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        pytest.param(OSError("PortAudio library not found"), "PortAudio is missing", id="no PortAudio"),
        pytest.param(ImportError("sounddevice"), "sounddevice is missing", id="no sounddevice"),
    ],
)
def test_what_to_install_is_named(fault: Exception, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without PortAudio the message names the package of common systems; exit code 3."""
    found = builtins.__import__

    def importing(name: str, *rest: Any, **more: Any) -> Any:
        if name == "sounddevice":
            raise fault
        return found(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", importing)
    with pytest.raises(MicrophoneMissing) as caught:
        devices()
    assert told in str(caught.value) and "libportaudio2" in str(caught.value)
    assert caught.value.exit_code == 3


def test_another_program_holds_the_device(library: Callable[..., PlayedLibrary]) -> None:
    """One line with the system's own reason."""
    library(refuses="Device unavailable [PaErrorCode -9985]")
    with pytest.raises(MicrophoneMissing, match=r"Device unavailable.*Close the program that holds it"):
        SystemMicrophone().open()


@pytest.mark.parametrize(("rates", "expected"), [((16000,), 16000), ((44100,), 44100)])
def test_the_rate_is_16_khz_or_the_devices_own(
    library: Callable[..., PlayedLibrary], rates: tuple[int, ...], expected: int
) -> None:
    """What cannot give 16 kHz gives its own rate."""
    made = library(rates=rates)
    opened = SystemMicrophone()
    opened.open()
    assert (opened.rate_hz, made.streams[-1].options["samplerate"]) == (expected, expected)


def test_the_callback_copies(library: Callable[..., PlayedLibrary]) -> None:
    """PortAudio uses its buffer again: what was taken does not change with it."""
    made, opened = library(), SystemMicrophone()
    opened.open()
    buffer = np.full((160, 1), 7, np.int16)
    came(made, buffer)
    buffer[:] = 0
    assert next(opened.blocks()).samples.tolist() == [7] * 160


def test_an_overflow_is_counted(library: Callable[..., PlayedLibrary]) -> None:
    """A flag without a gap on the clock counts the block in doubt."""
    made, opened = library(), SystemMicrophone()
    opened.open()
    for flag in (False, True):
        came(made, np.zeros((1600, 1), np.int16), flag)
    assert [block.lost_s for block in itertools.islice(opened.blocks(), 2)] == [0.0, 0.1]


def test_a_device_that_falls_silent_is_gone(
    library: Callable[..., PlayedLibrary], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What had come is given first."""
    monkeypatch.setattr(microphone, "_GONE_AFTER_S", 0.15)
    made, opened = library(), SystemMicrophone()
    opened.open()
    came(made, np.ones((160, 1), np.int16))
    given: list[int] = []
    with pytest.raises(MicrophoneGone, match="no more sound"):
        given += [n for block in opened.blocks() if (n := len(block.samples)) or given.append(0)]
    opened.open()
    assert made.renewed == 2, "the list of devices is read anew, or a device that came back is never seen"


def drifting(seconds: float, ppm: float) -> Iterator[tuple[float, int]]:
    """Blocks of 0.1 s from a card whose clock is off by ``ppm`` millionths, each up to 40 ms late."""
    late = np.random.default_rng(1).uniform(0, 0.04, round(seconds * 10))
    for n in range(round(seconds * 10)):
        yield (n + 1) * 0.1 * (1 + ppm / 1e6) + late[n], RATE_HZ // 10


@pytest.mark.parametrize("ppm", [-200.0, 0.0, 200.0])
def test_two_hours_of_a_clock_that_drifts_lose_nothing(ppm: float) -> None:
    """Sound cards are off by up to some 100 ppm (common practice, no source): that is no loss."""
    meter = LossMeter(RATE_HZ)
    assert sum(meter.block(at_s, samples) for at_s, samples in drifting(7200, ppm)) == 0


def test_blocks_that_come_late_are_no_loss() -> None:
    """A second without a block, which then come all at once."""
    meter = LossMeter(RATE_HZ)
    late = [(10.0 if 9.0 < at_s < 10.0 else at_s, samples) for at_s, samples in drifting(20, 0)]
    assert sum(meter.block(at_s, samples) for at_s, samples in late) == 0


def test_blocks_that_never_came_are_counted_by_the_clock() -> None:
    """Ten times 0.5 s are dropped, without any flag: the sum is found to a tenth."""
    meter = LossMeter(RATE_HZ)
    lost = sum(meter.block(at_s, s) for n, (at_s, s) in enumerate(drifting(600, 50)) if n % 600 not in range(300, 305))
    assert lost == pytest.approx(5.0, rel=0.1)


# ---- a real sound server --------------------------------------------------------------------------------------


class SoundServer:
    """A private PulseAudio with a virtual microphone: what is played into it is what the microphone hears."""

    def __init__(self, folder: Path) -> None:
        self.env = {
            **os.environ,
            "XDG_RUNTIME_DIR": str(folder),
            "HOME": str(folder),
            "PULSE_RUNTIME_PATH": str(folder),
        }

        # Or a client that looks for the server while it is away starts another, without the microphone.
        (folder / "client.conf").write_text("autospawn = no\n")
        self.env["PULSE_CLIENTCONFIG"] = str(folder / "client.conf")

    def start(self) -> None:
        sink = "module-null-sink sink_name=mic rate=16000 channels=1"
        self._run(
            "pulseaudio",
            "-n",
            "--daemonize=yes",
            "--exit-idle-time=-1",
            "-L",
            "module-native-protocol-unix",
            "-L",
            sink,
        )
        self._run("pactl", "set-default-source", "mic.monitor")

    def stop(self) -> None:
        self._run("pulseaudio", "--kill", check=False)

    def play(self, name: str) -> None:
        self._run("paplay", "--device=mic", str(SAMPLES / name))

    def _run(self, *command: str, check: bool = True) -> None:
        done = subprocess.run(command, env=self.env, capture_output=True, text=True, timeout=30, check=False)
        if check and done.returncode:
            raise RuntimeError(f"{command[0]}: {done.stderr.strip()[-300:]}")


@pytest.fixture
def server(tmp_path: Path) -> Iterator[SoundServer]:
    missing = [program for program in ("pulseaudio", "pactl", "paplay") if shutil.which(program) is None]
    if missing:
        pytest.skip(f"no virtual sound card: {', '.join(missing)} not installed (Debian: pulseaudio pulseaudio-utils)")
    (tmp_path / "run").mkdir(mode=0o700)
    made = SoundServer(tmp_path / "run")
    try:
        made.start()
    except (RuntimeError, subprocess.TimeoutExpired) as error:
        pytest.skip(f"no virtual sound card: {error}")
    try:
        yield made
    finally:
        made.stop()


class Lines:
    """The lines that a process prints, as they come."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.seen: list[str] = []
        self._new: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._read, args=(process,), daemon=True)
        self._thread.start()

    def _read(self, process: subprocess.Popen[str]) -> None:
        assert process.stderr is not None
        for line in process.stderr:
            self._new.put(line)

    def wait_for(self, words: str, timeout_s: float = 120.0) -> None:
        end = time.monotonic() + timeout_s
        while not any(words in line for line in self.seen):
            with contextlib.suppress(queue.Empty):
                self.seen.append(self._new.get(timeout=max(0.01, end - time.monotonic())))
            assert time.monotonic() < end, f"{words!r} never came: {self.seen}"
        self.seen.clear()


@pytest.mark.slow
def test_speech_played_into_a_virtual_microphone_becomes_entries(server: SoundServer, tmp_path: Path) -> None:
    """The whole path with nothing replaced; then the device goes away, comes back, and is listened to again."""
    env = {**server.env, "FIELDNOTE_HOME": str(tmp_path / "home"), "PYTHONUNBUFFERED": "1"}
    fieldnote = [sys.executable, "-m", "fieldnote"]
    subprocess.run([*fieldnote, "job", "new", "bay 3", "--steering", "left"], env=env, check=True, capture_output=True)
    listed = subprocess.run([*fieldnote, "listen", "--devices", "--json"], env=env, capture_output=True, text=True)
    if "pulse" not in listed.stdout:
        pytest.skip(f"PortAudio does not see the sound server: libasound2-plugins missing? ({listed.stderr.strip()})")
    process = subprocess.Popen(
        [*fieldnote, "listen", "bay 3", "--device", "pulse", "--json"],
        env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        lines = Lines(process)
        lines.wait_for("check next")
        server.play("06-lamp-test.flac")
        lines.wait_for("entry: right tail lamp")
        server.stop()
        lines.wait_for("waiting for the device")
        server.start()
        lines.wait_for("is back")
        server.play("12-retest.flac")
        lines.wait_for("entry: right roof rack")
        process.send_signal(signal.SIGINT)
        assert process.stdout is not None
        said = json.loads(process.stdout.read())
        assert process.wait(20) == 0
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        for stream in (process.stdout, process.stderr):
            if stream is not None:
                stream.close()
    assert [(e["kind"], e["place"], e["side"], e["state"]) for e in said["entries"]] == [
        ("test", "tail-lamp", "right", "dry"),
        ("test", "roof-rack", "right", "dry"),
    ]
    assert said["lost_s"] < 0.5
    assert said["seconds"] > 8
