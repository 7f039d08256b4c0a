"""Pacing fixtures from a general nonlinear solver: SLSQP on 40 equal pieces.

    /usr/bin/python3 generate.py [course ...]      # no names: all courses

Writes <course>.json beside this file. Needs numpy and scipy (made with
Debian's python3-scipy 1.10.1). A course took from one to 28 minutes on two busy cores.

The problem. A rider starts from rest and rides a course with piecewise
constant gradient. Power is constant on each of 40 equal pieces of distance,
between 0 and the limit. Minimise the time such that the balance W of the work
capacity above critical power never falls below zero:
    P > CP:   W falls by (P - CP) dt
    P <= CP:  W = W' - (W' - W) exp(-(CP - P) dt / W')   (differential form)
Power is constant on a piece, so W is monotone there and given exactly by the
time spent on the piece; it is enough to constrain W at the 40 piece ends.

The motion. M v dv/dx = eta P / v - F, with
    F = k v^2 + m g (G + Crr) / sqrt(1 + G^2) + b0 + b1 v,
M = m + I/r^2, G = rise over distance along the road, theta = atan G.

The integrator the solver sees is a fixed grid in distance, steps of at most
10 m, split at gradient changes and piece ends, classical Runge-Kutta 4 on
u = v^3:  du/dx = 3 (eta P - F v) / M,  dt/dx = u^(-1/3).
u is used because dv/dx is singular at rest and du/dx is not. The first 10 m
are 24 graded steps x = 10 (j/24)^3: near rest v, x and t behave as z, z^3 and
z^2, so steps even in z = x^(1/3) keep the fourth order; on the first of them
(0.7 mm) u is taken linear, which gives dt = 1.5 h / v_end. A rider who would
stop (no power, uphill) is held at 0.3 m/s, so that a trial point of the solver
has a large, finite time; the fixture states the slowest speed met after the
first 10 m to show that no result used this.

The answer is scored a second time by scipy's DOP853 (rtol 1e-10), in time
rather than distance, with kinetic energy as the state, W integrated as a
differential equation and events at gradient changes and piece ends.

Starts: the best even power; the same plus a seeded random perturbation
(sd 40 W); the same tilted by gradient (+1,000 W per unit of gradient, halved
downhill). From each, SLSQP is run and then restarted where it stopped until it
gains less than 0.5 ms. Each end point is repaired to be feasible by scaling
(P - CP)+ until min W = 0, and the fastest is kept. The problem is not convex:
this is the best found, not a proved optimum.
"""

import json
import os
import sys
import time

import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, minimize

HERE = os.path.dirname(os.path.abspath(__file__))
G0 = 9.80665
PHYSICS = dict(
    mass_kg=77.1, wheel_inertia_kg_m2=0.14, wheel_radius_m=0.334,
    cda_m2=0.32, wheel_drag_area_m2=0.0044, crr=0.004,
    air_density_kg_m3=1.19, drivetrain_efficiency=0.976,
    bearing0_n=0.091, bearing1_n_s_per_m=0.0087,
    gravity_m_s2=G0, start_speed_m_s=0.0,
)
CP, WPRIME, LIMIT, PIECES = 240.0, 18000.0, 1000.0, 40
STEP, GRADED, STOPPED = 10.0, 24, 0.3
SEED = 20261

COURSES = {
    "hill": [[0, 0], [2000, 0], [4000, 100], [5000, 100], [7000, 0], [8000, 0], [9000, 60], [10000, 0]],
    "flat": [[0, 0], [10000, 0]],
    "one-climb": [[0, 0], [4000, 0], [7000, 180], [10000, 180]],
    "rolling": [[250 * i, 10 * (i % 2)] for i in range(41)],
    "descent-first": [[0, 150], [3000, 0], [6000, 0], [9000, 150], [10000, 150]],
    "two-long-climbs": [[0, 0], [2000, 0], [7000, 250], [11000, 50], [12000, 50], [17000, 300], [20000, 150]],
    "start-uphill": [[0, 0], [2000, 120], [5000, 120], [7000, 20], [10000, 20]],
}

M = PHYSICS["mass_kg"] + PHYSICS["wheel_inertia_kg_m2"] / PHYSICS["wheel_radius_m"] ** 2
K = 0.5 * PHYSICS["air_density_kg_m3"] * (PHYSICS["cda_m2"] + PHYSICS["wheel_drag_area_m2"])
ETA, B0, B1 = PHYSICS["drivetrain_efficiency"], PHYSICS["bearing0_n"], PHYSICS["bearing1_n_s_per_m"]


def slope_force(g):
    return PHYSICS["mass_kg"] * G0 * (g + PHYSICS["crr"]) / np.sqrt(1 + g * g)


