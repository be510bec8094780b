"""Names of line types in a file: a person's own types before the catalogue's."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from linewright.catalogue import line_type
from linewright.errors import InputError
from linewright.formats import fields
from linewright.model.line import LineType


def line_reader(own: Sequence[LineType]) -> Callable[[Any, str], LineType]:
    """Return a reader of line types, a person's own before the catalogue's."""

    def read(value: Any, name: str) -> LineType:
        try:
            return line_type(fields.text(value, name), own)
        except InputError as error:
            raise type(error)(name, error.rule, cure=error.cure) from error

    return read
