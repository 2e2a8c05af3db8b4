"""What training does to clean speech: rooms, microphones, effort and shop noise, each with a seeded generator.

All functions take and give float32 mono at 16 kHz. The kinds of noise here differ on purpose from those of the bench
(tests/bench), which must measure on noise that training never heard.
"""

from __future__ import annotations

import numpy as np

RATE_HZ = 16_000
Sound = np.ndarray
Dice = np.random.Generator


def stretch(sound: Sound, factor: float) -> Sound:
    """Play ``factor`` times as fast: pace, pitch and vocal tract change together, as between speakers."""
    return np.interp(np.arange(0, len(sound) - 1, factor), np.arange(len(sound)), sound).astype(np.float32)


def echo(sound: Sound, dice: Dice) -> Sound:
    """A room: a direct sound and an exponentially dying tail of 0.1 to 0.5 s, 3 to 20 dB below it."""
    decay_s = dice.uniform(0.1, 0.5)
    length = int(decay_s * RATE_HZ)
    tail = dice.standard_normal(length) * np.exp(-6.9 * np.arange(length) / length)
    tail[: int(0.003 * RATE_HZ)] = 0
    tail *= 10 ** (-dice.uniform(3, 20) / 20) / max(1e-9, float(np.sqrt((tail**2).sum())))
    tail[0] = 1.0
    size = 1 << (len(sound) + length - 1).bit_length()
    wet = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(tail, size), size)[: len(sound)]
    return wet.astype(np.float32)


def band(sound: Sound, dice: Dice) -> Sound:
    """A microphone: telephone (300 to 3,400 Hz), headset (120 to 7,000 Hz) or a random tilt of ±6 dB an octave."""
    spectrum = np.fft.rfft(sound)
    hertz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    kind = dice.integers(0, 3)
    if kind < 2:
        low, high = ((300, 3400), (120, 7000))[kind]
        gain = 1 / (1 + (low / np.maximum(hertz, 1)) ** 6) / (1 + (hertz / high) ** 10)
    else:
        gain = (np.maximum(hertz, 60) / 1000) ** dice.uniform(-1, 1)
    return np.fft.irfft(spectrum * gain, len(sound)).astype(np.float32)


def clip_peaks(sound: Sound, dice: Dice) -> Sound:
    """An overdriven input: the highest 0.5 to 5 % of the samples are cut flat."""
    limit = float(np.quantile(np.abs(sound), 1 - dice.uniform(0.005, 0.05)))
    return np.clip(sound, -limit, limit)


def effort(sound: Sound, dice: Dice) -> Sound:
    """Raised voice, roughly: more energy above 1 kHz (4 to 9 dB) and a steadier level."""
    spectrum = np.fft.rfft(sound)
    hertz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    lift = 10 ** (dice.uniform(4, 9) / 20 * (1 / (1 + (1000 / np.maximum(hertz, 1)) ** 2)))
    loud = np.fft.irfft(spectrum * lift, len(sound))
    return (np.sign(loud) * np.abs(loud) ** dice.uniform(0.75, 1.0)).astype(np.float32)


def coloured(length: int, dice: Dice) -> Sound:
    """Noise whose power falls with frequency, between white and brown."""
    spectrum = np.fft.rfft(dice.standard_normal(length))
    hertz = np.arange(len(spectrum))
    hertz[0] = 1
    return np.fft.irfft(spectrum / hertz ** dice.uniform(0.0, 0.9), length)


def motor(length: int, dice: Dice) -> Sound:
    """A running machine: harmonics of 20 to 120 Hz that wander, with a beat."""
    at = np.arange(length) / RATE_HZ
    base = dice.uniform(20, 120) * (1 + 0.02 * np.sin(2 * np.pi * dice.uniform(0.1, 2) * at))
    phase = 2 * np.pi * np.cumsum(base) / RATE_HZ
    tones = sum(np.sin(k * phase + dice.uniform(0, 6)) / k ** dice.uniform(0.5, 1.5) for k in range(1, 12))
    return np.asarray(tones * (1 + 0.5 * np.sin(2 * np.pi * dice.uniform(1, 9) * at)))


def knocks(length: int, dice: Dice) -> Sound:
    """Dropped tools and hammering: bursts that ring and die within 0.2 s."""
    out = np.zeros(length)
    for _ in range(dice.integers(2, 30)):
        size = int(dice.integers(400, 3200))
        start = int(dice.integers(0, max(1, length - size)))
        ring = np.sin(2 * np.pi * dice.uniform(300, 5000) * np.arange(size) / RATE_HZ) + dice.standard_normal(size)
        piece = ring * np.exp(-np.arange(size) / (size / 5)) * dice.uniform(1, 5)
        out[start : start + size] += piece[: length - start]
    return out


