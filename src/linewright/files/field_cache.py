"""Arrays kept between calls in a folder that may be lost at any time: what was worked out stays worked out.

A file holds a line of JSON (key, names, types and shapes, a digest of those and of what follows) and the arrays' bytes.
Whatever cannot be read, or is not what was asked for, counts as absent. A file is written aside and put in place in one
step, so that a reader meets a whole file or none, however many write at once.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from hashlib import blake2b
from math import prod
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

MOST_BYTES: Final = 64 << 20
"""Of all files together; the fields of an antenna on one frequency take some 300 kB."""
KEPT_SHARE: Final = 0.75
"""What is left after the oldest files have gone."""
LARGEST_BYTES: Final = 8 << 20
"""A larger file is not ours."""
ENDING: Final = ".fields"
TYPES: Final = frozenset({"<f4", "<f8", "<c16"})

Arrays = Mapping[str, NDArray[Any]]


class FieldCache:
    """Arrays by a key, in one folder; nothing it meets there stops anyone."""

    def __init__(self, folder: Path, version: str, most_bytes: int = MOST_BYTES) -> None:
        self._folder, self._version, self._most = folder, version, most_bytes

    def get(self, key: str) -> dict[str, NDArray[Any]] | None:
        """Return the arrays of a key; None where they are not there whole."""
        path = self._path(key)
        try:
            if path.stat().st_size > LARGEST_BYTES:
                return None
            found = _read(path.read_bytes(), self._full(key))
        except (OSError, ValueError, KeyError, TypeError):
            return None
        with suppress(OSError):
            os.utime(path)  # the latest used is the last to go
        return found

    def put(self, key: str, arrays: Arrays) -> None:
        """Keep arrays; nothing happens where the folder cannot be written."""
        with suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True)
            import tempfile

            handle, aside = tempfile.mkstemp(dir=self._folder, suffix=".part")
            try:
                with os.fdopen(handle, "wb") as file:
                    file.write(_written(self._full(key), arrays))
                Path(aside).replace(self._path(key))
            finally:
                with suppress(OSError):
                    Path(aside).unlink()
            self._trim()

    def _full(self, key: str) -> str:
        return f"{self._version}|{key}"

    def _path(self, key: str) -> Path:
        return self._folder / f"{blake2b(self._full(key).encode(), digest_size=16).hexdigest()}{ENDING}"

    def _trim(self) -> None:
        """Take the files that were not used for longest away, where all together are too many bytes."""
        with os.scandir(self._folder) as entries:
            held = [(e.stat(), e.path) for e in entries if e.name.endswith((ENDING, ".part"))]
        total = sum(stat.st_size for stat, _ in held)
        if total <= self._most:
            return
        for stat, path in sorted(held, key=lambda one: one[0].st_mtime):
            with suppress(OSError):
                Path(path).unlink()
            total -= stat.st_size
            if total <= KEPT_SHARE * self._most:
                return


def _written(key: str, arrays: Arrays) -> bytes:
    plain = {name: np.ascontiguousarray(a) for name, a in arrays.items()}
    body = b"".join(a.tobytes() for a in plain.values())
    named = [[name, a.dtype.str, list(a.shape)] for name, a in plain.items()]
    head = {"key": key, "arrays": named, "digest": _digest(key, named, body)}
    return json.dumps(head).encode() + b"\n" + body


def _digest(key: str, named: list[Any], body: bytes) -> str:
    return blake2b(json.dumps([key, named]).encode() + body, digest_size=16).hexdigest()


def _read(raw: bytes, key: str) -> dict[str, NDArray[Any]]:
    first, _, body = raw.partition(b"\n")
    head = json.loads(first)
    if head["key"] != key or head["digest"] != _digest(key, head["arrays"], body):
        raise ValueError("not what was asked for, or not whole")
    found, at = {}, 0
    for name, kind, shape in head["arrays"]:
        if kind not in TYPES:
            raise ValueError("a type that is never written")
        count = prod(shape)
        found[name] = np.frombuffer(body, dtype=kind, count=count, offset=at).reshape(shape)
        at += count * np.dtype(kind).itemsize
    return found
