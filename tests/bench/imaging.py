"""Measures the imaging core and prints the whole table: python -m tests.bench.imaging [pictures].

Real pictures come from the open collections beside the checkout: every second small one, and the large ones.
Speed is given as ratios within this one run, so that machines compare; the load of the machine stands beside it.
"""

import sys

from tests.bench import drawn, real, speed
from tests.bench.table import load

if __name__ == "__main__":
    amount = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    load()
    speed.table()
    real.table(amount)
    drawn.table(max(24, amount // 8))
    load()
