"""Quadratures and roots for what the program has in closed form."""
import json
import math
import sys

from scipy.integrate import quad
from scipy.optimize import brentq


def newton(start, final, tau_min, hours):
    return final + (start - final) * math.exp(-hours * 60 / tau_min)


def ageing(hours, start, final, tau, ref):
    def rate(t):
        return 2 ** ((newton(start, final, tau, t) - ref) / 10)

    # Most happens in the first time constants: they are summed apart.
    knots = sorted({0, hours} | {min(hours, k * tau / 60) for k in (1, 3, 6, 12)})
    return sum(quad(rate, a, b, epsabs=0, epsrel=1e-12, limit=200)[0] for a, b in zip(knots, knots[1:]))


def cleared(cut, d50, gsd):
    s = math.log(gsd)

    def share(z):
        sunk = min(1.0, (d50 * math.exp(s * z) / cut) ** 2)
        return sunk * math.exp(-z * z / 2) / math.sqrt(2 * math.pi)

    at = min(max(math.log(cut / d50) / s, -12.0), 12.0)
    return quad(share, -12, at, epsabs=1e-14, limit=200)[0] + quad(share, at, 12, epsabs=1e-14, limit=200)[0]


def z_of(nu):
    return nu + 0.7 + math.exp(-1.47 - 1.84 * nu - 0.51 * nu * nu)


def viscosity(v40, v100, celsius):
    """By the straight line of log log Z over log T, and a root search for nu."""
    y40, y100 = (math.log10(math.log10(z_of(v))) for v in (v40, v100))
    x40, x100, x = (math.log10(t + 273.15) for t in (40, 100, celsius))
    y = y40 + (y100 - y40) * (x - x40) / (x100 - x40)
    return brentq(lambda nu: math.log10(math.log10(z_of(nu))) - y, 0.21, 1e9, xtol=1e-14, rtol=1e-14)


def closes(v40, v100, hot, normal, ambient, tau, ratio):
    """The hour at which the cooling oil has become ratio times as thick as at normal."""
    thick = ratio * viscosity(v40, v100, normal)
    return 60 * brentq(lambda h: viscosity(v40, v100, newton(hot, ambient, tau, h)) / thick - 1, 0, 20 * tau / 60, xtol=1e-13)


asked = json.load(sys.stdin)
json.dump({law.__name__: [law(*row) for row in asked[law.__name__]] for law in (ageing, cleared, viscosity, closes)}, sys.stdout)
