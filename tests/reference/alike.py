"""Spreads within and between days, and a trend over days.

Writes alike.json beside this file: values of days (day, value), the mean squares' day variance from scipy's one-way analysis of
variance, REML by statsmodels where every day has as many swings; the slope of the days' means by scipy.stats.linregress where
all days have as many swings, and by statsmodels' weighted least squares where not, with weights from the same moments; the greatest of three standard errors: the
weighted line's, linregress's, and what both variances imply.
Needs numpy, scipy, pandas and statsmodels (made with numpy 2.4.6, scipy 1.17.1, statsmodels 0.15.0): python3 alike.py
"""

import json
import pathlib

import numpy as np
import pandas
import statsmodels.api as sm
import statsmodels.formula.api as smf
from scipy import stats

random = np.random.default_rng(20261127)


def made(days, counts, day_effect, slope):
    rows = []
    for day, count in zip(days, counts):
        shift = 28 + slope * day + day_effect * random.standard_normal()
        rows += [(day, round(float(shift + random.standard_normal()), 3)) for _ in range(count)]
    return rows


def case(name, days, counts, day_effect, slope):
    rows = made(days, counts, day_effect, slope)
    groups = [np.array([v for d, v in rows if d == day]) for day in days]
    n, k = np.array([len(g) for g in groups], float), len(groups)
    within = sum(((g - g.mean()) ** 2).sum() for g in groups) / (n.sum() - k)
    between = stats.f_oneway(*groups).statistic * within
    n0 = (n.sum() - (n**2).sum() / n.sum()) / (k - 1)
    day_variance = max(0.0, (between - within) / n0)
    means, x = np.array([g.mean() for g in groups]), np.array(days, float)
    design = sm.add_constant(x)
    residual = sm.WLS(means, design, weights=n).fit()
    left = (n * residual.resid**2).sum() - (k - 2) * within
    c = np.diag(n)
    swings = n.sum() - np.trace(np.linalg.inv(design.T @ c @ design) @ (design.T @ c @ c @ design))
    theta = max(0.0, left / swings) / within
    w = 1 / (theta + 1 / n)
    weighted = sm.WLS(means, design, weights=w).fit()
    implied = (within / (w * (x - np.average(x, weights=w)) ** 2).sum()) ** 0.5
    errors = [float(weighted.bse[1]), float(stats.linregress(x, means).stderr), float(implied)]
    slope, error = float(weighted.params[1]), max(errors)
    half = error * stats.t.isf(0.025, k - 2)
    out = {
        "name": name, "rows": rows, "within": within**0.5, "between": day_variance**0.5,
        "slope": slope, "low": slope - half, "high": slope + half, "p": 2 * stats.t.sf(abs(slope / error), k - 2), "errors": errors,
    }
    if len(set(counts)) == 1:
        line = stats.linregress(x, means)
        out |= {"linregress_slope": float(line.slope), "linregress_p": float(line.pvalue)}
        table = pandas.DataFrame(rows, columns=["day", "value"])
        reml = smf.mixedlm("value ~ 1", table, groups=table.day).fit(reml=True)
        out["reml_between"] = float(reml.cov_re.iloc[0, 0] ** 0.5)
    print(out["name"], {key: value for key, value in out.items() if key != "rows"})
    return out


cases = [
    case("as many swings each day", [0, 7, 14, 30, 45, 61], [6] * 6, 0.8, 0.03),
    case("more swings on some", [0, 3, 20, 28, 50, 80, 90], [12, 3, 8, 5, 10, 4, 6], 0.8, 0.02),
]
pathlib.Path(__file__).with_name("alike.json").write_text(json.dumps(cases) + "\n")
