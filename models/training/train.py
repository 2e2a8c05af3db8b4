"""Tunes the small Whisper recogniser on synthetic dictation; one GPU for minutes, or a CPU for a smoke test.

Reads ``DATA/man.jsonl`` (one ``{"file", "domain": "trade"|"general", "text", "ids"}`` a line), the sound files that it
names, ``DATA/tokens.json`` (special tokens and hint lists, from prepare.py) and the starting weights (from
``weights.py pack``). Writes NAME0.npz, NAME1.npz ... and map.json, for ``weights.py blend``::

    python models/training/train.py --data DATA --start w.npz --shipped models/fieldnote-tiny --out OUT --name A
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import distort
import numpy as np
import soundfile
import torch
import weights
from torch import nn
from torch.nn import functional

WIDTH, HEADS, LAYERS, MELS = 384, 6, 4, 80
HOP = 160
FULL_FRAMES = 3000
SAVE_EVERY = 500
MEAN_KEEPS = 0.999  # what is saved is a running mean of the weights, over about so many steps
TRAP_FRAMES = 160  # the engine takes an input of this length for encoder output


class Attention(nn.Module):
    """Self or cross attention with its layer norm, as in the base model."""

    def __init__(self, cross: bool) -> None:
        super().__init__()
        self.cross = cross
        if cross:
            self.q, self.kv = nn.Linear(WIDTH, WIDTH), nn.Linear(WIDTH, 2 * WIDTH)
        else:
            self.qkv = nn.Linear(WIDTH, 3 * WIDTH)
        self.o, self.ln = nn.Linear(WIDTH, WIDTH), nn.LayerNorm(WIDTH)

    def forward(self, x: torch.Tensor, memory: torch.Tensor | None = None, causal: bool = False) -> torch.Tensor:
        y = self.ln(x)
        batch, length, _ = y.shape
        if self.cross:
            q, (k, v) = self.q(y), self.kv(memory).chunk(2, -1)
        else:
            q, k, v = self.qkv(y).chunk(3, -1)
        split = lambda t: t.view(batch, -1, HEADS, WIDTH // HEADS).transpose(1, 2)  # noqa: E731
        out = functional.scaled_dot_product_attention(split(q), split(k), split(v), is_causal=causal)
        return x + self.o(out.transpose(1, 2).reshape(batch, length, WIDTH))


class Feedforward(nn.Module):
    """The two-layer block of a transformer layer."""

    def __init__(self) -> None:
        super().__init__()
        self.ln, self.a, self.b = nn.LayerNorm(WIDTH), nn.Linear(WIDTH, 4 * WIDTH), nn.Linear(4 * WIDTH, WIDTH)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return x + self.b(functional.gelu(self.a(self.ln(x))))


def convolve(layer: nn.Conv1d, x: torch.Tensor) -> torch.Tensor:
    """The layer's convolution of width 3 (batch × time × channels) as one matrix product.

    Lengths differ from batch to batch, and the convolution library plans each new shape anew, which took most of the time.
    """
    padded = functional.pad(x, (0, 0, 1, 1))
    shifted = torch.cat([padded[:, :-2], padded[:, 1:-1], padded[:, 2:]], -1)[:, :: layer.stride[0]]
    return functional.linear(shifted, layer.weight.permute(0, 2, 1).flatten(1), layer.bias)


class Encoder(nn.Module):
    """Log-mel frames (batch × 80 × frames) to positions (batch × frames / 2 × width)."""

    def __init__(self) -> None:
        super().__init__()
        self.c1 = nn.Conv1d(MELS, WIDTH, 3, padding=1)
        self.c2 = nn.Conv1d(WIDTH, WIDTH, 3, stride=2, padding=1)
        self.pos = nn.Parameter(torch.zeros(FULL_FRAMES // 2, WIDTH), requires_grad=False)
        self.sa = nn.ModuleList([Attention(False) for _ in range(LAYERS)])
        self.ff = nn.ModuleList([Feedforward() for _ in range(LAYERS)])
        self.ln = nn.LayerNorm(WIDTH)

    def forward(self, mel: torch.Tensor) -> torch.Tensor:
        x = functional.gelu(convolve(self.c2, functional.gelu(convolve(self.c1, mel.transpose(1, 2)))))
        x = x + self.pos[: x.shape[1]]
        for attend, feed in zip(self.sa, self.ff, strict=True):
            x = feed(attend(x))
        return self.ln(x)


class Decoder(nn.Module):
    """Tokens and encoder positions to the scores of the next token."""

    def __init__(self, tokens: int) -> None:
        super().__init__()
        self.emb = nn.Parameter(torch.zeros(tokens, WIDTH), requires_grad=False)
        self.pos = nn.Parameter(torch.zeros(448, WIDTH))
        self.sa = nn.ModuleList([Attention(False) for _ in range(LAYERS)])
        self.ca = nn.ModuleList([Attention(True) for _ in range(LAYERS)])
        self.ff = nn.ModuleList([Feedforward() for _ in range(LAYERS)])
        self.ln = nn.LayerNorm(WIDTH)

    def forward(self, tokens: torch.Tensor, memory: torch.Tensor) -> torch.Tensor:
        x = functional.embedding(tokens, self.emb) + self.pos[: tokens.shape[1]]
        for attend, cross, feed in zip(self.sa, self.ca, self.ff, strict=True):
            x = feed(cross(attend(x, causal=True), memory))
        return self.ln(x) @ self.emb.T


class Recogniser(nn.Module):
    """The whole model."""

    def __init__(self, tokens: int) -> None:
        super().__init__()
        self.enc, self.dec = Encoder(), Decoder(tokens)


def names() -> dict[str, str]:
    """Our parameter names → names in the weight file."""
    out = {"enc.pos": "encoder/position_encodings/encodings", "dec.pos": "decoder/position_encodings/encodings"}

    def linear(ours: str, theirs: str) -> None:
        out[ours + ".weight"], out[ours + ".bias"] = theirs + "/weight", theirs + "/bias"

    def norm(ours: str, theirs: str) -> None:
        out[ours + ".weight"], out[ours + ".bias"] = theirs + "/gamma", theirs + "/beta"

    linear("enc.c1", "encoder/conv1")
    linear("enc.c2", "encoder/conv2")
    for side, whole in (("enc", "encoder"), ("dec", "decoder")):
        norm(f"{side}.ln", f"{whole}/layer_norm")
        for i in range(LAYERS):
            layer = f"{whole}/layer_{i}"
            linear(f"{side}.sa.{i}.qkv", f"{layer}/self_attention/linear_0")
            linear(f"{side}.sa.{i}.o", f"{layer}/self_attention/linear_1")
            norm(f"{side}.sa.{i}.ln", f"{layer}/self_attention/layer_norm")
            linear(f"{side}.ff.{i}.a", f"{layer}/ffn/linear_0")
            linear(f"{side}.ff.{i}.b", f"{layer}/ffn/linear_1")
            norm(f"{side}.ff.{i}.ln", f"{layer}/ffn/layer_norm")
            if side == "dec":
                linear(f"dec.ca.{i}.q", f"{layer}/attention/linear_0")
                linear(f"dec.ca.{i}.kv", f"{layer}/attention/linear_1")
                linear(f"dec.ca.{i}.o", f"{layer}/attention/linear_2")
                norm(f"dec.ca.{i}.ln", f"{layer}/attention/layer_norm")
    return out


def load(start: Path, shipped: Path, device: str) -> Recogniser:
    """The starting weights; embeddings come from the shipped model, whose tuning left them as they were."""
    arrays = weights.unpack(dict(np.load(start)))
    kept = weights.read(shipped).arrays
    embedding = kept[weights.EMBEDDING].astype(np.float32) / kept[weights.EMBEDDING + "_scale"][:, None]
    model = Recogniser(len(embedding))
    state = model.state_dict()
    for ours, theirs in names().items():
        state[ours] = torch.tensor(arrays[theirs]).view(state[ours].shape)
    state["dec.emb"] = torch.tensor(embedding)
    model.load_state_dict(state)
    return model.to(device)


class LogMel:
    """Samples (batch × n, n a multiple of 160) to log-mel frames, as the base model was trained on."""

    def __init__(self, filters: np.ndarray, device: str) -> None:
        self.filters = torch.tensor(filters, device=device)
        self.window = torch.hann_window(400, device=device)

    def __call__(self, samples: torch.Tensor, warp: torch.Tensor | None = None) -> torch.Tensor:
        """``warp``: one factor a row, a longer or shorter vocal tract."""
        power = torch.stft(samples, 400, HOP, window=self.window, center=True, pad_mode="reflect", return_complex=True)
        mel = (self.filters @ (power[..., :-1].abs() ** 2)).clamp(min=1e-10).log10()
        mel = torch.maximum(mel, mel.amax((1, 2), keepdim=True) - 8)
        if warp is not None:
            at = (torch.arange(MELS, device=mel.device)[None] * warp[:, None]).clamp(max=MELS - 1.001)
            low = at.floor().long()
            share = (at - low)[:, :, None]
            rows = torch.arange(len(mel), device=mel.device)[:, None]
            mel = mel[rows, low] * (1 - share) + mel[rows, low + 1] * share
        return (mel + 4) / 4


def holes(mel: torch.Tensor, chance: float) -> torch.Tensor:
    """Blank out, in some rows, one band of up to 12 of the 80 mel bands and two stretches of up to 0.15 s."""
    batch, _, frames = mel.shape
    hit = (torch.rand(batch, 1, 1, device=mel.device) < chance).float()

    def stripe(length: int, widest: int) -> torch.Tensor:
        width = torch.randint(0, widest + 1, (batch, 1), device=mel.device)
        start = (torch.rand(batch, 1, device=mel.device) * (length - width)).long()
        at = torch.arange(length, device=mel.device)[None]
        return ((at >= start) & (at < start + width)).float()

    hidden = 1 - (1 - stripe(MELS, 12)[:, :, None]) * (1 - stripe(frames, 15)[:, None]) * (
        1 - stripe(frames, 15)[:, None]
    )
    low = mel.amin((1, 2), keepdim=True)
    return mel + hit * hidden * (low + 0.3 - mel)


@dataclass
class Corpus:
    """All that training hears, in memory; ``sounds`` in 16 bits."""

    lines: list[dict[str, Any]]
    sounds: list[np.ndarray]
    noises: list[np.ndarray]
    tokens: dict[str, Any]


def read_corpus(data: Path, seed: int, noises: int) -> Corpus:
    """Load every sound of the manifest and make the background noises."""
    lines = [json.loads(line) for line in (data / "man.jsonl").read_text(encoding="utf-8").splitlines()]
    with ThreadPoolExecutor(16) as pool:
        sounds = list(pool.map(lambda line: soundfile.read(data / line["file"], dtype="int16")[0], lines))
    voices = [sound.astype(np.float32) / 32767 for sound in sounds[:: max(1, len(sounds) // 400)]]
    seeds = [(160_000, voices, np.random.default_rng([seed, number])) for number in range(noises)]
    with ProcessPoolExecutor() as makers:
        made = list(makers.map(_noise, seeds, chunksize=4))
    return Corpus(lines, sounds, made, json.loads((data / "tokens.json").read_text(encoding="utf-8")))


def _noise(asked: tuple[int, list[np.ndarray], np.random.Generator]) -> np.ndarray:
    return distort.noise(*asked)


def _floats(sound: np.ndarray) -> np.ndarray:
    """Samples of 16 bits as floats."""
    return sound.astype(np.float32) / np.float32(32767)


@dataclass
class Options:
    """What a run is made of. ``seconds`` above 0 ends it early, at its lowest rate all the same."""

    steps: int = 2500
    batch: int = 64
    rate: float = 1e-4
    encoder_rate: float = 0.3
    teacher: float = 1.5
    empty: float = 0.10
    full: float = 0.2
    hinted: float = 0.15
    noisy: float = 0.75
    noisiest: float = -3.0
    holed: float = 0.3
    seconds: float = 0.0
    seed: int = 3


class Batches(torch.utils.data.Dataset[dict[str, Any]]):
    """Batch number → arrays; every batch is made from its own seed, so that a run can be repeated."""

    def __init__(self, corpus: Corpus, chosen: list[int], options: Options) -> None:
        self.corpus, self.options = corpus, options
        dice = np.random.default_rng(options.seed)
        order: list[int] = []
        while len(order) < options.steps * options.batch:
            order += [chosen[i] for i in dice.permutation(len(chosen))]
        self.order = order

    def __len__(self) -> int:
        return self.options.steps

    def __getitem__(self, step: int) -> dict[str, Any]:
        o, dice = self.options, np.random.default_rng([self.options.seed, step])
        chosen = self.order[step * o.batch : (step + 1) * o.batch]
        sounds, targets, clean = [], [], []
        for row, i in enumerate(chosen):
            sound, ids = self._example(i, dice)
            sounds.append(sound)
            targets.append(ids)
            if o.teacher and ids and self.corpus.lines[i]["domain"] == "general":
                clean.append((row, _floats(self.corpus.sounds[i])))
        longest = max(map(len, sounds)) // HOP + 1
        frames = FULL_FRAMES if dice.random() < o.full else max(200, longest + int(dice.integers(30, 256)))
        frames = min(-(-frames // 100) * 100, FULL_FRAMES)  # few different shapes, so that plans are made once
        out = _padded(sounds, targets, frames, self._hint(dice), self.corpus.tokens)
        warp = np.where(dice.random(o.batch) < 0.6, dice.uniform(0.88, 1.13, o.batch), 1.0)
        out["warp"] = warp.astype(np.float32)
        clean = clean[: len(clean) // 4 * 4]
        if clean:
            out["teacher_rows"] = np.array([row for row, _ in clean])
            out["teacher_sound"] = _stacked([sound for _, sound in clean], FULL_FRAMES)
        return out

    def _hint(self, dice: np.random.Generator) -> list[int]:
        hints = self.corpus.tokens["hints"]
        return list(hints[int(dice.integers(len(hints)))]) if hints and dice.random() < self.options.hinted else []

    def _example(self, i: int, dice: np.random.Generator) -> tuple[np.ndarray, list[int]]:
        o, background = self.options, self.corpus.noises[int(dice.integers(len(self.corpus.noises)))]
        if dice.random() < o.empty:
            size = int(dice.integers(4_000, 100_000))
            start = int(dice.integers(0, len(background) - size))
            return background[start : start + size] * np.float32(10 ** dice.uniform(-4, -0.7)), []
        sound = distort.speaker(_floats(self.corpus.sounds[i]), dice)
        before, after = (np.zeros(int(dice.integers(0, 8000)), np.float32) for _ in range(2))
        sound = np.concatenate([before, sound, after])
        if dice.random() < o.noisy:
            sound = distort.in_noise(sound, background, dice, float(dice.uniform(o.noisiest, 25)))
        peak = float(np.abs(sound).max())
        return (sound * np.float32(dice.uniform(0.05, 0.95) / max(peak, 1e-6))), list(self.corpus.lines[i]["ids"])


def _padded(
    sounds: list[np.ndarray], targets: list[list[int]], frames: int, hint: list[int], tokens: dict[str, Any]
) -> dict[str, Any]:
    """Sounds as one array of ``frames``, tokens as decoder input, and what each position should say next.

    At the first position that is whether anybody spoke, which the engine reads as the probability of no speech.
    """
    frames = frames + 2 if frames == TRAP_FRAMES else frames
    front = [tokens["prev"], *hint] if hint else []
    rows = [[*front, tokens["sot"], tokens["nots"], *ids, tokens["eot"]] for ids in targets]
    longest = -(-max(map(len, rows)) // 8) * 8
    said, want = np.full((len(rows), longest), tokens["eot"]), np.full((len(rows), longest), -100)
    for into, goal, row in zip(said, want, rows, strict=True):
        into[: len(row)] = row
        goal[len(front)] = tokens["nots"] if len(row) > len(front) + 3 else tokens["nospeech"]
        goal[len(front) + 1 : len(row) - 1] = row[len(front) + 2 :]
    first = np.array([tokens["nots"], tokens["nospeech"]])
    return {"sound": _stacked(sounds, frames), "frames": frames, "said": said, "want": want, "first": first}


def _stacked(sounds: list[np.ndarray], frames: int) -> np.ndarray:
    """Sounds under one another as int16, no longer than the longest: what crosses to the training process is small."""
    length = min(frames * HOP, max(map(len, sounds)))
    out = np.zeros((len(sounds), length), np.int16)
    for into, sound in zip(out, sounds, strict=True):
        into[: min(len(sound), length)] = np.clip(sound[:length] * 32767, -32768, 32767).astype(np.int16)
    return out


def _lengthened(stacked: torch.Tensor, frames: int) -> torch.Tensor:
    """The same as floats, with silence up to ``frames``."""
    sound = stacked.float() / 32767
    return functional.pad(sound, (0, frames * HOP - sound.shape[1]))


def greedy(
    model: Recogniser, mel: LogMel, sounds: list[np.ndarray], tokens: dict[str, Any], device: str
) -> list[list[int]]:
    """Token ids for each sound, by taking the best token each time, on short input as the engine gives it."""
    out: list[list[int]] = []
    for at in range(0, len(sounds), 32):
        some = [_floats(sound) for sound in sounds[at : at + 32]]
        frames = max(200, max(map(len, some)) // HOP + 129)
        frames += frames % 2
        heard = _lengthened(torch.tensor(_stacked(some, frames), device=device), frames)
        with torch.no_grad(), torch.autocast(device, torch.bfloat16):
            memory = model.enc(mel(heard))
            said = torch.tensor([[tokens["sot"], tokens["nots"]]] * len(some), device=device)
            done = torch.zeros(len(some), dtype=torch.bool, device=device)
            for _ in range(80):
                best = model.dec(said, memory)[:, -1].float().argmax(-1)
                best[done] = tokens["eot"]
                done |= best == tokens["eot"]
                said = torch.cat([said, best[:, None]], 1)
                if done.all():
                    break
        out += [[t for t in row[2:] if t != tokens["eot"]] for row in said.tolist()]
    return out


def token_errors(got: list[list[int]], want: list[list[int]]) -> float:
    """Edit distance over all tokens, divided by the tokens wanted."""

    def distance(a: list[int], b: list[int]) -> int:
        row = list(range(len(b) + 1))
        for i, x in enumerate(a, 1):
            before, row[0] = row[0], i
            for j, y in enumerate(b, 1):
                before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (x != y))
        return row[-1]

    return sum(map(distance, got, want)) / max(1, sum(map(len, want)))


def train(
    corpus: Corpus, options: Options, start: Path, shipped: Path, device: str, workers: int, out: Path, name: str
) -> None:
    """Train, save, then print the errors on each measuring set."""
    model, teacher = load(start, shipped, device), load(start, shipped, device).eval().requires_grad_(False)
    mel = LogMel(np.array(corpus.tokens["mel_filters"], dtype=np.float32), device)
    groups = [
        {"params": [p for n, p in model.dec.named_parameters() if n != "emb"], "lr": options.rate},
        {
            "params": [p for n, p in model.enc.named_parameters() if n != "pos"],
            "lr": options.rate * options.encoder_rate,
        },
    ]
    optimiser = torch.optim.AdamW(groups, weight_decay=0.01, betas=(0.9, 0.98))
    rates = [group["lr"] for group in groups]
    measured = sorted({line["set"] for line in corpus.lines if line.get("set")})
    chosen = [i for i, line in enumerate(corpus.lines) if not line.get("set") for _ in range(line.get("times", 1))]
    trained = [p for group in groups for p in group["params"]]
    mean = [p.detach().clone() for p in trained]
    batches = torch.utils.data.DataLoader(
        Batches(corpus, chosen, options), batch_size=None, num_workers=workers, prefetch_factor=4 if workers else None
    )
    began, progress = time.time(), 0.0
    for step, batch in enumerate(batches):
        # Whichever ends first, the steps or the seconds, sets how far the rate has fallen.
        spent = (time.time() - began) / options.seconds if options.seconds else 0.0
        progress = max(progress, step / options.steps, spent)
        share = min(1.0, step / 100) * 0.5 * (1 + math.cos(math.pi * min(1.0, progress)))
        for group, rate in zip(optimiser.param_groups, rates, strict=True):
            group["lr"] = rate * share
        loss = _loss(model, teacher, mel, batch, options, device)
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(trained, 1.0)
        optimiser.step()
        torch._foreach_lerp_(mean, [p.detach() for p in trained], max(1 - MEAN_KEEPS, 1 / (step + 1)))
        if step % 100 == 0:
            print(name, step, f"loss {loss.item():.3f}", f"{time.time() - began:.0f} s", flush=True)
        if step and step % SAVE_EVERY == 0:
            _save_mean(model, trained, mean, out, name)
        if progress >= 1.0:
            break
    for p, average in zip(trained, mean, strict=True):
        p.data.copy_(average)
    save(model, out, name)
    errors = {s: round(_measure(model, mel, corpus, s, device), 4) for s in measured}
    print(name, step, errors, f"{time.time() - began:.0f} s", flush=True)


def _save_mean(model: Recogniser, trained: list[nn.Parameter], mean: list[torch.Tensor], out: Path, name: str) -> None:
    """Save the mean so far, so that a run that is cut off leaves weights; training goes on with its own."""
    own = [p.detach().clone() for p in trained]
    for p, average in zip(trained, mean, strict=True):
        p.data.copy_(average)
    save(model, out, name)
    for p, kept in zip(trained, own, strict=True):
        p.data.copy_(kept)


def _loss(
    model: Recogniser, teacher: Recogniser, mel: LogMel, batch: dict[str, Any], options: Options, device: str
) -> torch.Tensor:
    tensor = lambda key: torch.as_tensor(batch[key]).to(device, non_blocking=True)  # noqa: E731
    said, want = tensor("said"), tensor("want")
    with torch.autocast(device, torch.bfloat16):
        with torch.no_grad():
            frames = mel(_lengthened(tensor("sound"), int(batch["frames"])), tensor("warp"))
            frames = holes(frames, options.holed)
        scores = model.dec(said, model.enc(frames))
    loss = functional.cross_entropy(
        scores.float().flatten(0, 1), want.flatten(), ignore_index=-100, label_smoothing=0.05
    )
    if "teacher_rows" in batch:
        rows = tensor("teacher_rows")
        with torch.no_grad(), torch.autocast(device, torch.bfloat16):
            goal = teacher.dec(said[rows], teacher.enc(mel(_lengthened(tensor("teacher_sound"), FULL_FRAMES))))
        # The first position says whether anybody spoke, which the teacher was not asked.
        asked = (want[rows] != -100) & torch.isin(want[rows], tensor("first"), invert=True)
        apart = functional.kl_div(
            functional.log_softmax(scores[rows][asked].float(), -1),
            functional.log_softmax(goal[asked].float(), -1),
            log_target=True,
            reduction="batchmean",
        )
        loss = loss + apart * len(rows) / len(said) * options.teacher
    return loss


def _measure(model: Recogniser, mel: LogMel, corpus: Corpus, name: str, device: str) -> float:
    chosen = [i for i, line in enumerate(corpus.lines) if line.get("set") == name]
    got = greedy(model, mel, [corpus.sounds[i] for i in chosen], corpus.tokens, device)
    return token_errors(got, [corpus.lines[i]["ids"] for i in chosen])


def save(model: Recogniser, out: Path, name: str) -> None:
    """Write the trained arrays as half floats, in files under 15 MB."""
    out.mkdir(parents=True, exist_ok=True)
    state, mapping = model.state_dict(), names()
    parts: list[dict[str, np.ndarray]] = [{}]
    for ours in sorted(mapping):
        if ours == "enc.pos":
            continue
        array = state[ours].half().cpu().numpy()
        if sum(a.nbytes for a in parts[-1].values()) + array.nbytes > 15e6:
            parts.append({})
        parts[-1][ours] = array
    for number, part in enumerate(parts):
        np.savez(out / f"{name}{number}.npz", **part)
    (out / "map.json").write_text(json.dumps(mapping), encoding="utf-8")


def main() -> None:
    """Read the options, train, save."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("data", "start", "shipped", "out"):
        ask.add_argument(f"--{name}", type=Path, required=True)
    ask.add_argument("--name", default="A")
    ask.add_argument("--workers", type=int, default=12)
    ask.add_argument("--noises", type=int, default=300)
    for field, default in Options().__dict__.items():
        ask.add_argument(f"--{field.replace('_', '-')}", type=type(default), default=default)
    given = vars(ask.parse_args())
    options = Options(**{field: given[field] for field in Options().__dict__})
    device = "cuda" if torch.cuda.is_available() else "cpu"
    print(given["name"], options, device, flush=True)
    torch.manual_seed(options.seed)
    corpus = read_corpus(given["data"], options.seed, given["noises"])
    print(len(corpus.lines), "clips", round(sum(map(len, corpus.sounds)) / distort.RATE_HZ / 3600, 2), "h", flush=True)
    train(corpus, options, given["start"], given["shipped"], device, given["workers"], given["out"], given["name"])


if __name__ == "__main__":
    sys.exit(main())
