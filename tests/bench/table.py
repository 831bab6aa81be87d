"""Rows of the tables that the benches print."""

import os


def row(what, value):
    print(f"{what:<72}{value}", flush=True)


def load():
    """What else the machine did: processes that wanted a core in the last minute and five, of how many cores."""
    minute, five, _ = os.getloadavg()
    row("load of the machine over 1 / 5 minutes, cores", f"{minute:.1f} / {five:.1f}, {os.cpu_count()}")
