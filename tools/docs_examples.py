"""Examples of docstrings as a section of their own, for the reference of the library."""

from __future__ import annotations

import re
from typing import Any

import griffe

EXAMPLE = re.compile(r"\n\n(?=>>> )")


class Examples(griffe.Extension):
    """Puts a heading over examples that follow another section, which would take them for its entries."""

    def on_object(self, *, obj: griffe.Object, **more: Any) -> None:
        """Write the heading into a docstring that lacks it."""
        if obj.docstring and "\nExamples\n" not in obj.docstring.value:
            obj.docstring.value = EXAMPLE.sub("\n\nExamples\n--------\n", obj.docstring.value, count=1)
