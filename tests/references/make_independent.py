"""Writes independent.json: values computed by other routes than the package takes.

Nothing of the package is imported here. mpmath integrates the decision rules, whole
numbers are enumerated as fractions, scipy optimises what has to be optimised, and
reference.R asks R's own routines.

Run with: python tests/references/make_independent.py
"""

import json
import platform
import subprocess
import sys
from fractions import Fraction
from functools import cache
from itertools import product
from math import comb
from pathlib import Path

import mpmath
import numpy as np
import scipy
from mpmath import mp
from scipy import integrate, optimize, stats

HERE = Path(__file__).resolve().parent
DATE = "2026-11-25"
GUESS = {
    "TRIANGLE": Fraction(1, 3),
    "DUO_TRIO": Fraction(1, 2),
    "PAIRED": Fraction(1, 2),
    "THREE_AFC": Fraction(1, 3),
    "TETRAD": Fraction(1, 3),
    "TWO_OUT_OF_FIVE": Fraction(1, 10),
}
VERSION = (
    f"Python {platform.python_version()}, mpmath {mpmath.__version__}, "
    f"numpy {np.__version__}, scipy {scipy.__version__}"
)
ENTRIES = []


def put(name, method, quantity, inputs, value, command, tolerance, by="make_independent.py",
        version=VERSION):  # fmt: skip
    entry = {"id": name, "method": method, "quantity": quantity, "inputs": inputs}
    entry["value"] = value if isinstance(value, int) else float(value)
    entry |= {"source": f"{by}: {command}", "version": version, "date": DATE}
    ENTRIES.append(entry | {"tolerance": tolerance})


# Decision rules, integrated over another variable than the package does.


def density(z):
    return mp.npdf(z)


def line(function, *breaks):
    return mp.quad(function, [-12, *sorted(breaks), 12 + max(breaks)])


def triangle(d):
    """u = (A1 - A2)/sqrt 2 has to be nearer to 0 than v/sqrt 3, v the odd one off the middle."""
    shift = d * mp.sqrt(mp.mpf(2) / 3)
    rule = lambda v: density(v - shift) * (2 * mp.ncdf(abs(v) / mp.sqrt(3)) - 1)  # noqa: E731
    return line(rule, 0, shift)


def duo_trio(d):
    """Given the reference r: |A - r| < |B - r|, two independent sums of one sign."""

    def rule(r):
        p, q = mp.ncdf(d / mp.sqrt(2)), mp.ncdf((d - 2 * r) / mp.sqrt(2))
        return density(r) * (p * q + (1 - p) * (1 - q))

    return line(rule, 0, d)


def paired(d):
    return line(lambda z: density(z) * mp.ncdf(z + d), 0, d)


def three_afc(d):
    """Bivariate normal with correlation 1/2, by Plackett's integral over the correlation."""
    h = d / mp.sqrt(2)
    rule = lambda r: mp.exp(-h * h / (1 + r)) / mp.sqrt(1 - r * r)  # noqa: E731
    return mp.ncdf(h) ** 2 + mp.quad(rule, [0, mp.mpf(1) / 2]) / (2 * mp.pi)


def tetrad(d):
    """max(A) < min(B), or max(B) < min(A)."""

    def rule(z):
        up = 2 * density(z) * mp.ncdf(z) * mp.ncdf(d - z) ** 2
        return up + 2 * density(z - d) * mp.ncdf(z - d) * mp.ncdf(-z) ** 2

    return line(rule, 0, d)


def two_out_of_five(d):
    """The pair below, its upper one u; m the lowest and s < 2 m - u the next of the three."""

    def pair_below(gap, u, shift):
        m = u + gap
        three = 3 * phi(m) * (cdf(-m) ** 2 - cdf(-m - gap) ** 2)
        return 2 * phi(u - shift) * cdf(u - shift) * three

    total = 0.0
    for shift in (-float(d), float(d)):
        total += integrate.dblquad(
            pair_below, shift - 9, shift + 9, 0, 20, args=(shift,), epsabs=1e-12, epsrel=1e-11
        )[0]
    return total


def phi(z):
    return np.exp(-z * z / 2) / np.sqrt(2 * np.pi)


def cdf(z):
    return scipy.special.ndtr(z)


RULES = {
    "TRIANGLE": triangle,
    "DUO_TRIO": duo_trio,
    "PAIRED": paired,
    "THREE_AFC": three_afc,
    "TETRAD": tetrad,
    "TWO_OUT_OF_FIVE": two_out_of_five,
}
HALF = stats.chi2.ppf(0.95, 1) / 2


