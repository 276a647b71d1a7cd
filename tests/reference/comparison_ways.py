"""Four ways to an interval for the difference of two groups of days: how often each is wrong, of 40,000 drawings.

Prints, for each layout of swings a day and each share of the day, the % of "changed" at 5 % though nothing changed:
REML; REML with a days' variance that may be negative; REML scaled by the days' own scatter (Hartung & Knapp 2001); the
worst of the latter over all days' variances, as src/compare/numbers does it. The swings' variance is taken as known, one.
Writes nothing. Needs numpy and scipy (run with 2.4.6, 1.17.1): python3 comparison_ways.py
"""

import numpy as np
from scipy import stats

DRAWINGS = 40_000
RATIOS = np.concatenate([[0.0], np.geomspace(1e-4, 20.0, 45)])
NEGATIVE = np.array([0.98, 0.95, 0.9, 0.8, 0.65, 0.5, 0.35, 0.2, 0.1])
LAYOUTS = {
    "3 + 3 days of 20": ([20] * 3, [20] * 3),
    "2 + 5 days of 8 to 40": ([8, 40], [10, 30, 20, 40, 8]),
    "1 day of 40 + 4 of 8": ([40], [8] * 4),
    "1 day of 8 + 4 of 40": ([8], [40] * 4),
    "3 + 3 days of 5, 20, 60": ([5, 20, 60], [60, 8, 5]),
    "6 + 6 days of 5 to 60": ([5, 20, 60, 10, 10, 40], [60, 8, 5, 30, 20, 8]),
}


def wrong(then, now, of_days, rng):
    variances = 1.0 / np.concatenate([then, now])
    group = np.repeat([0, 1], [len(then), len(now)])
    freedom = len(group) - 2
    y = rng.normal(size=(DRAWINGS, len(group))) * np.sqrt(variances + of_days)

    def at(ratio):
        w = 1.0 / (variances + ratio)
        difference, variance, squares, logs = 0.0, 0.0, 0.0, np.log(variances + ratio).sum()
        for g, sign in ((0, -1.0), (1, 1.0)):
            own = group == g
            weight = w[own].sum()
            mean = y[:, own] @ w[own] / weight
            difference = difference + sign * mean
            variance += 1.0 / weight
            logs += np.log(weight)
            squares = squares + (y[:, own] - mean[:, None]) ** 2 @ w[own]
        return np.abs(difference), variance, squares / freedom, logs + squares

    best = {"bounded": np.full(DRAWINGS, np.inf), "free": np.full(DRAWINGS, np.inf)}
    t = {name: np.full(DRAWINGS, np.inf) for name in ("reml", "negative", "scaled", "worst")}
    for ratio in np.concatenate([-variances.min() * NEGATIVE, RATIOS]):
        difference, variance, q, minus_two_log = at(ratio)
        better = minus_two_log < best["free"]
        best["free"][better] = minus_two_log[better]
        t["negative"][better] = difference[better] / np.sqrt(variance)
        if ratio >= 0.0:
            better = minus_two_log < best["bounded"]
            best["bounded"][better] = minus_two_log[better]
            t["reml"][better] = difference[better] / np.sqrt(variance)
            t["scaled"][better] = difference[better] / np.sqrt(variance * q[better])
            t["worst"] = np.minimum(t["worst"], difference / np.sqrt(variance * q))
    reach = stats.t.ppf(0.975, freedom)
    return "  ".join(f"{name} {100 * np.mean(x > reach):5.2f}" for name, x in t.items())


generator = np.random.default_rng(1)
for name, (then, now) in LAYOUTS.items():
    for share in (0.0, 0.3, 0.5):
        print(f"{name:26} {share:.1f}  {wrong(then, now, share**2, generator)}")
