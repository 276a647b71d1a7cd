"""Two groups of swings compared by other programs: data and answers for src/compare/numbers/tests.

Writes comparison.json beside this file: a list of cases, each with its swings ([day, value, sigma] in order) and what
- statsmodels' MixedLM (REML) says of difference, standard error and variances, where the days' variance is above zero and no
  measurement has a sigma of its own;
- scipy's t tests on means of days say where each day has as many swings (ttest_ind, ttest_rel on shared days);
- pingouin's tost says of means of days;
- a plain REML says with full n x n matrices and scipy's minimiser, with sigmas;
- the same matrices say of interval and p, at their worst over the ratio of the days' variance to the swings';
- scipy's bootstrap of means of days says with many days;
and p adjusted by statsmodels' multipletests. Published data are named where they stand.
Needs numpy, scipy, pandas, statsmodels and pingouin (made with 2.4.6, 1.17.1, 3.1.1, 0.15.0, 0.7.0): python3 comparison.py
"""

import json
import pathlib
import warnings

import numpy as np
import pandas as pd
import pingouin
import statsmodels.api as sm
from scipy import optimize, stats
from statsmodels.stats.multitest import multipletests

warnings.simplefilter("ignore")


def draw(seed, then, now, day_sd, change=0.0, sigmas=None, cell_sd=0.0):
    """Days with the given numbers of swings, {day: swings}, of spread 1 about 30; the same day in both is shared."""
    rng = np.random.default_rng(seed)
    effects = {day: day_sd * rng.standard_normal() for day in sorted(set(then) | set(now))}
    rows = []
    for group, days in enumerate((then, now)):
        for day, count in days.items():
            of_cell = cell_sd * rng.standard_normal()
            for _ in range(count):
                sigma = 0.0 if sigmas is None else float(rng.uniform(*sigmas))
                value = 30.0 + change * group + effects[day] + of_cell + np.hypot(1.0, sigma) * rng.standard_normal()
                rows.append((group, day, round(float(value), 6), round(sigma, 6)))
    return pd.DataFrame(rows, columns=["group", "day", "value", "sigma"])


def layout(data, shared):
    """Fixed effects, the difference last, and which rows share a random effect."""
    group = data["group"].to_numpy(float)
    if shared:
        days = pd.get_dummies(data["day"]).to_numpy(float)
        x = np.column_stack([days, group])
        cells = pd.factorize(pd.Series(list(zip(data["group"], data["day"]))))[0]
    else:
        x = np.column_stack([np.ones(len(data)), group]) if group.any() else np.ones((len(data), 1))
        cells = pd.factorize(pd.Series(list(zip(data["group"], data["day"]))))[0]
    z = np.eye(cells.max() + 1)[cells]
    return x, z


def mixed_lm(data, shared):
    x, z = layout(data, shared)
    fit = sm.MixedLM(data["value"], x, groups=z.argmax(1)).fit(reml=True, method=["bfgs", "lbfgs", "powell"], gtol=1e-9)
    return {
        "value": float(fit.fe_params.iloc[-1]),
        "standard_error": float(fit.bse_fe.iloc[-1]),
        "of_swings": float(fit.scale),
        "of_cells": float(fit.cov_re.iloc[0, 0]),
    }


def dense(data, shared):
    """REML by full matrices, sigmas known; then interval and p at the worst ratio."""
    x, z = layout(data, shared)
    y, measured = data["value"].to_numpy(), data["sigma"].to_numpy() ** 2
    contrast = np.zeros(x.shape[1])
    contrast[-1] = 1.0

    def solve(of_swings, of_cells):
        v = np.diag(of_swings + measured) + of_cells * z @ z.T
        vi = np.linalg.inv(v)
        xvx = x.T @ vi @ x
        beta = np.linalg.solve(xvx, x.T @ vi @ y)
        return v, vi, xvx, beta

    def minus_two_log(logs):
        v, vi, xvx, beta = solve(*np.exp(logs))
        r = y - x @ beta
        return np.linalg.slogdet(v)[1] + np.linalg.slogdet(xvx)[1] + r @ vi @ r

    starts = [np.log([1.0, t]) for t in (0.01, 0.1, 1.0)]
    fits = [optimize.minimize(minus_two_log, s, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}) for s in starts]
    best = min(fits, key=lambda f: f.fun)
    of_swings, of_cells = np.exp(best.x)
    _, _, xvx, beta = solve(of_swings, of_cells)
    freedom = z.shape[1] - np.linalg.matrix_rank(x) if not shared else z.shape[1] // 2 - 1
    answers = {
        "value": float(beta[-1]),
        "standard_error": float(np.sqrt(np.linalg.inv(xvx)[-1, -1])),
        "of_swings": float(of_swings),
        "of_cells": float(of_cells),
        "freedom": int(freedom),
    }

    # The scatter of the cells alone: squares of the weighted residuals, less those within cells, which do not depend on the ratio.
    w = np.diag(1.0 / (of_swings + measured))
    within = y @ (w - w @ z @ np.linalg.inv(z.T @ w @ z) @ z.T @ w) @ y

    def at(of_cells):
        _, vi, xvx, beta = solve(of_swings, of_cells)
        r = y - x @ beta
        q = (r @ vi @ r - within) / freedom
        return beta[-1], np.sqrt(np.linalg.inv(xvx)[-1, -1] * q)

    low, high, p, p_same = np.inf, -np.inf, 0.0, 0.0
    reach = stats.t.ppf(0.975, freedom)
    for ratio in [0.0, *np.geomspace(1e-5, 1e4, 400)]:
        value, error = at(ratio)
        low, high = min(low, value - reach * error), max(high, value + reach * error)
        p = max(p, 2 * stats.t.sf(abs(value) / error, freedom))
        p_same = max(p_same, stats.t.sf((AMOUNT - abs(value)) / error, freedom))
    return answers | {"low": float(low), "high": float(high), "p": float(p), "p_same": float(p_same)}


