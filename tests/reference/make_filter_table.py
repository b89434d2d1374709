#!/usr/bin/env python3
"""Writes tests/data/filter_table.csv: zero-lag low-passes worked out by scipy.signal (butter, filtfilt), against which
core/math/filter.h is checked. Run once (Debian: python3-scipy); the project itself does not need scipy.

Rows come in pairs:  in,CUTOFF,RATE,values...   out,CUTOFF,RATE,values...
filtfilt continues the ends by the same point reflection as ours ("odd"); the number of padded samples follows the rule
stated in filter.h, from scipy's own poles. The cut-off is moved up for two passes as in Winter.
"""
import math
import pathlib

import numpy
import scipy
from scipy import signal

SEED = 20022
random = numpy.random.default_rng(SEED)
rows = []
for rate, cutoff, count in ((30, 6, 60), (120, 6, 200), (120, 12, 31), (24, 10, 40), (60, 1, 90), (100, 10, 7), (30, 3, 2), (30, 3, 1)):
    time = numpy.arange(count) / rate
    values = 40 * numpy.sin(2 * math.pi * 0.9 * time + 1) + 15 * time + random.normal(0, 0.5, count) + 90
    moved = math.atan(math.tan(math.pi * cutoff / rate) / (math.sqrt(2) - 1) ** 0.25) * rate / math.pi
    b, a = signal.butter(2, moved, fs=rate)
    slowest = max(abs(numpy.roots(a)))
    pad = min(count - 1, math.ceil(math.log(1e-3) / math.log(slowest)))
    smooth = signal.filtfilt(b, a, values, padtype="odd", padlen=pad)
    for kind, numbers in (("in", values), ("out", smooth)):
        rows.append(",".join([kind, str(cutoff), str(rate)] + [repr(float(n)) for n in numbers]))

target = pathlib.Path(__file__).resolve().parent.parent / "data" / "filter_table.csv"
head = f"# scipy {scipy.__version__}, numpy {numpy.__version__}, seed {SEED}; made by tests/reference/make_filter_table.py\n"
target.write_text(head + "\n".join(rows) + "\n")
print(f"{target}: {len(rows)} rows")
