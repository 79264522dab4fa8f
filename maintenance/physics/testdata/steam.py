"""Answers from the IAPWS package, for temperatures in K and pressures in Pa."""
import json
import sys

from iapws import IAPWS95
from iapws._iapws import _Ice, _Sublimation_Pressure
from iapws.iapws97 import _PSat_T, _TSat_P
from scipy.optimize import brentq

ATMOSPHERE = 0.101325  # MPa
MELTING = 273.152519  # K, at one atmosphere

asked = json.load(sys.stdin)
ice = _Ice(MELTING, ATMOSPHERE)
melted = IAPWS95(T=MELTING, P=ATMOSPHERE)
json.dump({
    "ice": [_Sublimation_Pressure(t) * 1e6 for t in asked["ice"]],
    "water": [_PSat_T(t) * 1e6 for t in asked["water"]],
    "saturated": [IAPWS95(T=t, x=0).P * 1e6 for t in asked["saturated"]],
    "boils": [_TSat_P(p / 1e6) for p in asked["boils"]],
    "frosts": [brentq(lambda t: _Sublimation_Pressure(t) * 1e6 / p - 1, 120, 273.16, xtol=1e-12) for p in asked["frosts"]],
    "density": [IAPWS95(T=t, P=ATMOSPHERE).rho for t in asked["density"]],
    "ice_density": ice["rho"],
    "melted_density": melted.rho,
    "fusion": (melted.h - ice["h"]) * 1e3,
}, sys.stdout)
