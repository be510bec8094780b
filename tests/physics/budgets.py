"""The guides' worked examples, set up with this package's own functions."""

from __future__ import annotations

from functools import cache
from math import sqrt

import numpy as np

from linewright.core.formulas import uncertainty as mc
from linewright.core.formulas import uncertainty as un

DRAWS = 1_000_000


def rng():
    return np.random.default_rng(20260101)


S7_READINGS_DB = (30.033, 30.058, 30.018, 30.052)  # from memory; their mean, 30.04025, is the quoted one


@cache
def s7_parts():
    """EA-4/02 S7: (estimate dB, standard uncertainty dB, degrees of freedom) of each input."""
    mean, covariance = un.mean_and_covariance(np.array(S7_READINGS_DB)[:, None])
    known = float("inf")
    return (
        (mean[0], float(np.sqrt(covariance[0, 0])), 3.0),
        (0.003, un.uniform_sd(0.00433), known),
        (0.0, un.arcsine_sd(0.00198), known),
        (0.0, un.arcsine_sd(0.02828), known),
        (0.0, un.arcsine_sd(0.0029698), known),
        *[(0.0, un.uniform_sd(0.0005196), known)] * 2,
        *[(0.0, 0.0020, known)] * 2,
    )


@cache
def s7_drawn():
    def draw(g, n):
        def arcsine(half):
            return half * np.sin(g.uniform(0, 2 * np.pi, n))

        return (
            s7_parts()[0][0] + s7_parts()[0][1] / sqrt(3) * g.standard_t(3, n)  # sd as stated, three degrees of freedom
            + 0.003 + g.uniform(-0.00433, 0.00433, n)
            + arcsine(0.00198) + arcsine(0.02828) + arcsine(0.0029698)
            + g.uniform(-0.0005196, 0.0005196, (2, n)).sum(axis=0) + g.normal(0, 0.0020, (2, n)).sum(axis=0)
        )  # fmt: skip

    return mc.monte_carlo(draw, rng(), DRAWS)


def s6():
    """EA-4/02 S6: calibration factor of a power sensor and its standard uncertainty."""

    def model(ks, kd, msr, mxc, msc, mxr, pcr, pcc, p):
        return (ks + kd) * msr * mxc / (msc * mxr) * pcr * pcc * p

    values = [0.957, -0.001, 1, 1, 1, 1, 1, 1, np.mean([0.9772, 0.9671, 0.9836])]
    matched = un.arcsine_sd(2 * 0.02 * 0.02)
    sd = [
        0.0055, un.uniform_sd(0.002), matched, un.arcsine_sd(2 * 0.07 * 0.12), un.arcsine_sd(2 * 0.07 * 0.10), matched,
        0.0010, 0.0010, float(np.std([0.9772, 0.9671, 0.9836], ddof=1)) / sqrt(3),
    ]  # fmt: skip
    value, covariance = un.propagate(model, values, un.covariance_of(sd))
    return value[0], float(np.sqrt(covariance[0, 0]))


H1_VALUES = (50_000_623.0, 215.0, 0.0, 0.0, 11.5e-6, 0.0, 0.0, -0.1, 0.0)
H1_SD = (25.0, 5.8, 3.9, 6.7, un.uniform_sd(2e-6), un.uniform_sd(1e-6), un.uniform_sd(0.05), 0.2, un.arcsine_sd(0.5))
H1_PART = {"standard": 0, "difference": 1, "random": 2, "systematic": 3, "expansion": 5, "gradient": 6}


def h1_model(ls, d0, d1, d2, alpha, d_alpha, d_theta, theta, swing):
    return ls + d0 + d1 + d2 - ls * (d_alpha * (theta + swing) + alpha * d_theta)


def h1():
    value, covariance = un.propagate(h1_model, H1_VALUES, un.covariance_of(H1_SD))
    return value[0], float(np.sqrt(covariance[0, 0]))


@cache
def h1_drawn():
    """Student's t where degrees of freedom are few, and limits that are themselves only known to so many of them."""

    def draw(g, n):
        def inexact(half, dof):
            return g.uniform(-1, 1, n) * half * (1 + g.uniform(-1, 1, n) / sqrt(2 * dof))

        return h1_model(
            50_000_623 + 25 * g.standard_t(18, n), 215 + 5.8 * g.standard_t(24, n), 3.9 * g.standard_t(5, n),
            6.7 * g.standard_t(8, n), 11.5e-6 + g.uniform(-2e-6, 2e-6, n), inexact(1e-6, 50), inexact(0.05, 2),
            g.normal(-0.1, 0.2, n), 0.5 * np.sin(g.uniform(0, 2 * np.pi, n)),
        )  # fmt: skip

    return mc.monte_carlo(draw, rng(), DRAWS)


H2_READINGS = np.array([
    [5.007, 4.994, 5.005, 4.990, 4.999], [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
    [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
]).T  # fmt: skip


@cache
def h2():
    """JCGM 100 H.2: (values, sd, correlation) of R, X, Z; and the correlation of V, I, phase."""
    mean, covariance = un.mean_and_covariance(H2_READINGS)
    y, v = un.propagate(
        lambda volt, amp, phi: np.array([volt / amp * np.cos(phi), volt / amp * np.sin(phi), volt / amp]),
        mean,
        covariance,
    )
    return y, np.sqrt(np.diag(v)), _correlation(v), _correlation(covariance)


def _correlation(v):
    sd = np.sqrt(np.diag(v))
    return v / np.outer(sd, sd)


def comparison_first(r, x1):
    """JCGM 101 9.4, first order, in millionths."""
    covariance = un.covariance_of([0.005, 0.005], [[1, r], [r, 1]])
    value, v = un.propagate(lambda a, b: a * a + b * b, [x1, 0.0], covariance)
    return 1e6 * value[0], 1e6 * float(np.sqrt(v[0, 0]))


@cache
def comparison_drawn(r, x1):
    covariance = un.covariance_of([0.005, 0.005], [[1, r], [r, 1]])

    def draw(g, n):
        x = g.multivariate_normal([x1, 0.0], covariance, n)
        return 1e6 * (x**2).sum(axis=1)

    return mc.monte_carlo(draw, rng(), DRAWS, shortest=True)


@cache
def magnitude_drawn(re, r):
    covariance = un.covariance_of([0.010, 0.010], [[1, r], [r, 1]])
    return mc.monte_carlo(lambda g, n: np.hypot(*g.multivariate_normal([re, 0.0], covariance, n).T), rng(), DRAWS)


@cache
def phase_drawn(re, r):
    covariance = un.covariance_of([0.010, 0.010], [[1, r], [r, 1]])
    return mc.monte_carlo(
        lambda g, n: np.arctan2(*g.multivariate_normal([re, 0.0], covariance, n).T[::-1]), rng(), DRAWS
    )


def magnitude_first(re, r):
    """The differences taken over ± u (JCGM 100, 5.1.3, note 2) are the slopes only where the modulus is at least u."""
    value, v = un.propagate(np.hypot, [re, 0.0], un.covariance_of([0.010, 0.010], [[1, r], [r, 1]]))
    return value[0], float(np.sqrt(v[0, 0]))


@cache
def four_rectangles():
    return mc.monte_carlo(lambda g, n: g.uniform(-sqrt(3), sqrt(3), (4, n)).sum(axis=0), rng(), DRAWS)
