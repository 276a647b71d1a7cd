"""Reference values of the two-pass Butterworth filter, by scipy.signal: writes butterworth.csv beside this file.

    python3 -m venv V && V/bin/pip install numpy scipy && V/bin/python tests/reference/butterworth.py

Made with scipy 1.17.1.
"""
from pathlib import Path

import numpy as np
from scipy import signal

RATE_HZ, CORNER_HZ, COUNT = 1000.0, 20.0, 160
t = np.arange(COUNT) / RATE_HZ
x = 3.0 + 40.0 * t + 5.0 * np.sin(2 * np.pi * 6.0 * t) + 2.0 * np.cos(2 * np.pi * 70.0 * t) + (t > 0.08)
b, a = signal.butter(2, CORNER_HZ, fs=RATE_HZ)
y = signal.filtfilt(b, a, x)
rows = ["input,filtered"] + [f"{float(p)!r},{float(q)!r}" for p, q in zip(x, y)]
out = Path(__file__).with_suffix(".csv")
out.write_text("\n".join(rows) + "\n")
for rate in (1000.0, 208.0, 104.0):
    b, a = signal.butter(2, CORNER_HZ, fs=rate)
    print(rate, [float(v) for v in b], [float(v) for v in a])
