"""A sweep that tells nothing of a line is not kept."""

import pytest

from linewright.core.errors import InputError
from linewright.verbs.shelf import add, file_sweep, list_shelf, open_ledger

FEW = "# MHz S RI R 50\n1 0.1 0\n2 0.1 0\n3 0.1 0\n"


def test_it_is_refused_and_the_shelf_stays_readable(tmp_path):
    (tmp_path / "few.s1p").write_text(FEW, encoding="ascii")
    with open_ledger(str(tmp_path / "ledger.sqlite")) as ledger:
        add(ledger, "piece", {"tag": "blue 7", "line": "RG-58C/U", "length": "7.2 m"})
        with pytest.raises(InputError):
            file_sweep(ledger, tmp_path / "few.s1p", "blue 7", "open")
        assert len(list_shelf(ledger).pieces) == 1
