"""Reference values of the complete elliptic integral K and of the Jacobi functions sn, cn, dn.

Writes elliptic.csv beside this file: m, u, K(m), sn(u|m), cn(u|m), dn(u|m), with parameter m = k².
Needs scipy (scipy.special.ellipk, ellipj; the Cephes library): python3 elliptic.py
"""

import csv
import pathlib

from scipy.special import ellipj, ellipk

rows = []
for m in (0.0, 0.01, 0.2, 0.5, 0.8, 0.97, 0.9924038765061041, 0.9999):
    for u in (-3.1, -0.7, 0.0, 0.3, 1.0, 2.2, 5.0, 17.3):
        sn, cn, dn, _ = ellipj(u, m)
        rows.append([m, u, ellipk(m), sn, cn, dn])

with open(pathlib.Path(__file__).with_name("elliptic.csv"), "w", newline="") as out:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["m", "u", "K", "sn", "cn", "dn"])
    writer.writerows([[repr(float(x)) for x in row] for row in rows])