def dprime_values():
    """d-prime, standard error and likelihood limits, every root found in d itself."""
    counts = {
        "TRIANGLE": [(18, 30), (26, 66)],
        "DUO_TRIO": [(29, 40), (21, 36), (51, 100)],
        "THREE_AFC": [(20, 30), (15, 36)],
        "TETRAD": [(22, 40), (17, 45)],
        "TWO_OUT_OF_FIVE": [(9, 20)],
    }
    for name, x, n in ((name, *pair) for name, pairs in counts.items() for pair in pairs):

        @cache
        def pc(d, name=name):
            return float(RULES[name](mp.mpf(d) if name != "TWO_OUT_OF_FIVE" else d))

        def drop(d, x=x, n=n, pc=pc):
            best = x / n
            here = x * np.log(pc(d) / best) + (n - x) * np.log((1 - pc(d)) / (1 - best))
            return here + HALF

        root = lambda f, a, b: optimize.brentq(f, a, b, xtol=1e-12)  # noqa: E731
        d = root(lambda v, x=x, n=n, pc=pc: pc(v) - x / n, 0.0, 8.0)
        h = 0.02
        slope = (45 * (pc(d + h) - pc(d - h)) - 9 * (pc(d + 2 * h) - pc(d - 2 * h))) / (60 * h)
        slope += (pc(d + 3 * h) - pc(d - 3 * h)) / (60 * h)
        inputs = {"protocol": name, "correct": x, "trials": n}
        how = "quad of the decision rule, brentq in d"
        label = f"{name}_{x}_{n}"
        put(f"d_{label}", "estimate_dprime", "dprime", inputs, d, how, 1e-8)
        se = np.sqrt(x / n * (1 - x / n) / n) / slope
        put(f"se_{label}", "estimate_dprime", "se", inputs, se, how, 1e-6)
        low = root(drop, 0.0, d) if drop(0.0) < 0 else 0.0
        put(f"low_{label}", "estimate_dprime", "low", inputs, low, how, 1e-7)
        put(f"high_{label}", "estimate_dprime", "high", inputs, root(drop, d, 8.0), how, 1e-7)


# Sizes, power, stages: whole numbers over a common denominator.


@cache
def masses(n, p):
    a, b = p.numerator, p.denominator - p.numerator
    return [Fraction(comb(n, k) * a**k * b ** (n - k), p.denominator**n) for k in range(n + 1)]


def truth(name, pd):
    return GUESS[name] + (1 - GUESS[name]) * Fraction(str(pd))


def critical(n, p, alpha):
    tail, x = Fraction(0), n + 1
    while x > 0 and tail + masses(n, p)[x - 1] <= alpha:
        x -= 1
        tail += masses(n, p)[x]
    return x


def similar(n, p, beta):
    return n - critical(n, 1 - p, beta)


def size_values():
    alpha, beta = Fraction(1, 20), Fraction(1, 10)
    truths = {"TETRAD": 0.4, "THREE_AFC": 0.5, "PAIRED": 0.5, "TWO_OUT_OF_FIVE": 0.3}
    for name, pd in truths.items():
        p, kept = truth(name, pd), []
        for n in range(1, 161):
            kept.append(sum(masses(n, p)[: critical(n, GUESS[name], alpha)]) <= beta)
        inputs = {"protocol": name, "alpha": 0.05, "beta": 0.1, "pd": pd}
        how = "fractions, every size to 160"
        sizes = {"first": kept.index(True) + 1, "stable": 161 - kept[::-1].index(False)}
        for rule, size in sizes.items():
            full = inputs | {"rule": rule}
            put(f"size_{name}_{rule}", "panel_size", "assessors", full, size, how, 0)
    for name, n, pd in (("TRIANGLE", 48, 0.3), ("TETRAD", 20, 0.45), ("PAIRED", 60, 0.4)):
        tail = sum(masses(n, truth(name, pd))[critical(n, GUESS[name], alpha) :])
        inputs = {"protocol": name, "trials": n, "alpha": 0.05, "pd": pd}
        put(f"power_{name}_{n}", "power", "power", inputs, tail, "fractions", 1e-10)
    for name, n, pd in (("TRIANGLE", 24, 0.1), ("DUO_TRIO", 32, 0.2)):
        c = critical(n, GUESS[name], alpha)
        s = similar(n, truth(name, 0.3), alpha)
        b = critical(n, truth(name, 0.3), alpha)
        few = similar(n, GUESS[name], Fraction(1, 1000))  # similarity is withheld up to here
        for finding, chosen in (
            ("DIFFERENT", lambda x, c=c, s=s, b=b: c <= x < b and x > s),
            ("BEYOND_LIMIT", lambda x, b=b: x >= b),
            ("SIMILAR", lambda x, c=c, s=s, few=few: few < x < c and x <= s),
            ("UNDECIDED", lambda x, c=c, s=s, few=few: x <= few or s < x < c),
        ):
            chance = sum(m for x, m in enumerate(masses(n, truth(name, pd))) if chosen(x))
            inputs, label = {"protocol": name, "trials": n, "pd": pd}, f"oc_{name}_{finding}"
            how = "fractions; alpha, beta 0.05, limit 0.3; withheld at 0.001"
            put(label, "operating_characteristic", finding, inputs, chance, how, 1e-10)


