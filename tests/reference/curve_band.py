"""Curves of two groups compared by spm1d, and percentiles by numpy.

Writes curve_band.json beside this file: swings of days (group, day, values), and of the days' means t, FWHM, threshold and
stretches by spm1d (two-sample with equal variances, paired, and weighted days through its general linear model); the root of
its own probability by brentq, as its minimiser stops early; stretches' p; the 10th and 90th percentile of the swings.
Needs numpy, scipy and spm1d (made with numpy 2.4.6, scipy 1.17.1, spm1d 0.4.55): python3 curve_band.py
"""

import json
import pathlib

import numpy as np
import spm1d
from scipy.ndimage import gaussian_filter1d
from scipy.optimize import brentq

PLACES = 41
random = np.random.default_rng(20261126)


def smooth(count, width):
    noise = random.standard_normal((count, PLACES + 80))
    smoothed = gaussian_filter1d(noise, width / 2.3548, axis=1)[:, 40 : 40 + PLACES]
    return smoothed / smoothed.std()


def swings_of(days, counts, width, day_effect, shift):
    rows = []
    for day, count in zip(days, counts):
        curves = 20 + shift + day_effect * smooth(1, width) + smooth(count, width)
        rows += [(day, [round(float(x), 4) for x in curve]) for curve in curves]
    return rows


def means(rows):
    days = sorted({day for day, _ in rows})
    of = lambda day: np.array([curve for d, curve in rows if d == day])
    return days, [len(of(d)) for d in days], np.array([of(d).mean(0) for d in days]), sum(((of(d) - of(d).mean(0)) ** 2).sum() for d in days)


def weights(counts, groups, curves, swing_variance):
    """1/(theta + 1/n), theta by moments from the sums over all places."""
    counts, groups = np.array(counts, float), np.array(groups)
    squares, swings = 0.0, 0.0
    for group in set(groups):
        n, y = counts[groups == group], curves[groups == group]
        squares += (n[:, None] * (y - np.average(y, axis=0, weights=n)) ** 2).sum()
        swings += n.sum() - (n**2).sum() / n.sum()
    left = len(counts) - len(set(groups))
    theta = max(0.0, (squares - left * swing_variance) / swings) / swing_variance
    return 1 / (theta + 1 / counts)


def answer(name, then, now, test):
    inference = test.inference(alpha=0.05, two_tailed=True, interp=True)
    p = lambda z: spm1d.rft1d.prob.rft(1, 0, "T", z, test.df, test.resels, 1, PLACES)[0]
    stretches = [
        [float(c.endpoints[0]), float(c.endpoints[1]), float(c.P)] for c in sorted(inference.clusters, key=lambda c: c.endpoints[0])
    ]
    print(name, "df", test.df, "fwhm", test.fwhm, "zstar", inference.zstar, stretches)
    return {
        "name": name, "then": then, "now": now, "df": float(test.df[1]), "t": [float(x) for x in test.z], "fwhm": float(test.fwhm),
        "zstar": float(np.ravel(inference.zstar)[0]), "root": float(brentq(lambda z: p(z) - 0.025, 0.5, 1e4, xtol=1e-12)), "stretches": stretches,
    }


place = np.linspace(-1, 1, PLACES)
cases = []

then = swings_of(range(4), [1] * 4, 12, 0, 0)
now = swings_of(range(10, 15), [1] * 5, 12, 0, 8 * np.exp(-((place - 0.3) ** 2) / 0.05))
ya, yb = means(now)[2], means(then)[2]
cases.append(answer("two samples", then, now, spm1d.stats.ttest2(ya, yb, equal_var=True)))

then = swings_of(range(6), [1] * 6, 8, 0, 0)
now = swings_of(range(6), [1] * 6, 8, 0, 5 * place)
ya, yb = means(now)[2], means(then)[2]
cases.append(answer("pairs", then, now, spm1d.stats.ttest_paired(ya, yb)))

then = swings_of(range(3), [2, 5, 3], 10, 0.5, 0)
now = swings_of(range(20, 24), [6, 2, 4, 1], 10, 0.5, 3.0)
(_, n, y, s), (_, m, z, r) = means(then), means(now)
swing_variance = (s + r) / (sum(n) + sum(m) - len(n) - len(m))
groups = [0] * len(n) + [1] * len(m)
w = np.sqrt(weights(n + m, groups, np.vstack([y, z]), swing_variance))
design = np.array([[g == 0, g == 1] for g in groups], float) * w[:, None]
cases.append(answer("weighted days", then, now, spm1d.stats.glm(np.vstack([y, z]) * w[:, None], design, (-1, 1))))

then = swings_of(range(3), [1] * 3, 30, 0, 0)
now = swings_of(range(10, 13), [1] * 3, 30, 0, 60.0)
ya, yb = means(now)[2], means(then)[2]
cases.append(answer("all of it", then, now, spm1d.stats.ttest2(ya, yb, equal_var=True)))

curves = np.array([curve for _, curve in cases[2]["now"]])
out = {"cases": cases, "low": np.percentile(curves, 10, axis=0).tolist(), "high": np.percentile(curves, 90, axis=0).tolist()}
pathlib.Path(__file__).with_name("curve_band.json").write_text(json.dumps(out) + "\n")