class Course:
    def __init__(self, points):
        self.points = points
        self.length = float(points[-1][0])
        self.ends = np.linspace(0, self.length, PIECES + 1)
        breaks = sorted({float(p[0]) for p in points} | {float(e) for e in self.ends})
        nodes = [STEP * (j / GRADED) ** 3 for j in range(GRADED)]
        for a, b in zip(breaks[:-1], breaks[1:]):
            lo = max(a, STEP)
            n = max(1, int(np.ceil((b - lo) / STEP - 1e-9)))
            nodes += [lo + (b - lo) * j / n for j in range(n)]
        nodes.append(self.length)
        self.nodes = np.array(nodes)
        mid = 0.5 * (self.nodes[1:] + self.nodes[:-1])
        self.piece = np.minimum((mid / self.length * PIECES).astype(int), PIECES - 1)
        self.slope = np.array([slope_force(self.gradient(x)) for x in mid]) + B0
        self.integrations = 0

    def gradient(self, x):
        for (x0, z0), (x1, z1) in zip(self.points[:-1], self.points[1:]):
            if x < x1:
                return (z1 - z0) / (x1 - x0)
        return (z1 - z0) / (x1 - x0)

    def ride(self, powers):
        """powers: (PIECES, n) -> times per piece (PIECES, n), slowest speed."""
        powers = np.asarray(powers, float)
        if powers.ndim == 1:
            powers = powers[:, None]
        n = powers.shape[1]
        self.integrations += n
        u = np.zeros(n)
        floor = STOPPED ** 3
        times = np.zeros((PIECES, n))
        slowest = np.full(n, np.inf)
        a = 3 / M
        for i in range(len(self.nodes) - 1):
            h = self.nodes[i + 1] - self.nodes[i]
            p = a * ETA * powers[self.piece[i]]
            s = a * self.slope[i]
            if i == 0:
                # u linear from rest; two passes for the resistance
                e = np.maximum(h * p, 1e-15)
                for _ in range(3):
                    v = np.cbrt(e)
                    e = np.maximum(h * (p - 0.75 * s * v), 1e-15)
                u = e
                times[0] += 1.5 * h / np.cbrt(u)
                continue
            low = floor if self.nodes[i] >= STEP else 1e-15
            v1 = np.cbrt(u)
            k1 = p - (s + a * v1 * (B1 + K * v1)) * v1
            v2 = np.cbrt(np.maximum(u + 0.5 * h * k1, low))
            k2 = p - (s + a * v2 * (B1 + K * v2)) * v2
            v3 = np.cbrt(np.maximum(u + 0.5 * h * k2, low))
            k3 = p - (s + a * v3 * (B1 + K * v3)) * v3
            v4 = np.cbrt(np.maximum(u + h * k3, low))
            k4 = p - (s + a * v4 * (B1 + K * v4)) * v4
            u = np.maximum(u + h / 6 * (k1 + 2 * (k2 + k3) + k4), low)
            times[self.piece[i]] += h / 6 * (1 / v1 + 2 / v2 + 2 / v3 + 1 / v4)
            if self.nodes[i] >= STEP:
                np.minimum(slowest, v1, out=slowest)
        return times, slowest

    def score(self, powers):
        """-> total time (n,), balance at piece ends (PIECES, n), slowest."""
        powers = np.asarray(powers, float)
        if powers.ndim == 1:
            powers = powers[:, None]
        times, slowest = self.ride(powers)
        w = np.full(powers.shape[1], WPRIME)
        balance = np.empty_like(times)
        for i in range(PIECES):
            spend = (powers[i] - CP) * times[i]
            w = np.where(spend > 0, w - spend, WPRIME - (WPRIME - w) * np.exp(np.minimum(spend, 0) / WPRIME))
            balance[i] = w
        return times.sum(0), balance, slowest


def dop853(course, powers):
    """Independent score: in time, energy as state, events at breakpoints."""
    breaks = sorted({float(p[0]) for p in course.points} | {float(e) for e in course.ends})[1:]
    y, t, lowest = np.array([0.0, 0.0, WPRIME]), 0.0, WPRIME  # kinetic energy, distance, balance
    start = 0.0
    for end in breaks:
        mid = 0.5 * (start + end)
        p = float(powers[min(int(mid / course.length * PIECES), PIECES - 1)])
        s = slope_force(course.gradient(mid)) + B0

        def f(_, y, p=p, s=s):
            v = np.sqrt(max(y[0], 0) * 2 / M)
            dw = CP - p if p > CP else (CP - p) * (WPRIME - y[2]) / WPRIME
            return [ETA * p - (s + v * (B1 + K * v)) * v, v, dw]

        def reached(_, y, end=end):
            return y[1] - end

        reached.terminal, reached.direction = True, 1
        r = solve_ivp(f, (t, t + 5000), y, method="DOP853", rtol=1e-10, atol=[1e-8, 1e-8, 1e-7],
                      events=reached)
        if r.status != 1:
            raise RuntimeError("DOP853 did not reach %g m: %s" % (end, r.message))
        t, y = r.t_events[0][0], r.y_events[0][0].copy()
        y[1] = end
        lowest = min(lowest, y[2])
        start = end
    return t, lowest


def best_even(course):
    def low(p):
        return course.score(np.full(PIECES, p))[1].min()
    p = brentq(low, CP + 1e-6, LIMIT if low(LIMIT) < 0 else CP * 1.5, xtol=1e-9)
    while low(p) < 0:
        p -= 1e-9
    return p, float(course.score(np.full(PIECES, p))[0][0])


