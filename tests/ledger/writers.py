"""Writers in processes of their own, for tests that kill them or set many going at once."""

from __future__ import annotations

import subprocess
import sys

# Writes readings without end and says which were acknowledged; each line stands for one that is on the disk.
KEEP_WRITING = """
import sys
from linewright.verbs import shelf
ledger = shelf.open_ledger(sys.argv[1])
number = int(sys.argv[3])
while True:
    number += 1
    cells = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "blue 7", "reading": str(number)}
    shelf.add_reading(ledger, sys.argv[2], cells, token=f"t{number}")
    sys.stdout.write(f"{number}\\n")
    sys.stdout.flush()
"""
# Lets writers loose one after another and kills each in the midst of writing, at a moment that differs each time:
# after its first to ninth acknowledgement, at once. Writers are forked from a process that has everything loaded, so
# that most of their life is writing. Says what was acknowledged.
KILL_WRITERS = """
import os, signal, sys
from linewright.verbs import shelf
import linewright.files.sheet, linewright.catalogue.lines
import sqlalchemy.dialects.sqlite.pysqlite
where, session, times = sys.argv[1], sys.argv[2], int(sys.argv[3])

def write(turn, out):
    ledger = shelf.open_ledger(where)
    number = turn * 100_000
    while True:
        number += 1
        cells = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "blue 7", "reading": str(number)}
        shelf.add_reading(ledger, session, cells, token=f"t{number}")
        os.write(out, f"{number} ".encode())

for turn in range(times):
    told, out = os.pipe()
    writer = os.fork()
    if not writer:
        try:
            write(turn, out)
        finally:
            os._exit(1)
    os.close(out)
    said = b""
    while said.count(b" ") < 1 + turn % 9:
        more = os.read(told, 1000)
        assert more, "a writer ended by itself"
        said += more
    os.kill(writer, signal.SIGKILL)
    assert os.WIFSIGNALED(os.waitpid(writer, 0)[1])
    while more := os.read(told, 10_000):
        said += more
    os.close(told)
    print(said.decode())
"""
# Runs many processes at once, each doing the same, and says which failed. They are forked from one that has everything
# loaded and wait for each other, so that they meet in the ledger and not in their imports.
AT_ONCE = """
import os, sys, traceback
from linewright.verbs import shelf
import linewright.files.sheet, linewright.catalogue.lines
import sqlalchemy.dialects.sqlite.pysqlite, sqlalchemy.dialects.postgresql.psycopg

def write(who):
    with shelf.open_ledger(sys.argv[1]) as ledger:
        for number in range(int(sys.argv[4])):
            cells = {"meter": "desk meter", "frequency": "14.2 MHz", "path": "blue 7", "reading": "8.2", "note": who}
            shelf.add_reading(ledger, sys.argv[3], cells, token=f"{who}-{number}", by=shelf.By(who=who))

gate, go = os.pipe()
running = []
for number in range(int(sys.argv[2])):
    one = os.fork()
    if not one:
        os.close(go)
        os.read(gate, 1)
        try:
            write(f"w{number}") if len(sys.argv) > 3 else shelf.open_ledger(sys.argv[1]).close()
        except BaseException:
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    running.append(one)
os.close(go)
sys.exit(any([os.waitpid(one, 0)[1] for one in running]))
"""


def start(code: str, *words: str, **more) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", code, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more
    )
