"""Reference rides for the integrator, from scipy's DOP853 (rtol 1e-12).

    /usr/bin/python3 generate.py        writes rides.json beside this file

Equation:  M v dv/dx = eta P / v - F,
    F = drag (v + w) |v + w| + m g (G + crr) / sqrt(1 + G^2) + b0 + b1 v,
g = 9.80665, G = rise over distance along the road, w head wind. Power,
gradient and wind are constant on a leg; the integration is restarted at every
leg. Method: in distance with the state (v^2, t); from rest, and whenever the
speed is below 1 m/s, in time (state kinetic energy and distance, or speed and
distance when nobody pedals) until 1 m/s or the end of the leg, found as an
event. The whole ride is integrated a second time by Radau (rtol 1e-11) in
time with events at the leg ends; `second_method_s` is the difference of the
two finish times. Random courses come from numpy's PCG64 with the seed in the
fixture. Made with Debian's python3-scipy 1.10.1.
"""

import json
import os

import numpy as np
import scipy
from scipy.integrate import solve_ivp

HERE = os.path.dirname(os.path.abspath(__file__))
G0 = 9.80665

R1 = dict(mass=80.0, inertial=80 + 0.14 / 0.311 ** 2, drag=0.18, crr=0.004, efficiency=0.977, bearing0=0.0, bearing1=0.0)
R1N = dict(R1, inertial=80.0)
HILL = dict(mass=77.1, inertial=77.1 + 0.14 / 0.334 ** 2, drag=0.5 * 1.19 * 0.3244, crr=0.004, efficiency=0.976,
            bearing0=0.091, bearing1=0.0087)
HEAVY = dict(HILL, mass=112.0, inertial=112 + 0.14 / 0.334 ** 2, drag=0.5 * 1.19 * 0.42, crr=0.006)
LIGHT = dict(HILL, mass=52.0, inertial=52 + 0.10 / 0.334 ** 2, drag=0.5 * 1.05 * 0.25, crr=0.003)


def force(m, leg, v):
    length, g, watts, w = leg
    a = v + w
    return m["drag"] * a * abs(a) + m["mass"] * G0 * (g + m["crr"]) / np.sqrt(1 + g * g) + m["bearing0"] + m["bearing1"] * v


def slow_start(m, leg, v0, method="DOP853", rtol=1e-12, until=1.0):
    """In time from v0 to `until` m/s or the leg's end -> (v, x, t)."""
    p = m["efficiency"] * leg[2]
    if p > 0:
        def f(_, y):
            v = np.sqrt(2 * max(y[0], 0) / m["inertial"])
            return [p - force(m, leg, v) * v, v]
        y0, target = [0.5 * m["inertial"] * v0 ** 2, 0.0], 0.5 * m["inertial"] * until ** 2
    else:
        def f(_, y):
            return [-force(m, leg, y[0]) / m["inertial"], y[0]]
        y0, target = [v0, 0.0], until
    fast = lambda _, y: y[0] - target
    end = lambda _, y: y[1] - leg[0]
    fast.terminal = end.terminal = True
    fast.direction = end.direction = 1
    r = solve_ivp(f, (0, 1e5), y0, method=method, rtol=rtol, atol=1e-13, events=[fast, end])
    assert r.status == 1, r.message
    which = 0 if len(r.t_events[0]) else 1
    y = r.y_events[which][0]
    v = np.sqrt(2 * y[0] / m["inertial"]) if p > 0 else y[0]
    if which == 0:
        return until, y[1], r.t_events[0][0]
    return v, leg[0], r.t_events[1][0]


def ride(m, start, legs):
    v, t, times, speeds = start, 0.0, [], []
    for leg in legs:
        x = 0.0
        if v < 1:
            v, x, dt = slow_start(m, leg, v)
            t += dt
        if x < leg[0]:
            p = m["efficiency"] * leg[2]

            def f(_, y):
                s = np.sqrt(y[0])
                return [2 * (p / s - force(m, leg, s)) / m["inertial"], 1 / s]
            r = solve_ivp(f, (x, leg[0]), [v * v, 0.0], method="DOP853", rtol=1e-12, atol=1e-13)
            assert r.status == 0, r.message
            assert r.y[0].min() > 0.05, "nearly stalls"
            v, t = float(np.sqrt(r.y[0, -1])), t + float(r.y[1, -1])
        times.append(float(t))
        speeds.append(float(v))
    return times, speeds


def ride_in_time(m, start, legs):
    v, t = start, 0.0
    for leg in legs:
        x = 0.0
        if v < 1:
            v, x, dt = slow_start(m, leg, v, "Radau", 1e-11, 1.0)
            t += dt
        if x < leg[0]:
            p = m["efficiency"] * leg[2]
            f = lambda _, y: [(p / y[0] - force(m, leg, y[0])) / m["inertial"], y[0]]
            end = lambda _, y: y[1] - leg[0]
            end.terminal, end.direction = True, 1
            r = solve_ivp(f, (0, 1e5), [v, x], method="Radau", rtol=1e-11, atol=1e-11, events=end)
            assert r.status == 1, r.message
            v, t = r.y_events[0][0][0], t + r.t_events[0][0]
    return t


