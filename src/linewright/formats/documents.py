"""Results as JSON documents: the schema first, no number that JSON does not know."""

from __future__ import annotations

import json
import math
from typing import Any, Protocol


class Document(Protocol):
    """Anything that can write itself as plain data."""

    def to_dict(self) -> dict[str, Any]:
        """Return plain data."""
        ...


def to_json(document: Document) -> str:
    """Return a result as JSON text. What is not a finite number becomes null; keys keep their order."""
    return json.dumps(_plain(document.to_dict()), indent=2, ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, (str, int)) or value is None:
        return value
    return value.item()
