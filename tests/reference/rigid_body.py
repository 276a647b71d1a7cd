"""Reference values of two rotations by scipy: an intermediate-axis tumble and a pendulum from 170 degrees.

Writes rigid_body.csv beside this file: case, t, the body rates, and the attitude (w, x, y, z) relative to time 0.
The tumble's rates are Jacobi's functions (Landau & Lifshitz, Mechanics, par. 37; scipy.special.ellipj), the pendulum's
likewise; the attitudes are integrated from the rates' own differential equations (Euler's equations; the pendulum's
theta'' = -w0^2 sin theta) by scipy.integrate.solve_ivp, DOP853 at 1e-13, so that rates and attitudes come by different ways.
The rates of both ways are compared before anything is written.
Needs numpy and scipy: python3 rigid_body.py
"""

import csv
import pathlib

import numpy as np
from scipy.integrate import solve_ivp
from scipy.special import ellipj, ellipk

MOI = np.array([0.9, 1.0, 1.3])
START = np.array([0.9, 0.0, 4.0])
TIMES = np.linspace(0.0, 6.0, 13)


def quaternion_rate(q, omega):
    w, v = q[0], q[1:]
    return 0.5 * np.concatenate([[-v @ omega], w * omega + np.cross(v, omega)])


def solve(rate, start):
    solution = solve_ivp(rate, (0.0, TIMES[-1]), start, method="DOP853", rtol=1e-13, atol=1e-14, t_eval=TIMES)
    assert solution.success
    return solution.y.T


def tumble():
    i1, i2, i3 = MOI
    energy2, square = MOI @ START**2, (MOI * START) @ (MOI * START)
    above, below = energy2 * i3 - square, square - energy2 * i1
    u = np.sqrt((i3 - i2) * below / (i1 * i2 * i3)) * TIMES
    sn, cn, dn, _ = ellipj(u, (i2 - i1) * above / ((i3 - i2) * below))
    rates = np.stack(
        [
            np.sqrt(above / (i1 * (i3 - i1))) * cn,
            np.sqrt(above / (i2 * (i3 - i2))) * sn,
            np.sqrt(below / (i3 * (i3 - i1))) * dn,
        ],
        axis=1,
    )

    def rate(_, state):
        omega, q = state[:3], state[3:]
        return np.concatenate([np.cross(MOI * omega, omega) / MOI, quaternion_rate(q, omega)])

    state = solve(rate, np.concatenate([START, [1.0, 0.0, 0.0, 0.0]]))
    return rates, state[:, :3], state[:, 3:]


def pendulum():
    amplitude, small = np.radians(170.0), np.sqrt(9.80665 / 0.5)
    k = np.sin(0.5 * amplitude)
    _, cn, _, _ = ellipj(small * TIMES + ellipk(k * k), k * k)
    rates = np.outer(2.0 * k * small * cn, [0.0, 1.0, 0.0])
    state = solve(lambda _, s: [s[1], -small * small * np.sin(s[0])], [amplitude, 0.0])
    half = 0.5 * (state[:, 0] - amplitude)
    attitude = np.stack([np.cos(half), 0.0 * half, np.sin(half), 0.0 * half], axis=1)
    return rates, np.outer(state[:, 1], [0.0, 1.0, 0.0]), attitude


rows = []
for case, (rates, integrated, attitudes) in {"tumble": tumble(), "pendulum": pendulum()}.items():
    print(case, "rates differ by", np.abs(rates - integrated).max())
    assert np.abs(rates - integrated).max() < 1e-9
    for t, omega, q in zip(TIMES, rates, attitudes):
        rows.append([case] + [repr(float(x)) for x in [t, *omega, *q]])

with open(pathlib.Path(__file__).with_name("rigid_body.csv"), "w", newline="") as out:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow("case,t_s,omega_x,omega_y,omega_z,q_w,q_x,q_y,q_z".split(","))
    writer.writerows(rows)