def random_legs(seed, n, lengths, steepest, powers, wind=0.0):
    """Random legs; uphill the power is at least what 1.5 m/s needs, roughly."""
    rng = np.random.default_rng(seed)
    legs = []
    for _ in range(n):
        g = round(float(rng.uniform(-steepest, steepest)), 4)
        p = float(rng.choice(powers))
        if g > 0:
            p = max(p, round(1.5 * 120 * G0 * (g + 0.006) + 20))
        legs.append([round(float(rng.uniform(*lengths)), 1), g, p, round(float(rng.uniform(-wind, wind)), 2)])
    return legs


def section(*legs):
    return [list(map(float, leg)) + [0.0] * (4 - len(leg)) for leg in legs]


A = section((1000, 0, 250), (1000, 0.05, 250), (1000, -0.03, 250))
hill = [[0, 0], [2000, 0], [4000, 100], [5000, 100], [7000, 0], [8000, 0], [9000, 60], [10000, 0]]
even = [[float(b[0] - a[0]), (b[1] - a[1]) / (b[0] - a[0]), 255.6, 0.0] for a, b in zip(hill[:-1], hill[1:])]
STEPS = [0, 60, 120, 180, 240, 320, 450, 700, 1000]

RIDES = [
    ("A", R1, 10, A), ("A without wheel inertia", R1N, 10, A),
    ("B", R1, 10, section((1000, 0, 230), (1000, 0.05, 330), (1000, -0.03, 120))),
    ("C", R1, 1, A),
    ("D", R1, 10, section((1000, 0, 250), (1000, 0.05, 250), (1000, -0.06, 0))),
    ("E", R1, 8, [[2000.0, 0.0, 250.0, 3.0]]), ("F", R1, 8, [[2000.0, 0.0, 250.0, -3.0]]),
    ("even 255.6 W on the hill, from rest", HILL, 0, even),
    ("from rest, flat, sprint", HILL, 0, section((50, 0, 900), (450, 0, 300))),
    ("from rest on a 10 % climb", HILL, 0, section((300, 0.10, 220), (300, 0.02, 220))),
    ("from rest, coasting down 5 %", HILL, 0, section((400, -0.05, 0), (400, 0, 200))),
    ("from rest, 20 W", HEAVY, 0, section((100, 0, 20), (400, 0, 150))),
    ("steep slow climbs", HEAVY, 3, section((400, 0.15, 160), (200, 0.20, 180), (300, 0.12, 140), (500, -0.10, 0))),
    ("coasting descent and run-out", HILL, 5, section((2000, -0.08, 0), (500, 0, 0), (400, 0, 100))),
    ("coasting over a crest at walking pace", LIGHT, 14, section((100, 0.07, 0), (60, 0.07, 160), (600, -0.07, 0))),
    ("head and tail winds", HILL, 6, [[1500.0, 0.0, 230.0, 4.4], [1500.0, 0.0, 230.0, -4.4], [800.0, 0.04, 260.0, 6.0],
                                      [800.0, 0.06, 260.0, -9.0], [700.0, -0.03, 50.0, 8.0]]),
    ("a hundred pieces of 10 m", HILL, 7, [[10.0] + leg[1:] for leg in random_legs(7, 100, (10, 10), 0.08, STEPS)]),
    ("random 1: to 15 %", HILL, 0, random_legs(1, 30, (50, 400), 0.15, STEPS)),
    ("random 2: to 15 %, wind", LIGHT, 4, random_legs(2, 40, (20, 300), 0.15, STEPS, 6)),
    ("random 3: to 15 %, heavy", HEAVY, 0, random_legs(3, 40, (50, 500), 0.15, STEPS)),
    ("random 4: to 4 %, long legs", HILL, 12, random_legs(4, 20, (500, 3000), 0.04, STEPS)),
    ("random 5: short legs, power steps", R1, 5, random_legs(5, 80, (5, 60), 0.15, STEPS)),
    ("random 6: to 8 %, wind", HILL, 0, random_legs(6, 60, (100, 800), 0.08, STEPS, 4)),
]

if __name__ == "__main__":
    out = []
    for name, m, start, legs in RIDES:
        times, speeds = ride(m, float(start), legs)
        second = ride_in_time(m, float(start), legs)
        assert abs(second - times[-1]) < 1e-6, (name, second - times[-1])
        print("%-42s %4d legs %9.1f m %14.6f s  second %+.1e  speeds %.2f..%.2f" % (
            name, len(legs), sum(l[0] for l in legs), times[-1], second - times[-1], min(speeds), max(speeds)))
        out.append(dict(name=name, **m, start_speed=float(start),
                        legs=[dict(length=l[0], gradient=l[1], watts=l[2], head_wind=l[3]) for l in legs],
                        times=times, speeds=speeds, second_method_s=second - times[-1]))
    with open(os.path.join(HERE, "rides.json"), "w") as fh:
        fh.write('{"source": "generate.py beside this file, scipy %s, DOP853 rtol 1e-12",\n "rides": [\n' % scipy.__version__)
        fh.write(",\n".join("  " + json.dumps(r) for r in out))
        fh.write("\n]}\n")