def repair(course, powers):
    powers = np.clip(powers, 0, LIMIT)
    over, base = np.maximum(powers - CP, 0), np.minimum(powers, CP)

    def plan(s):
        return np.minimum(base + s * over, LIMIT)

    def low(s):
        return course.score(plan(s))[1].min()
    if over.max() == 0 or low(1.05) > 0:
        return plan(1.05)
    s = brentq(low, 0, 1.05, xtol=1e-13)
    while low(s) < 0:
        s -= 1e-11
    return plan(s)


def solve(course, start):
    """SLSQP in units of 100 W, minutes and kJ; central differences, vectorised."""
    scale, memo = 100.0, {}

    def evaluate(x, grad):
        key = x.tobytes()
        have = memo.get(key)
        if have is None or (grad and have[1] is None):
            p = x * scale
            if grad:
                h = 1e-3
                lo, hi = np.maximum(p - h, 0), np.minimum(p + h, LIMIT)
                cols = np.tile(p[:, None], (1, 2 * PIECES + 1))
                idx = np.arange(PIECES)
                cols[idx, 1 + idx] = hi
                cols[idx, 1 + PIECES + idx] = lo
                t, w, _ = course.score(cols)
                d = (hi - lo) / scale
                jt = (t[1:1 + PIECES] - t[1 + PIECES:]) / d
                jw = (w[:, 1:1 + PIECES] - w[:, 1 + PIECES:]) / d
                have = ((t[0] / 60, w[:, 0] / 1000), (jt / 60, jw / 1000))
            else:
                t, w, _ = course.score(p)
                have = ((t[0] / 60, w[:, 0] / 1000), None)
            memo.clear()
            memo[key] = have
        return have

    x, last, tries, iterations, message = start / scale, np.inf, 0, 0, ""
    while tries < 6:
        r = minimize(lambda x: evaluate(x, False)[0][0], x, jac=lambda x: evaluate(x, True)[1][0],
                     bounds=[(0, LIMIT / scale)] * PIECES, method="SLSQP",
                     constraints=[{"type": "ineq", "fun": lambda x: evaluate(x, False)[0][1],
                                   "jac": lambda x: evaluate(x, True)[1][1]}],
                     options={"maxiter": 250, "ftol": 1e-10})
        iterations += r.nit
        message = r.message
        powers = repair(course, r.x * scale)
        now = float(course.score(powers)[0][0])
        tries += 1
        if last - now < 5e-4:
            if now < last:
                best, last = powers, now
            break
        best, last = powers, now
        x = powers / scale
    return best, last, iterations, message


def write(out):
    """One line per key, points and powers on a line each."""
    lines = ['  %s: %s' % (json.dumps(k), json.dumps(v)) for k, v in out.items()]
    with open(os.path.join(HERE, out["name"] + ".json"), "w") as fh:
        fh.write("{\n" + ",\n".join(lines) + "\n}\n")


def make(name):
    began = time.time()
    course = Course(COURSES[name])
    even, even_time = best_even(course)
    rng = np.random.default_rng(SEED)
    grads = np.array([course.gradient(0.5 * (a + b)) for a, b in zip(course.ends[:-1], course.ends[1:])])
    starts = {
        "even": np.full(PIECES, even),
        "even, perturbed": np.clip(even + 40 * rng.standard_normal(PIECES), 0, LIMIT),
        "even, tilted by gradient": np.clip(even + 1000 * np.where(grads > 0, grads, 0.5 * grads), 0, LIMIT),
    }
    best, tried = None, []
    for label, start in starts.items():
        before, clock = course.integrations, time.time()
        powers, t, nit, message = solve(course, repair(course, start))
        tried.append(dict(start=label, time_s=t, iterations=nit, message=message,
                          evaluations=course.integrations - before, wall_s=round(time.time() - clock, 2)))
        print(name, tried[-1], flush=True)
        if best is None or t < best[1]:
            best = powers, t
    powers = best[0]
    t, w, slowest = course.score(powers)
    total = course.integrations
    t2, w2 = dop853(course, powers)
    out = dict(
        name=name, source="generate.py beside this file, scipy SLSQP",
        scipy=scipy.__version__, numpy=np.__version__,
        course=COURSES[name], physics=PHYSICS, cp=CP, w_prime=WPRIME, power_limit=LIMIT,
        pieces=PIECES, powers=[float(p) for p in powers],
        time_s=float(t[0]), balance_min_j=float(w.min()),
        time_dop853_s=float(t2), balance_min_dop853_j=float(w2),
        slowest_m_s=float(slowest[0]),
        even_watts=float(even), even_time_s=even_time,
        evaluations=int(total), wall_s=round(time.time() - began, 1), starts=tried,
    )
    write(out)
    print(name, "even %.4f W %.4f s; best %.4f s; dop853 %.6f s (%+.1e); balance %.2e / %.2e J; %d integrations, %.0f s" % (
        even, even_time, t[0], t2, t2 - t[0], w.min(), w2, total, time.time() - began), flush=True)


if __name__ == "__main__":
    for name in sys.argv[1:] or COURSES:
        make(name)
