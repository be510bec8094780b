"""Where the fields of antennas are kept between calls: the user's cache folder, or what the environment names."""

from __future__ import annotations

import os
from functools import cache
from hashlib import blake2b
from pathlib import Path
from typing import Final

import numpy as np

from linewright.core.formulas import near_field
from linewright.core.nouns import wire_antenna
from linewright.files.field_cache import FieldCache
from linewright.link import near_exposure, zone
from linewright.verbs.once import ENGINE

VARIABLE: Final = "LINEWRIGHT_FIELD_CACHE"
"""A folder, or "off"."""
OFF: Final = frozenset({"off", "no", "none", "0"})


def keep_fields() -> None:
    """Keep fields where the environment says, from now on.

    What was worked out by other code is never taken: the key holds a digest of the files that work it out.
    """
    named = os.environ.get(VARIABLE, "").strip()
    near_exposure.keep_fields_in(None if named.lower() in OFF else _cache(named))


@cache
def _cache(named: str) -> FieldCache:
    if not named:
        from platformdirs import user_cache_path

        return FieldCache(user_cache_path("linewright", appauthor=False) / "fields", _code())
    return FieldCache(Path(named), _code())


@cache
def _code() -> str:
    """Return what stands for the code, as far as fields depend on it; the engine where its files cannot be read."""
    digest = blake2b(f"{ENGINE} {np.__version__}".encode(), digest_size=8)
    for module in (near_field, wire_antenna, near_exposure, zone):
        try:
            digest.update(Path(str(module.__file__)).read_bytes())
        except OSError:
            continue
    return digest.hexdigest()