def two_stage_values():
    """The cheapest plan among all counts of all sizes, and its risks, enumerated."""
    for name, most, risk, limit in (
        ("TRIANGLE", 12, 0.2, 0.5),
        ("PAIRED", 14, 0.2, 0.6),
        ("TWO_OUT_OF_FIVE", 10, 0.1, 0.5),
    ):
        null, far = GUESS[name], truth(name, limit)
        bound, best = Fraction(str(risk)), None
        for n1 in range(1, most):
            for n2 in range(1, most - n1 + 1):
                for low in range(-1, n1):
                    for high in range(low + 2, n1 + 2):
                        for total in range(1, n1 + n2 + 1):
                            plan = (n1, n2, low, high, total)
                            found = staged(plan, null, far, bound)
                            if found and (best is None or found[0] < best[0]):
                                best = (*found, plan)
        inputs = {"protocol": name, "most": most, "alpha": risk, "beta": risk, "pd_limit": limit}
        how = "every plan tried in fractions"
        put(f"stages_{name}", "two_stage_plan", "expected", inputs, best[0], how, 1e-10)
        at = inputs | {"plan": list(best[3])}
        put(f"stages_{name}_alarm", "two_stage_risk", "false_alarm", at, best[1], how, 1e-10)
        put(f"stages_{name}_pass", "two_stage_risk", "wrong_pass", at, best[2], how, 1e-10)


def staged(plan, null, far, bound):
    """Expected answers and both risks, None where a risk is not kept."""
    n1, n2, low, high, total = plan
    alarm = float(sum(masses(n1, null)[high:]))
    missed = float(sum(masses(n1, far)[: low + 1]))
    slack = 1e-12  # floats first, fractions only for plans that could be kept
    if alarm > bound + slack or missed > bound + slack:
        return None
    alarm, missed, on = sum(masses(n1, null)[high:]), sum(masses(n1, far)[: low + 1]), 0
    for x in range(low + 1, high):
        alarm += masses(n1, null)[x] * over(n2, null, total - x)
        missed += masses(n1, far)[x] * (1 - over(n2, far, total - x))
        on += (masses(n1, null)[x] + masses(n1, far)[x]) / 2
    return (n1 + n2 * on, alarm, missed) if alarm <= bound and missed <= bound else None


@cache
def over(n, p, x):
    return sum(masses(n, p)[max(x, 0) :], Fraction(0))


def sequential_values():
    """Wald's test walked ballot by ballot in fractions."""
    for name, alpha, beta, limit, most in (
        ("TRIANGLE", "0.05", "0.2", "0.5", 60),
        ("DUO_TRIO", "0.1", "0.1", "0.4", 60),
        ("TETRAD", "0.05", "0.05", "0.3", 40),
    ):
        null, far = GUESS[name], truth(name, limit)
        upper = (1 - Fraction(beta)) / Fraction(alpha)
        lower = Fraction(beta) / (1 - Fraction(alpha))
        inputs = {"protocol": name, "alpha": float(alpha), "beta": float(beta)}
        inputs |= {"pd_limit": float(limit), "most": most}
        for label, p, pd in (("guessing", null, 0.0), ("limit", far, float(limit))):
            ends, at = walked(null, far, upper, lower, p, most), inputs | {"pd": pd}
            for quantity, value in zip(("different", "similar", "expected"), ends, strict=True):
                key, how = f"sequential_{name}_{label}_{quantity}", "fractions, ballot by ballot"
                put(key, "sequential_plan", quantity, at, value, how, 1e-10)


