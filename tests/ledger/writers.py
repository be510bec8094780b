"""Writers in processes of their own, for tests that kill them or set many going at once."""

from __future__ import annotations

import subprocess
import sys

# Writes readings without end and says which were acknowledged; each line stands for one that is on the disk.
KEEP_WRITING = """
import sys
from linewright.workflows import shelf
ledger = shelf.open_ledger(sys.argv[1])
number = int(sys.argv[3])
while True:
    number += 1
    cells = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "blue 7", "reading": str(number)}
    shelf.add_reading(ledger, sys.argv[2], cells, token=f"t{number}")
    sys.stdout.write(f"{number}\\n")
    sys.stdout.flush()
"""
WRITE_SOME = """
import sys
from linewright.workflows import shelf
who, many = sys.argv[3], int(sys.argv[4])
with shelf.open_ledger(sys.argv[1]) as ledger:
    for number in range(many):
        cells = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "blue 7", "reading": "8.2", "note": who}
        shelf.add_reading(ledger, sys.argv[2], cells, token=f"{who}-{number}", by=shelf.By(who=who))
"""


def start(code: str, *words: str, **more) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more
    )
