"""Reads, writes, blends and shrinks CTranslate2 Whisper weight files (binary format 6).

A read followed by a write gives the same bytes. Run as a program::

    python models/training/weights.py pack BASE_DIR OUT.npz
    python models/training/weights.py blend BASE_DIR START.npz PARTS_DIR NAME ALPHA OUT_DIR
    python models/training/weights.py int8 DIR OUT_DIR
"""

from __future__ import annotations

import json
import shutil
import struct
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

TYPES: dict[int, type] = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
BESIDE = ("config.json", "tokenizer.json", "vocabulary.txt")
EMBEDDING = "decoder/embeddings/weight"
Arrays = dict[str, np.ndarray]


@dataclass(frozen=True)
class WeightFile:
    """A whole model.bin: its head, its arrays by name, and names that stand for other names."""

    version: int
    spec: str
    revision: int
    arrays: Arrays
    aliases: dict[str, str]


class _Reader:
    def __init__(self, data: bytes) -> None:
        self.data, self.at = data, 0

    def number(self, code: str) -> int:
        (value,) = struct.unpack_from("<" + code, self.data, self.at)
        self.at += struct.calcsize("<" + code)
        return int(value)

    def text(self) -> str:
        length = self.number("H")
        self.at += length
        return self.data[self.at - length : self.at].rstrip(b"\0").decode()

    def array(self) -> np.ndarray:
        shape = [self.number("I") for _ in range(self.number("B"))]
        kind, size = TYPES[self.number("B")], self.number("I")
        values = np.frombuffer(self.data, kind, size // np.dtype(kind).itemsize, self.at).reshape(shape).copy()
        self.at += size
        return values


def read(folder: Path) -> WeightFile:
    """The weights of ``folder/model.bin``.

    Raises:
        ValueError: bytes are left over, so this is another format.
    """
    reader = _Reader((folder / "model.bin").read_bytes())
    version, spec, revision = reader.number("I"), reader.text(), reader.number("I")
    arrays: Arrays = {}
    for _ in range(reader.number("I")):
        name = reader.text()
        arrays[name] = reader.array()
    aliases: dict[str, str] = {}
    for _ in range(reader.number("I")):
        name = reader.text()
        aliases[name] = reader.text()
    if reader.at != len(reader.data):
        raise ValueError(f"{folder}/model.bin: {len(reader.data) - reader.at} bytes left over; another format?")
    return WeightFile(version, spec, revision, arrays, aliases)


def write(weights: WeightFile, beside: Path, folder: Path) -> None:
    """Write ``folder/model.bin``; the small files that belong to it are copied from ``beside``."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in BESIDE:
        if (beside / name).resolve() != (folder / name).resolve():
            shutil.copy(beside / name, folder / name)
    codes = {np.dtype(kind): code for code, kind in TYPES.items()}
    with (folder / "model.bin").open("wb") as out:
        out.write(struct.pack("<I", weights.version))
        _write_text(out, weights.spec)
        out.write(struct.pack("<II", weights.revision, len(weights.arrays)))
        for name, array in weights.arrays.items():
            _write_text(out, name)
            out.write(struct.pack("<B", array.ndim) + b"".join(struct.pack("<I", size) for size in array.shape))
            out.write(struct.pack("<BI", codes[array.dtype], array.nbytes) + np.ascontiguousarray(array).tobytes())
        out.write(struct.pack("<I", len(weights.aliases)))
        for name, other in weights.aliases.items():
            _write_text(out, name)
            _write_text(out, other)


def _write_text(out: BinaryIO, text: str) -> None:
    raw = text.encode() + b"\0"
    out.write(struct.pack("<H", len(raw)) + raw)


def quantise(matrix: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A float matrix (rows × columns) as int8 and the factor (127 over the row's largest magnitude) of each row."""
    values = matrix.astype(np.float32)
    factor = 127 / np.maximum(np.abs(values).max(axis=1), 1e-12)
    return np.rint(values * factor[:, None]).astype(np.int8), factor.astype(np.float32)


def shrink(weights: WeightFile) -> WeightFile:
    """Every matrix as int8 with one factor a row; the other arrays as they are."""
    small: Arrays = {}
    for name, array in weights.arrays.items():
        if name.endswith("/weight") and array.ndim == 2:
            small[name], small[name + "_scale"] = quantise(array)
        else:
            small[name] = array
    aliases = {**weights.aliases, "decoder/projection/weight_scale": "decoder/embeddings/weight_scale"}
    return WeightFile(weights.version, weights.spec, weights.revision, small, aliases)


def pack(weights: WeightFile) -> Arrays:
    """What training starts from, small enough to travel: matrices as int8 with factors, embeddings left out.

    The embeddings are never trained, so that training reads them from the shipped model.
    """
    out: Arrays = {}
    for name, array in weights.arrays.items():
        if array.ndim == 0 or "alignment" in name or name == EMBEDDING:
            continue
        key = name.replace("/", "|")
        if array.ndim >= 2 and name.endswith("/weight"):
            flat = array.reshape(array.shape[0], -1)
            out[key + "#q"], out[key + "#f"] = quantise(flat)
            out[key + "#s"] = np.array(array.shape, dtype=np.int64)
        else:
            out[key] = array
    return out


def unpack(packed: Arrays) -> Arrays:
    """The reverse of ``pack``, as float32 and with names as in the weight file."""
    out: Arrays = {}
    for key, array in packed.items():
        name, _, mark = key.partition("#")
        if mark == "q":
            values = array.astype(np.float32) / packed[name + "#f"][:, None]
            out[name.replace("|", "/")] = values.reshape(packed[name + "#s"])
        elif not mark:
            out[name.replace("|", "/")] = array.astype(np.float32)
    return out


def blend(base: WeightFile, start: Arrays, parts: list[Path], names: dict[str, str], share: float) -> WeightFile:
    """``base + share × (trained − start)``: the change that training made, laid on the exact base weights.

    ``start`` is what training began from (``base`` rounded to int8), so that its rounding is not blended in.
    """
    arrays = dict(base.arrays)
    for part in parts:
        for key, trained in np.load(part).items():
            old = base.arrays[names[key]]
            change = trained.astype(np.float32).reshape(old.shape) - start[names[key]].reshape(old.shape)
            arrays[names[key]] = (old.astype(np.float32) + share * change).astype(old.dtype)
    return WeightFile(base.version, base.spec, base.revision, arrays, base.aliases)


def main(arguments: list[str]) -> None:
    """Run one of the three commands of the module's docstring."""
    match arguments:
        case ["pack", base, out]:
            np.savez(out, **pack(read(Path(base))))
        case ["blend", base, start, parts, name, share, out]:
            files = sorted(Path(parts).glob(f"{name}?.npz"))
            names = json.loads((Path(parts) / "map.json").read_text(encoding="utf-8"))
            blended = blend(read(Path(base)), unpack(dict(np.load(start))), files, names, float(share))
            write(blended, Path(base), Path(out))
        case ["int8", folder, out]:
            write(shrink(read(Path(folder))), Path(folder), Path(out))
        case _:
            sys.exit(__doc__)


if __name__ == "__main__":
    main(sys.argv[1:])