def walked(null, far, upper, lower, p, most):
    going, different, similar_, expected = {(0, Fraction(1)): Fraction(1)}, 0, 0, 0
    for _ in range(most):
        following = {}
        for (x, ratio), mass in going.items():
            expected += mass
            steps = (1, p, far / null), (0, 1 - p, (1 - far) / (1 - null))
            for step, chance, factor in steps:
                key, m = (x + step, ratio * factor), mass * chance
                if key[1] >= upper:
                    different += m
                elif key[1] <= lower:
                    similar_ += m
                else:
                    following[key] = following.get(key, 0) + m
        going = following
    return different, similar_, expected


# Replicates: the mixture integrated, the likelihood optimised by scipy.


def mixture(m, guess, mean, spread):
    """Chances of 0 .. m correct when the chance of noticing is beta distributed."""
    scale = 1 / mp.mpf(spread) - 1
    a, b = mp.mpf(mean) * scale, (1 - mp.mpf(mean)) * scale
    g = mp.mpf(guess.numerator) / guess.denominator

    def chance(x):
        def under(pi):
            p = g + (1 - g) * pi
            return p**x * (1 - p) ** (m - x) * pi ** (a - 1) * (1 - pi) ** (b - 1)

        return mp.binomial(m, x) * mp.quad(under, [0, 0.1, 0.5, 0.9, 1]) / mp.beta(a, b)

    return [chance(x) for x in range(m + 1)]


def replicate_values():
    tables = {"TRIANGLE": [2, 5, 4, 7, 3], "DUO_TRIO": [6, 14, 16, 12], "TETRAD": [9, 12, 11, 10]}
    for name, table in tables.items():
        m, guess = len(table) - 1, GUESS[name]
        for mean, spread in ((0.3, 0.4), (0.6, 0.25)):
            chances = mixture(m, guess, mean, spread)
            value = sum(k * mp.log(c) for k, c in zip(table, chances, strict=True))
            inputs = {"protocol": name, "table": table, "mean": mean, "spread": spread}
            how = "mpmath.quad of the binomial over a beta density"
            key = f"mixture_{name}_{mean}"
            put(key, "beta_binomial", "log_likelihood", inputs, value, how, 1e-9)
        fitted_mixture(name, table)
    for mean, spread, m in ((0.3, 0.2, 5), (0.55, 0.6, 8)):
        scale = 1 / spread - 1
        logs = stats.betabinom.logpmf(range(m + 1), m, mean * scale, (1 - mean) * scale)
        inputs = {"replicates": m, "mean": mean, "spread": spread}
        how = "scipy.stats.betabinom.logpmf, guess 0"
        put(f"betabinom_{m}", "beta_binomial", "sum_of_logs", inputs, logs.sum(), how, 1e-10)


def fitted_mixture(name, table):
    """Maximum and limits of the mean, the mixture by Gauss-Jacobi nodes."""
    m, g = len(table) - 1, float(GUESS[name])

    def value(mean, spread):
        scale = 1 / spread - 1
        a, b = mean * scale, (1 - mean) * scale
        nodes, weights = scipy.special.roots_jacobi(m + 4, b - 1, a - 1)
        p = g + (1 - g) * (1 + nodes) / 2
        chances = [
            comb(m, x) * (weights * p**x * (1 - p) ** (m - x)).sum() / weights.sum()
            for x in range(m + 1)
        ]
        return float(np.dot(table, np.log(chances)))

    bounds, steps = [(0.001, 0.999), (0.0005, 0.998)], {"xatol": 1e-10, "fatol": 1e-13}
    runs = [
        optimize.minimize(lambda t: -value(t[0], t[1]), start, method="Nelder-Mead",
                          bounds=bounds, options=steps | {"maxiter": 4000})
        for start in product((0.1, 0.3, 0.6), (0.05, 0.3, 0.7))
    ]  # fmt: skip
    found = min(runs, key=lambda run: run.fun)

    def at(mean):
        return optimize.minimize_scalar(
            lambda s: -value(mean, s), bounds=(0.0005, 0.998), options={"xatol": 1e-11}
        )

    mean, spread = found.x
    pc = g + (1 - g) * mean
    rho = (1 - g) ** 2 * mean * (1 - mean) * spread / (pc * (1 - pc))
    freedom = sum(table) * m / (1 + (m - 1) * rho) - 1

    def profile(mean):
        return -at(mean).fun + found.fun + stats.t.ppf(0.975, freedom) ** 2 / 2

    inputs = {"protocol": name, "table": table}
    how = "Gauss-Jacobi mixture, Nelder-Mead from nine starts; profile by brentq"
    if not 0.01 < spread < 0.95:
        raise SystemExit(f"{name}: the spread {spread} lies at a bound, choose other counts")
    put(f"ml_{name}_pd", "replicates", "pd", inputs, mean, how, 1e-5)
    put(f"ml_{name}_spread", "replicates", "spread", inputs, spread, how, 1e-4)
    low = optimize.brentq(profile, 0.002, mean) if profile(0.002) < 0 else None
    if low and at(low).x < 0.95:  # not where the bound of the spread would decide
        put(f"ml_{name}_low", "replicates", "low", inputs, low, how, 1e-5)
    high = optimize.brentq(profile, mean, 0.99)
    put(f"ml_{name}_high", "replicates", "high", inputs, high, how, 1e-5)


