"""Orientation of a coning, shaken sensor by the reference implementation of VQF, without magnetometer.

Writes vqf_6d.csv beside this file: t_s, and the direction "up" in the sensor's frame, once a second. The readings are made here
by formula, so that any program can make them again: 100 Hz, 5 s of rest, 30 s in which the sensor goes round cones of 0.8 rad
(eased in and out by a polynomial, 36 rad in all), 5 s of rest, a gyro bias of (0.006, -0.004, 0.005) rad/s, and all along y,
in W, a push of 2 sin(2 pi 1.5 (t - 5)) m/s^2 times the pace of the coning.
Source: D. Laidig & T. Seel, Information Fusion 91, 2023; package vqf (PyPI), 6D, default parameters.
Needs numpy and vqf: python3 vqf.py
"""

import csv
import pathlib

import numpy as np
from vqf import VQF

HALF, SPAN, MOVING, REST, GRAVITY = 0.8, 36.0, 30.0, 5.0, 9.80665

t = np.arange(4000) / 100.0
u = np.clip((t - REST) / MOVING, 0.0, 1.0)
angle = SPAN * u**5 * (126.0 + u * (-420.0 + u * (540.0 + u * (-315.0 + 70.0 * u))))
pace = SPAN / MOVING * 630.0 * (u * (1.0 - u)) ** 4
sin, cos = np.sin(angle), np.cos(angle)
gyro = pace[:, None] * np.stack([np.full_like(t, np.cos(HALF) - 1.0), -np.sin(HALF) * sin, np.sin(HALF) * cos], axis=1)


def to_sensor(v):
    """Out of W by Rodrigues' formula: the attitude is a turn by HALF about (0, cos, sin)."""
    axis = np.stack([0.0 * t, cos, sin], axis=1)
    along = axis * (axis * v).sum(axis=1, keepdims=True)
    return along + (v - along) * np.cos(HALF) - np.cross(axis, v) * np.sin(HALF)


push = 2.0 * np.sin(2.0 * np.pi * 1.5 * (t - REST)) * pace
accel = to_sensor(np.stack([0.0 * t, push, GRAVITY + 0.0 * t], axis=1))
quaternion = VQF(0.01).updateBatch(np.ascontiguousarray(gyro + [0.006, -0.004, 0.005]), np.ascontiguousarray(accel))["quat6D"]
w, x, y, z = quaternion.T
up = np.stack([2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)], axis=1)
truth = to_sensor(np.tile([0.0, 0.0, 1.0], (len(t), 1)))
apart = np.degrees(np.arccos(np.clip((up * truth).sum(axis=1), -1.0, 1.0)))
print("VQF from the truth, degrees: rms", np.sqrt((apart**2).mean()), "most", apart.max())

with open(pathlib.Path(__file__).with_name("vqf_6d.csv"), "w", newline="") as out:
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["t_s", "up_x", "up_y", "up_z"])
    for i in range(99, len(t), 100):
        writer.writerow([repr(float(v)) for v in [t[i], *up[i]]])
