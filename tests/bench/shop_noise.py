"""The noises of a shop, made by script and seeded. Training makes its own, by other means: it hears none of these.

Every maker takes a length in samples and a generator, and gives float64 mono at 16 kHz with a standard deviation of 1.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 16_000
Samples = NDArray[np.float64]
Maker = Callable[[int, np.random.Generator], Samples]


def _unit(samples: Samples) -> Samples:
    return samples / (samples.std() + 1e-12)


def _between(length: int, dice: np.random.Generator, low_hz: float, high_hz: float) -> Samples:
    """White noise that holds only what lies between two frequencies."""
    spectrum = np.fft.rfft(dice.standard_normal(length))
    hertz = np.fft.rfftfreq(length, 1 / RATE_HZ)
    spectrum[(hertz < low_hz) | (hertz > high_hz)] = 0
    return _unit(np.fft.irfft(spectrum, length))


def _ringing(modes_hz: Sequence[float], decay_s: float, seconds: float) -> Samples:
    """What struck metal does: several tones dying away together."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.sum([np.sin(2 * np.pi * hz * t) for hz in modes_hz], axis=0) * np.exp(-t / decay_s)


def _struck(length: int, at: NDArray[np.float64], ring: Samples, dice: np.random.Generator) -> Samples:
    """``ring`` begun at each time in ``at`` (seconds), a little louder or softer each time."""
    hits = np.zeros(length)
    places = np.round(at * RATE_HZ).astype(int)
    places = places[(places >= 0) & (places < length)]
    hits[places] = dice.uniform(0.6, 1.0, len(places))
    return np.convolve(hits, ring)[:length]


def compressor(length: int, dice: np.random.Generator) -> Samples:
    """A piston compressor: thuds at 11 to 16 a second, valve clatter on each, and a blow-off now and then."""
    seconds = length / RATE_HZ
    beats = np.cumsum(dice.normal(1 / dice.uniform(11, 16), 0.001, round(seconds * 17) + 2))
    thud = _struck(length, beats, _ringing((62.0, 93.0, 148.0), 0.03, 0.2), dice)
    clatter = _struck(length, beats + 0.012, _between(320, dice, 900, 3800) * np.hanning(320), dice)
    out = _unit(thud) + 0.35 * _unit(clatter) + 0.15 * _between(length, dice, 40, 2500)
    start = int(dice.integers(0, max(1, length - RATE_HZ)))
    blow = _between(length, dice, 1500, 7800)
    blow[:start] = 0
    blow[start + RATE_HZ :] = 0
    return _unit(out + 0.7 * blow)


def impact_wrench(length: int, dice: np.random.Generator) -> Samples:
    """Bursts of 0.4 to 1.5 s of hammering at 18 to 28 blows a second on a ringing nut, quiet between."""
    ring = _ringing(dice.uniform([900, 2100, 3300, 5200], [1300, 2900, 4600, 7000]), 0.02, 0.12)
    out, at_s, seconds = np.zeros(length), float(dice.uniform(0, 0.5)), length / RATE_HZ
    while at_s < seconds:
        lasts_s = float(dice.uniform(0.4, 1.5))
        blows = at_s + np.cumsum(dice.normal(1 / dice.uniform(18, 28), 0.002, round(lasts_s * 24)))
        out += _struck(length, blows, ring, dice)
        at_s += lasts_s + float(dice.uniform(0.3, 2.0))
    return _unit(_unit(out) + 0.05 * dice.standard_normal(length))


def fan(length: int, dice: np.random.Generator) -> Samples:
    """A drum fan: rushing air, fuller below 1 kHz, beating softly at the pace of its blades."""
    t = np.arange(length) / RATE_HZ
    rush = _between(length, dice, 30, 900) + 0.4 * _between(length, dice, 900, 6000)
    return _unit(rush * (1 + 0.35 * np.sin(2 * np.pi * dice.uniform(18, 45) * t)))


