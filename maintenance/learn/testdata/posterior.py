"""5 %, 50 % and 95 % points of ln(factor), by integrating the formula that the package
documents; quantiles and distribution functions by scipy."""
import json
import sys

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.special import logsumexp, ndtri, stdtr, stdtrit

YIELDING = ndtri(0.95) / stdtrit(4, 0.95)
POINTS = 3001


def ln_student(z):
    return -2.5 * np.log1p(z * z / 4)


def log_density(x, rule, case):
    ln = ln_student(x / (YIELDING * case["sd"]))
    scales = [np.full_like(x, np.log(w)) for w in rule["weights"]]
    for seen in case["seen"]:
        off = x - seen["at"]
        if seen["side"] == 0:
            for k, scale in enumerate(rule["scales"]):
                sigma = np.hypot(scale * case["noise"], seen["sd"])
                scales[k] = scales[k] + ln_student(off / sigma) - np.log(sigma)
        else:
            sigma = np.hypot(rule["verdict"] * case["noise"], seen["sd"])
            ln = ln + np.log(rule["mad"] + (1 - 2 * rule["mad"]) * stdtr(4, seen["side"] * off / sigma))
    return ln + logsumexp(scales, axis=0)


def points(rule, case):
    low, high = -rule["reach"] * case["sd"], rule["reach"] * case["sd"]
    for _ in range(4):  # ever closer around what can be seen at all
        x = np.linspace(low, high, POINTS)
        ln = log_density(x, rule, case)
        dense = x[ln > ln.max() - 18]
        step = x[1] - x[0]
        low, high = dense[0] - step, dense[-1] + step
    share = cumulative_trapezoid(np.exp(ln - ln.max()), x, initial=0)
    return np.interp([0.05, 0.5, 0.95], share / share[-1], x).tolist()


asked = json.load(sys.stdin)
json.dump([points(asked["rule"], case) for case in asked["cases"]], sys.stdout)