# Same-different: tau and d-prime, limits by a nested search.


def same_different_values():
    for a, n, b, m in ((28, 40, 12, 40), (61, 80, 44, 80), (15, 25, 9, 30)):

        def rates(tau, d):
            r = mp.sqrt(2)
            same = mp.erf(tau / 2)
            return same, mp.ncdf((tau - d) / r) - mp.ncdf((-tau - d) / r)

        start = (float(stats.norm.ppf((1 + a / n) / 2)) * 2**0.5, 1.5)
        tau, d = mp.findroot(
            lambda t, v, a=a, n=n, b=b, m=m: [rates(t, v)[0] - mp.mpf(a) / n,
                                              rates(t, v)[1] - mp.mpf(b) / m],
            start,
        )  # fmt: skip

        def log_likelihood(t, v, a=a, n=n, b=b, m=m):
            s, x = rates(t, v)
            same = a * mp.log(s) + (n - a) * mp.log(1 - s)
            return float(same + b * mp.log(x) + (m - b) * mp.log(1 - x))

        top = log_likelihood(tau, d)

        def profile(v, top=top, f=log_likelihood):
            best = optimize.minimize_scalar(
                lambda t: -f(t, v), bounds=(0.05, 8), options={"xatol": 1e-12}
            )
            return -best.fun - top + HALF

        inputs = {"counts": [a, n, b, m]}
        how = "mpmath.findroot; limits by minimize_scalar inside brentq"
        put(f"sd_{a}_tau", "same_different", "tau", inputs, tau, how, 1e-8)
        put(f"sd_{a}_d", "same_different", "dprime", inputs, d, how, 1e-8)
        low = optimize.brentq(profile, 0, float(d)) if profile(0) < 0 else 0.0
        put(f"sd_{a}_low", "same_different", "low", inputs, low, how, 1e-6)
        high = optimize.brentq(profile, float(d), 7)
        put(f"sd_{a}_high", "same_different", "high", inputs, high, how, 1e-6)


def r_index_values():
    tables = {"a": [[20, 12, 6, 2], [6, 9, 13, 12]], "b": [[9, 0, 4, 7, 3], [5, 6, 0, 8, 9]]}
    for key, table in tables.items():
        reference, other = (np.repeat(np.arange(len(row)), row) for row in table)
        found = stats.mannwhitneyu(other, reference, method="asymptotic", use_continuity=False)
        inputs, how = {"table": table}, "scipy.stats.mannwhitneyu, asymptotic, no continuity"
        area = found.statistic / reference.size / other.size
        put(f"r_index_{key}", "sureness", "r_index_1", inputs, area, how, 1e-12)
        put(f"r_index_{key}_p", "sureness", "p_r_index_1", inputs, found.pvalue, how, 1e-9)


def values_from_r():
    done = subprocess.run(
        ["Rscript", str(HERE / "reference.R")], capture_output=True, text=True, check=True
    )
    version, *lines = done.stdout.splitlines()
    for line_ in lines:
        name, method, quantity, inputs, value, command, tolerance = line_.split("\t")
        number = int(value) if quantity == "assessors" else float(value)
        put(name, method, quantity, json.loads(inputs), number, command, float(tolerance),
            by="reference.R", version=version.strip())  # fmt: skip


def main():
    mp.dps = 25
    plans = (dprime_values, size_values, two_stage_values, sequential_values)
    for part in (*plans, replicate_values, same_different_values, r_index_values, values_from_r):
        part()
        print(part.__name__, len(ENTRIES), file=sys.stderr)
    about = (
        "Values computed by other routes than the package takes, by make_independent.py and "
        "reference.R beside this file. 'tolerance' is relative."
    )
    text = ",\n".join(json.dumps(entry) for entry in ENTRIES)
    body = f'{{"about": {json.dumps(about)},\n"values": [\n{text}\n]}}\n'
    (HERE / "independent.json").write_text(body, encoding="utf-8")


if __name__ == "__main__":
    main()
