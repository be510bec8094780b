"""Style sheets and scripts as they are sent: without what only their authors read."""

from __future__ import annotations

import os
import re
from functools import lru_cache
from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

SPARE = re.compile(r"""("[^"]*"|'[^']*')|/\*.*?\*/|;?\s*(})\s*|\s*([{;,])\s*|(:) |\s+""", re.DOTALL)
"""What a style sheet does without, beside what it does not: texts, and the signs that part its rules."""


def lean_style(text: str) -> str:
    r"""Return a style sheet without comments, and without the spaces that part nothing.

    >>> lean_style('/* Two. */\na > b, i::before {\n  content: "a, b"; margin: calc(1px + 2px) 0;\n}')
    'a > b,i::before{content:"a, b";margin:calc(1px + 2px) 0}'
    """
    return SPARE.sub(lambda m: m[1] or m[2] or m[3] or m[4] or (" " if m[0].isspace() else ""), text).strip()


def lean_script(text: str) -> str:
    r"""Return a script without indents, and without the lines that are comments.

    >>> lean_script("// Two.\nif (a) {\n  b(); // three\n}\n")
    'if (a) {\nb(); // three\n}'
    """
    lines = (line.strip() for line in text.splitlines())
    return "\n".join(line for line in lines if line and not line.startswith("//"))


LEAN = {".css": lean_style, ".js": lean_script}


@lru_cache(maxsize=64)
def _lean(path: Path, _changed: float) -> str:
    return LEAN[path.suffix](path.read_text(encoding="utf-8"))


class LeanFiles(StaticFiles):
    """The files that pages are made up with."""

    def file_response(
        self, full_path: str | os.PathLike[str], stat_result: os.stat_result, scope: Scope, status_code: int = 200
    ) -> Response:
        """Return a file; a style sheet or a script lean. A browser that has it is told so, as before."""
        whole = super().file_response(full_path, stat_result, scope, status_code)
        path = Path(full_path)
        if path.suffix not in LEAN or whole.status_code != status_code:
            return whole
        told = {name: whole.headers[name] for name in ("etag", "last-modified")}
        return Response(_lean(path, stat_result.st_mtime), status_code, told, whole.media_type)
