"""Plain data as TOML: the tables of sheets, stations and exports."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

from linewright.core.errors import InputError
from linewright.core.messages import say

_BARE = re.compile(r"^[A-Za-z0-9_-]+$")


def toml_text(content: Mapping[str, Any]) -> str:
    """Return plain data as TOML, which reads back as the same data.

    Text, numbers, true and false, lists and tables; tables at the top stand under headers.

    Raises
    ------
    InputError
        If there is anything that TOML cannot hold.

    >>> print(toml_text({"title": "Spring", "piece": [{"tag": "blue 7", "connectors": 2}]}))
    title = "Spring"
    <BLANKLINE>
    [[piece]]
    tag = "blue 7"
    connectors = 2
    <BLANKLINE>
    """
    return "\n".join(_lines(content)).lstrip("\n") + "\n"


def _lines(content: Mapping[str, Any]) -> Iterator[str]:
    later = {k: v for k, v in content.items() if isinstance(v, Mapping) or _tables(v)}
    for key, value in content.items():
        if key not in later:
            yield f"{_key(key)} = {_value(value)}"
    for key, value in later.items():
        for table in [value] if isinstance(value, Mapping) else value:
            yield ""
            yield f"[{_key(key)}]" if isinstance(value, Mapping) else f"[[{_key(key)}]]"
            for name, inner in table.items():
                yield f"{_key(name)} = {_value(inner)}"


def _tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)


def _key(name: str) -> str:
    return name if _BARE.match(name) else _text(name)


def toml_value(value: Any) -> str:
    """Return a single value as TOML.

    >>> toml_value("blue 7"), toml_value(["20 m", 2])
    ('"blue 7"', '["20 m", 2]')
    """
    return _value(value)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, (int, float)):
        return repr(value)
    if _tables(value) and len(value) > 1:
        return "[\n" + "".join(f"  {_value(v)},\n" for v in value) + "]"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(_value(v) for v in value)}]"
    if isinstance(value, Mapping):
        return f"{{{', '.join(f'{_key(k)} = {_value(v)}' for k, v in value.items())}}}"
    raise InputError(
        "value", say("must be text, a number, true or false, a list or a table; got {value}", value=repr(value))
    )


def _text(value: str) -> str:
    """Quote text; JSON's escapes are TOML's, but for a surrogate, which is no character, and for DEL."""
    if any("\ud800" <= c <= "\udfff" for c in value):
        raise InputError("text", say("must hold characters only; got {value}", value=repr(value)))
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