def on_days(data, shared):
    means = data.groupby(["group", "day"])["value"].mean()
    then, now = means[0].to_numpy(), means[1].to_numpy()
    test = stats.ttest_rel(now, then) if shared else stats.ttest_ind(now, then)
    interval = test.confidence_interval(0.95)
    tost = pingouin.tost(now, then, bound=AMOUNT, paired=shared)
    answers = {
        "value": float(now.mean() - then.mean()),
        "p": float(test.pvalue),
        "low": float(interval.low),
        "high": float(interval.high),
        "freedom": int(test.df),
        "p_same": float(tost["pval"].iloc[0]),
    }
    answers["standard_error"] = abs(answers["value"] / float(test.statistic))
    return answers


def bootstrapped(data):
    means = data.groupby(["group", "day"])["value"].mean()
    samples = (means[1].to_numpy(), means[0].to_numpy())
    answer = stats.bootstrap(samples, lambda a, b, axis: a.mean(axis) - b.mean(axis), n_resamples=20000, method="percentile",
                             rng=np.random.default_rng(1))
    return {"low": float(answer.confidence_interval.low), "high": float(answer.confidence_interval.high)}


def case(name, data, **answers):
    swings = [[[int(r.day), r.value, r.sigma] for r in data[data["group"] == g].itertuples()] for g in (0, 1)]
    return {"name": name, "then": swings[0], "now": swings[1], "answers": answers}


AMOUNT = 0.9
even = {day: 20 for day in range(4)}
uneven = {0: 8, 1: 40, 2: 12, 3: 25}
later = {10: 30, 11: 9, 12: 40, 13: 17, 14: 22}
cases = []

data = draw(1, even, {day + 10: 20 for day in range(4)}, 0.5, change=0.8)
cases.append(case("even", data, mixed_lm=mixed_lm(data, False), on_days=on_days(data, False), dense=dense(data, False)))

# Days more alike than the swings within them: a days' variance below zero by the analysis of variance.
data = next(d for seed in range(100) for d in [draw(seed, even, {day + 10: 20 for day in range(4)}, 0.0)]
            if d.groupby(["group", "day"])["value"].mean().groupby("group").var().mean() * 20 < 0.4)
cases.append(case("even_negative", data, on_days=on_days(data, False)))

data = draw(3, uneven, later, 0.6, change=0.5)
cases.append(case("uneven", data, mixed_lm=mixed_lm(data, False), dense=dense(data, False)))

data = draw(4, uneven, later, 0.6, change=0.5, sigmas=(0.1, 1.5))
cases.append(case("uneven_with_sigmas", data, dense=dense(data, False)))

data = draw(5, even, even, 0.8, change=0.4, cell_sd=0.5)
cases.append(case("shared", data, mixed_lm=mixed_lm(data, True), on_days=on_days(data, True), dense=dense(data, True)))

data = draw(6, uneven, {0: 30, 1: 9, 2: 40, 3: 17}, 0.8, cell_sd=0.6, sigmas=(0.1, 1.0))
cases.append(case("shared_uneven_with_sigmas", data, dense=dense(data, True)))

data = draw(7, {day: 4 for day in range(40)}, {day + 50: 4 for day in range(40)}, 0.5, change=0.2)
cases.append(case("many_days", data, on_days=on_days(data, False), bootstrap=bootstrapped(data)))

# Yield of dyestuff by batch, O. L. Davies & P. L. Goldsmith (eds), Statistical Methods in Research and Production (1972), section 6.4.
dyestuff = [[1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
            [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445]]
data = pd.DataFrame([(0, b, float(v), 0.0) for b, vs in enumerate(dyestuff) for v in vs], columns=["group", "day", "value", "sigma"])
cases.append(case("dyestuff", data, mixed_lm=mixed_lm(data, False)))

# Hours of sleep gained on two drugs, Student, Biometrika 6 (1908), 1: a day is a patient.
first, second = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0], [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
data = pd.DataFrame([(g, i, v, 0.0) for g, vs in enumerate((first, second)) for i, v in enumerate(vs)], columns=["group", "day", "value", "sigma"])
cases.append(case("sleep", data, on_days=on_days(data, True)))

p = [0.011, 0.002, 0.04, 0.0005, 0.3, 0.04, 0.9]
for c in cases:
    for k, a in c["answers"].items():
        print(c["name"], k, a)
document = {"amount": AMOUNT, "cases": cases, "holm": {"p": p, "adjusted": multipletests(p, method="holm")[1].tolist()}}
with open(pathlib.Path(__file__).with_name("comparison.json"), "w", newline="") as out:
    out.write("{\n" + f'"amount": {AMOUNT},\n"holm": {json.dumps(document["holm"])},\n"cases": [\n')
    out.write(",\n".join(json.dumps(one) for one in cases) + "\n]}\n")
