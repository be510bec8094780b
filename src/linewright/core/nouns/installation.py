"""What is found of an installation: the program, what it stands on, and what it needs of the machine."""

from __future__ import annotations

from typing import Any, Literal

from linewright.core.frozen import dataclass
from linewright.core.nouns.bench_result import document

Soundness = Literal["good", "doubt", "wrong"]
"""All is well; something works less well than it could; something does not work."""


@dataclass(frozen=True, slots=True)
class PartFound:
    """One thing that linewright needs: its name, what is there, how well that serves, and the cure."""

    part: str
    found: str
    soundness: Soundness = "good"
    cure: str = ""


@dataclass(frozen=True, slots=True)
class Installation:
    """All that was looked at, and whether it serves."""

    version: str
    parts: tuple[PartFound, ...]

    @property
    def serves(self) -> bool:
        """Whether nothing is wrong; doubts may be left."""
        return all(p.soundness != "wrong" for p in self.parts)

    def to_dict(self) -> dict[str, Any]:
        """Return the document of schema ``linewright/installation/1``."""
        return {**document("linewright/installation/1", self), "serves": self.serves}
