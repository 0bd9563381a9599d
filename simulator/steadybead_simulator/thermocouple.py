"""Thermocouple emf from temperature, and the ageing of new type K.

Reference functions of NIST Monograph 175 (ITS-90), the ones of IEC 60584-1: set down here, so
that the shop does not borrow the collector's.
"""

import numpy as np

from steadybead_domain.readings import Float64

_K_ABOVE = (
    -0.017600413686, 0.038921204975, 1.8558770032e-05, -9.9457592874e-08, 3.1840945719e-10,
    -5.6072844889e-13, 5.6075059059e-16, -3.2020720003e-19, 9.7151147152e-23, -1.2104721275e-26,
)  # fmt: skip
_K_BUMP = (0.1185976, -1.183432e-04, 126.9686)
_K_BELOW = (
    0.0, 0.039450128025, 2.3622373598e-05, -3.2858906784e-07, -4.9904828777e-09,
    -6.7509059173e-11, -5.7410327428e-13, -3.1088872894e-15, -1.0451609365e-17,
    -1.9889266878e-20, -1.6322697486e-23,
)  # fmt: skip
_J = (
    0.0, 0.050381187815, 3.047583693e-05, -8.568106572e-08, 1.3228195295e-10,
    -1.7052958337e-13, 2.0948090697e-16, -1.2538395336e-19, 1.5631725697e-23,
)  # fmt: skip
_J_ABOVE_760 = (
    296.45625681, -1.4976127786, 3.1787103924e-03, -3.1847686701e-06, 1.5720819004e-09,
    -3.0691369056e-13,
)  # fmt: skip
_N_ABOVE = (
    0.0, 0.025929394601, 1.571014188e-05, 4.3825627237e-08, -2.5261169794e-10, 6.4311819339e-13,
    -1.0063471519e-15, 9.9745338992e-19, -6.0863245607e-22, 2.0849229339e-25, -3.0682196151e-29,
)  # fmt: skip
_N_BELOW = (
    0.0, 0.026159105962, 1.0957484228e-05, -9.3841111554e-08, -4.6412039759e-11,
    -2.6303357716e-12, -2.2653438003e-14, -7.6089300791e-17, -9.3419667835e-20,
)  # fmt: skip
TYPES = ("K", "J", "N")
_GRID_C = np.arange(-200.0, 1300.5, 0.5)
UPSCALE_MV = {"K": 54.9, "J": 69.6, "N": 47.6}  # burnout drives the input past full scale


def emf_mv(kind: str, t_c: Float64) -> Float64:
    """Give the emf in mV against 0 °C, for t_c [n] in °C from −200 to 1200; KeyError if unknown."""
    if kind == "K":
        c0, c1, c2 = _K_BUMP
        above = _series(_K_ABOVE, t_c) + c0 * np.exp(c1 * (t_c - c2) ** 2)
        return np.where(t_c >= 0.0, above, _series(_K_BELOW, np.minimum(t_c, 0.0)))
    if kind == "J":
        return np.where(t_c <= 760.0, _series(_J, t_c), _series(_J_ABOVE_760, t_c))
    if kind == "N":
        below = _series(_N_BELOW, np.minimum(t_c, 0.0))
        return np.where(t_c >= 0.0, _series(_N_ABOVE, t_c), below)
    raise KeyError(kind)


def temperature_c(kind: str, mv: Float64) -> Float64:
    """Invert `emf_mv` by a table of half degrees (error below 0.001 °C), held at its ends."""
    shown: Float64 = np.interp(mv, emf_mv(kind, _GRID_C), _GRID_C)
    return shown


def _series(coefficients: tuple[float, ...], t_c: Float64) -> Float64:
    total = np.full_like(t_c, coefficients[-1])
    for c in reversed(coefficients[:-1]):
        total = total * t_c + c
    return total


ORDERING_MOST_K = 5.95  # 1.7 % of 350 °C: ORNL-TM-4862 (1975), as found quoted
ORDERING_MIN = 459.0
ORDERING_POWER = 0.40


def ordering_k(hot_min: float) -> float:
    """Give how many K a new type K reads high at 350 °C after so many minutes near there.

    A Weibull law through the published +0.9 (5 min), +1.9 (45 min) and +3.7 °C (7 h) at 350 °C of
    a thermocouple maker's note, with ORNL-TM-4862's 1.7 % as its end.
    """
    return ORDERING_MOST_K * float(-np.expm1(-((hot_min / ORDERING_MIN) ** ORDERING_POWER)))


def ordering_weight(t_c: Float64) -> Float64:
    """Give how fast ordering goes at t_c, 1 at 350–450 °C, 0 below 200 and above 600 °C.

    The span is the published one; the straight flanks are an assumption.
    """
    return np.interp(t_c, [200.0, 350.0, 450.0, 600.0], [0.0, 1.0, 1.0, 0.0])
