"""Curves of two groups compared by spm1d, and percentiles by numpy.

Writes curve_band.json beside this file: swings of days (group, day, values), and of the days' means t, FWHM, threshold and
stretches by spm1d (two-sample with equal variances, paired, and weighted days through its general linear model); the root of
its own probability by brentq, as its minimiser stops early; stretches' p; the 10th and 90th percentile of the swings.
Of the weighted days also the band's half width: from the estimate to the farthest end of any of spm1d's bands over 400
effects of the days, from none to without bound.
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


def estimated(counts, groups, curves, swing_variance):
    """theta by moments from the sums over all places."""
    counts, groups = np.array(counts, float), np.array(groups)
    squares, swings = 0.0, 0.0
    for group in set(groups):
        n, y = counts[groups == group], curves[groups == group]
        squares += (n[:, None] * (y - np.average(y, axis=0, weights=n)) ** 2).sum()
        swings += n.sum() - (n**2).sum() / n.sum()
    left = len(counts) - len(set(groups))
    return max(0.0, (squares - left * swing_variance) / swings) / swing_variance


def root(test):
    p = lambda z: spm1d.rft1d.prob.rft(1, 0, "T", z, test.df, test.resels, 1, PLACES)[0]
    return float(brentq(lambda z: p(z) - 0.025, 0.5, 1e4, xtol=1e-12))


def weighed(counts, groups, curves, theta):
    """spm1d's general linear model of the days' means with weights 1/(theta + 1/n), and the difference."""
    groups, w = np.array(groups), 1 / (theta + 1 / np.array(counts, float))
    root_w = np.sqrt(w)[:, None]
    design = np.array([[g == 0, g == 1] for g in groups], float) * root_w
    of_group = lambda g: np.average(curves[groups == g], axis=0, weights=w[groups == g])
    return spm1d.stats.glm(curves * root_w, design, (-1, 1)), of_group(1) - of_group(0)


def widest(counts, groups, curves, estimate):
    """Difference, half width, and stretches outside of it, over all theta; a standard error is difference / t."""
    all_theta = [estimate, 0.0, *np.geomspace(1e-4, 1e4, 400), 1e9]
    seen = [(*weighed(counts, groups, curves, theta),) for theta in all_theta]
    heights = [root(test) for test, _ in seen]
    middle = seen[0][1]
    reach = [np.abs(d - middle) + z * np.abs(d / test.z) for (test, d), z in zip(seen, heights)]
    half_width = np.max(reach, axis=0)
    share = np.abs(middle) / half_width - 1
    edges = [k + share[k] / (share[k] - share[k + 1]) for k in range(PLACES - 1) if share[k] * share[k + 1] < 0]
    edges = ([0.0] if share[0] > 0 else []) + edges + ([PLACES - 1.0] if share[-1] > 0 else [])
    p = lambda k, test, z: 2 * spm1d.rft1d.prob.rft(1, k / test.fwhm, "T", z, test.df, test.resels, 1, PLACES)[0]
    stretches = []
    for begin, end in zip(edges[::2], edges[1::2]):
        of_each = [p(end - begin, test, z) for (test, _), z in zip(seen, heights)]
        stretches.append([float(begin), float(end), float(min(0.05, max(of_each)))])
    return middle.tolist(), half_width.tolist(), stretches


def answer(name, then, now, test):
    inference = test.inference(alpha=0.05, two_tailed=True, interp=True)
    stretches = [
        [float(c.endpoints[0]), float(c.endpoints[1]), float(c.P)] for c in sorted(inference.clusters, key=lambda c: c.endpoints[0])
    ]
    print(name, "df", test.df, "fwhm", test.fwhm, "zstar", inference.zstar, stretches)
    return {
        "name": name, "then": then, "now": now, "df": float(test.df[1]), "t": [float(x) for x in test.z], "fwhm": float(test.fwhm),
        "zstar": float(np.ravel(inference.zstar)[0]), "root": root(test), "stretches": stretches,
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
rows = (n + m, groups, np.vstack([y, z]))
theta = estimated(*rows, swing_variance)
test, _ = weighed(*rows, theta)
case = answer("weighted days", then, now, test)
case["mean"], case["half_width"], case["stretches"] = widest(*rows, theta)
print(case["stretches"])
cases.append(case)

then = swings_of(range(3), [1] * 3, 30, 0, 0)
now = swings_of(range(10, 13), [1] * 3, 30, 0, 60.0)
ya, yb = means(now)[2], means(then)[2]
cases.append(answer("all of it", then, now, spm1d.stats.ttest2(ya, yb, equal_var=True)))

curves = np.array([curve for _, curve in cases[2]["now"]])
out = {"cases": cases, "low": np.percentile(curves, 10, axis=0).tolist(), "high": np.percentile(curves, 90, axis=0).tolist()}
pathlib.Path(__file__).with_name("curve_band.json").write_text(json.dumps(out) + "\n")