def banded(length: int, dice: Dice) -> Sound:
    """Hiss in a band of its own whose strength wanders, or swells and falls at 0.5 to 30 Hz."""
    spectrum = np.fft.rfft(dice.standard_normal(length))
    hertz = np.fft.rfftfreq(length, 1 / RATE_HZ)
    centre, width = np.exp(dice.uniform(np.log(100), np.log(6000))), dice.uniform(0.3, 1.5)
    spectrum *= np.exp(-((np.log(np.maximum(hertz, 1) / centre) / width) ** 2))
    out = np.fft.irfft(spectrum, length)
    at = np.arange(length) / RATE_HZ
    if dice.random() < 0.5:
        return out * (1 + dice.uniform(0.3, 1) * np.sin(2 * np.pi * dice.uniform(0.5, 30) * at + dice.uniform(0, 6)))
    steps = np.exp(dice.normal(0, 1.0, length // 3200 + 2))
    return out * np.interp(np.arange(length), np.arange(len(steps)) * 3200, steps)


def whine(length: int, dice: Dice) -> Sound:
    """Tones that slide: belts, bearings, a reversing alarm far away."""
    out = np.zeros(length)
    for _ in range(dice.integers(1, 5)):
        knots = np.exp(dice.uniform(np.log(150), np.log(4000)) + dice.normal(0, 0.15, length // 16000 + 2))
        hertz = np.interp(np.arange(length), np.arange(len(knots)) * 16000, knots)
        out += np.sin(2 * np.pi * np.cumsum(hertz) / RATE_HZ) * dice.uniform(0.2, 1)
    return out


def ticking(length: int, dice: Dice) -> Sound:
    """Small dull blows at an even pace of 3 to 40 a second, for a while, then not."""
    out = np.zeros(length)
    size = int(dice.uniform(0.005, 0.06) * RATE_HZ)
    blow = dice.standard_normal(size) * np.exp(-np.arange(size) / (size / 6))
    blow = np.convolve(blow, np.ones(int(dice.integers(1, 12))), "same")
    at, pause = 0, RATE_HZ / dice.uniform(3, 40)
    while at < length - size:
        out[int(at) : int(at) + size] += blow * dice.uniform(0.6, 1)
        at += int(pause * dice.uniform(0.95, 1.05)) + (
            int(dice.uniform(0.2, 2) * RATE_HZ) if dice.random() < 0.03 else 0
        )
    return out


def noise(length: int, voices: list[Sound], dice: Dice) -> Sound:
    """One shop: coloured noise with, at random, machines, knocks and other people talking; standard deviation 1."""
    out = coloured(length, dice)
    out /= out.std()
    if dice.random() < 0.6:
        tones = motor(length, dice)
        out += dice.uniform(0.2, 1.5) * tones / tones.std()
    if dice.random() < 0.5:
        out += dice.uniform(0.3, 1.5) * knocks(length, dice)
    for more, chance, most in ((banded, 0.5, 2.0), (whine, 0.25, 0.8), (ticking, 0.3, 1.5)):
        if dice.random() < chance:
            made = more(length, dice)
            out += dice.uniform(0.3, most) * made / max(1e-6, float(made.std()))
    if voices and dice.random() < 0.35:
        for _ in range(dice.integers(2, 7)):
            other = voices[int(dice.integers(len(voices)))]
            start = int(dice.integers(0, max(1, length - len(other) // 2)))
            piece = other[: length - start] / max(1e-4, float(other.std()))
            out[start : start + len(piece)] += dice.uniform(0.2, 0.8) * piece
    return (out / out.std()).astype(np.float32)


def speaker(sound: Sound, dice: Dice) -> Sound:
    """Another speaker, room and microphone for the same words; about a third stay nearly as they are."""
    if dice.random() < 0.7:
        sound = stretch(sound, float(dice.uniform(0.8, 1.18)))
    for change, chance in ((effort, 0.2), (echo, 0.35), (band, 0.4), (clip_peaks, 0.1)):
        if dice.random() < chance:
            sound = change(sound, dice)
    return sound


def in_noise(sound: Sound, background: Sound, dice: Dice, snr_db: float) -> Sound:
    """Lay a random piece of ``background`` (at least as long, standard deviation 1) under the sound."""
    start = int(dice.integers(0, max(1, len(background) - len(sound))))
    piece = background[start : start + len(sound)]
    loud = sound[np.abs(sound) > 0.02 * float(np.abs(sound).max() + 1e-9)]
    level = float(loud.std()) if len(loud) else 1e-3
    out = sound.copy()
    out[: len(piece)] += piece * level * 10 ** (-snr_db / 20)
    return out