def air_hiss(length: int, dice: np.random.Generator) -> Samples:
    """A blow gun: hard hiss above 2 kHz, on for a moment, off for a moment."""
    gate = np.zeros(length)
    at = int(dice.integers(0, RATE_HZ))
    while at < length:
        lasts = int(dice.uniform(0.15, 0.9) * RATE_HZ)
        gate[at : at + lasts] = 1
        at += lasts + int(dice.uniform(0.2, 1.2) * RATE_HZ)
    soft = np.convolve(gate, np.ones(400) / 400, mode="same")
    return _unit(_between(length, dice, 2000, 7900) * soft + 0.02 * dice.standard_normal(length))


def grinder(length: int, dice: np.random.Generator) -> Samples:
    """A disc grinder: a whine that sags when it bites, with sparks of noise."""
    t = np.arange(length) / RATE_HZ
    bite = np.convolve(dice.standard_normal(length // 800 + 2), np.ones(6) / 6, mode="same")
    load = np.interp(t, np.arange(len(bite)) * 800 / RATE_HZ, bite)
    phase = 2 * np.pi * np.cumsum(dice.uniform(380, 520) * (1 + 0.06 * load)) / RATE_HZ
    whine = np.sign(np.sin(phase)) + 0.5 * np.sin(3.01 * phase)
    return _unit(_unit(whine) + 0.8 * _between(length, dice, 2500, 7900) * (0.5 + np.abs(load)))


def radio(speech: Sequence[Samples]) -> Maker:
    """A shop radio behind the car: one voice after another through a small loudspeaker, with hum and a tune under."""

    def make(length: int, dice: np.random.Generator) -> Samples:
        out = np.zeros(length)
        at = 0
        while at < length:
            one = speech[int(dice.integers(len(speech)))]
            piece = one[: length - at] / (np.abs(one).max() + 1e-9)
            out[at : at + len(piece)] += piece
            at += len(one) + int(dice.uniform(0.05, 0.5) * RATE_HZ)
        spectrum = np.fft.rfft(out)
        hertz = np.fft.rfftfreq(length, 1 / RATE_HZ)
        spectrum[(hertz < 350) | (hertz > 4200)] = 0
        voice = _unit(np.fft.irfft(spectrum, length))
        t = np.arange(length) / RATE_HZ
        notes = dice.choice([262.0, 330.0, 392.0, 440.0, 523.0], round(length / RATE_HZ / 0.3) + 2)
        tune = np.sin(2 * np.pi * np.cumsum(np.repeat(notes, round(0.3 * RATE_HZ))[:length]) / RATE_HZ)
        return _unit(voice + 0.25 * tune + 0.1 * np.sin(2 * np.pi * 120 * t))

    return make


STEADY: dict[str, Maker] = {
    "compressor": compressor,
    "impact wrench": impact_wrench,
    "fan": fan,
    "air hiss": air_hiss,
    "grinder": grinder,
}


def speech_level(samples: Samples) -> float:
    """Root mean square of the frames (20 ms) within 25 dB of the loudest: pauses do not count."""
    frames = samples[: len(samples) // 320 * 320].reshape(-1, 320)
    power = np.square(frames).mean(axis=1)
    return float(np.sqrt(power[power > power.max() * 10**-2.5].mean())) if len(power) else 0.0


def in_noise(speech: Samples, noise: Samples, snr_db: float, *, around_s: float = 0.7) -> Samples:
    """``speech`` with ``noise`` under it and ``around_s`` of noise before and after; peak at most 0.9."""
    around = round(around_s * RATE_HZ)
    out = np.zeros(len(speech) + 2 * around)
    out[around : around + len(speech)] = speech
    out += noise[: len(out)] * speech_level(speech) * 10 ** (-snr_db / 20)
    return out * min(1.0, 0.9 / (np.abs(out).max() + 1e-12))
