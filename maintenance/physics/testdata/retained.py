"""Water kept by the oil of a running pump, one answer in g for each stretch asked.

The balance of one well-mixed stage, in mol, s, kg and Pa, as the reference of the
formulas states it; pressures over water and ice by the IAPWS package; the equation is
solved by LSODA, which changes between stiff and other methods by itself.
"""
import json
import math
import sys

from iapws._iapws import _Sublimation_Pressure
from iapws.iapws97 import _PSat_T
from scipy.integrate import solve_ivp

R = 8.314462618
M = 18.015268e-3
P0 = 101325.0
EXHAUST = 1.1 * P0


def saturation(kelvin):
    law = _PSat_T if kelvin >= 273.15 else _Sublimation_Pressure
    return law(kelvin) * 1e6


def march(s, water, begin, end, air):
    """The water in kg at the end of a part in which the ballast does not change."""
    if end <= begin:
        return water
    room = s["room"] + 273.15
    damp = s["humidity"] * saturation(room)
    dry = s["leak"] / (R * (s["gas"] + 273.15)) + air * (P0 - damp) / (R * room)
    arriving = s["carry"] + M * air * damp / (R * room)

    def rate(t, w):
        kelvin = s["running"] + (s["start"] - s["running"]) * math.exp(-t / s["tau"]) + 273.15
        p = saturation(kelvin)
        full = s["oil"] * 1e-6 * 10 ** (7.0895 - 1567 / kelvin)
        activity = min(1.0, max(0.0, w[0] / full))

        def carried(a):
            return M * dry * a * p / (EXHAUST - a * p)

        passing = min(arriving, carried(1.0))
        return [arriving - passing - s["eta"] * (carried(activity) - passing)]

    found = solve_ivp(rate, (begin, end), [water], "LSODA", rtol=1e-9, atol=1e-12, first_step=min(1e-3, end - begin))
    if not found.success:
        raise ArithmeticError(found.message)
    return found.y[0, -1]


def kept(s):
    opens = s["end"] - s["open"]
    water = march(s, s["water"], 0.0, opens, 0.0)
    return march(s, water, opens, s["end"], s["air"]) * 1e3


json.dump([kept(s) for s in json.load(sys.stdin)], sys.stdout)
