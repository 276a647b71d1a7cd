"""Welch's spectrum of a fixed pseudo-random series by scipy.signal.welch.

Writes welch.csv beside this file: frequency (Hz) and one-sided density. The series is made of the linear congruential
generator of Press et al., Numerical Recipes (1664525, 1013904223, modulo 2^32), and a sine, so that any program can make it
again: x_i = u_i + sin(2 pi 87.3 i / 1000), u_i in [-1, 1).
Needs numpy and scipy: python3 welch.py
"""

import csv
import pathlib

import numpy as np
from scipy.signal import welch

state, series = 1, []
for i in range(4000):
    state = (1664525 * state + 1013904223) % 2**32
    series.append(state / 2**31 - 1.0 + np.sin(2.0 * np.pi * 87.3 * i / 1000.0))

frequencies, densities = welch(np.array(series), fs=1000.0, window="hann", nperseg=256, noverlap=128, detrend="constant")

with open(pathlib.Path(__file__).with_name("welch.csv"), "w", newline="") as out:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["frequency_hz", "density"])
    writer.writerows([[repr(float(x)) for x in row] for row in zip(frequencies, densities)])
