"""No row may cost a quarter more, beside its primitive, than when it was measured last.

The smallest size of each row only; `python -m tests.bench` measures all and writes them down.
"""

import json

import pytest

from tests.bench.__main__ import RESULTS
from tests.bench.measure import measured
from tests.bench.rows import ROWS

MOST_WORSE = 1.25
TRIES = 5  # even a ratio slips, most where the primitive takes 30 ms


@pytest.mark.bench
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_no_row_costs_a_quarter_more_than_when_it_was_measured(row, tmp_path):
    size = row.sizes[0]
    recorded = json.loads(RESULTS.read_text())["rows"][row.name]["sizes"][str(size)]["ratio"]
    case = row.opened(size, tmp_path)
    ratios = []
    for _ in range(TRIES):
        ratios.append(measured(case, 5).ratio)
        if ratios[-1] <= MOST_WORSE * recorded:
            return
    pytest.fail(f"{row.name}: {min(ratios):.3g} of {row.against}, recorded {recorded:.3g}")
