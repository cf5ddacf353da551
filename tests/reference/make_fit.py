"""Makes fit_pieces.csv, a simulated set of pieces looked at now and then, and fit_maximum.csv, where scipy finds the
greatest posterior of it. Written apart from the service: the model is in its own words below.

python3 make_fit.py     (numpy 2.x, scipy 1.17.1)
"""

import csv
import os

import numpy as np
from scipy.differentiate import hessian
from scipy.optimize import minimize
from scipy.stats import norm

HERE = os.path.dirname(os.path.abspath(__file__))
SPREADS = [0.21, 0.30]  # the sheet's, one for each stage
PRIOR_SD = [0.5, 0.5, 0.5, 0.35]  # two stages, ln tau, w
TRUTH = [np.log(1.35), np.log(0.9), np.log(0.8), 0.25]
PIECES = 40


def simulate():
    """Each piece cures at two temperatures by turns of an hour and is looked at every so often."""
    random = np.random.default_rng(20260302)
    rows = []
    for piece in range(PIECES):
        stage = piece % 2
        middle = random.uniform(-0.9, 0.9)
        warm, cold = middle + 0.2, middle - 0.2
        reached = np.exp(TRUTH[stage] + SPREADS[stage] * np.exp(TRUTH[2]) * random.standard_normal())
        gathered, looked = {}, []
        every = random.uniform(0.15, 0.6)
        age = 0.0
        while age < reached and len(looked) < 9:
            for tens_k in (warm, cold):
                share = every / 2.0 / np.mean([np.exp(TRUTH[3] * warm), np.exp(TRUTH[3] * cold)])
                gathered[tens_k] = gathered.get(tens_k, 0.0) + share
            age = sum(share * np.exp(TRUTH[3] * tens_k) for tens_k, share in gathered.items())
            looked.append((dict(gathered), age >= reached))
        there = [look for look in looked if look[1]]
        not_yet = [look for look in looked if not look[1]]
        # Every fifth was not looked at before it was there, every seventh never again.
        if piece % 5 != 0 and not_yet:
            rows += [(piece, stage, "not_yet", k, s) for k, s in not_yet[-1][0].items()]
        if there and (piece % 7 != 0 or not not_yet or piece % 5 == 0):
            rows += [(piece, stage, "there", k, s) for k, s in there[0][0].items()]
    return [(p, s, end, round(float(k), 6), round(float(v), 6)) for p, s, end, k, v in rows]


def minus_ln_posterior(x, rows):
    value = 0.5 * sum((a / sd) ** 2 for a, sd in zip(x, PRIOR_SD))
    for piece in sorted({row[0] for row in rows}):
        of = [row for row in rows if row[0] == piece]
        stage = of[0][1]
        sigma = SPREADS[stage] * np.exp(x[2])

        def z(end):
            ages = [v * np.exp(x[3] * k) for _, _, e, k, v in of if e == end]
            return (np.log(sum(ages)) - x[stage]) / sigma if ages else None

        low, high = z("not_yet"), z("there")
        if low is None:
            value -= norm.logcdf(high)
        elif high is None:
            value -= norm.logsf(low)
        elif low > 0:
            value -= norm.logsf(low) + np.log1p(-np.exp(norm.logsf(high) - norm.logsf(low)))
        else:
            value -= norm.logcdf(high) + np.log1p(-np.exp(norm.logcdf(low) - norm.logcdf(high)))
    return value


def main():
    rows = simulate()
    with open(os.path.join(HERE, "fit_pieces.csv"), "w", newline="") as file:
        file.write("# source: simulated by make_fit.py; age as a share of the sheet's target, by tens of kelvins above reference\n")
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["piece", "stage", "end", "tens_k", "share"])
        writer.writerows(rows)
    f = lambda x: minus_ln_posterior(x, rows)
    rough = minimize(f, np.zeros(4), method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-13, "maxiter": 20000})
    best = minimize(f, rough.x, method="BFGS", options={"gtol": 1e-9})
    best = rough if rough.fun < best.fun else best

    def many(x):
        return np.apply_along_axis(f, 0, x)

    curvature = hessian(many, best.x, initial_step=0.05).ddf
    sd = np.sqrt(np.diag(np.linalg.inv(curvature)))
    with open(os.path.join(HERE, "fit_maximum.csv"), "w", newline="") as file:
        file.write("# source: scipy 1.17.1, minimize (Nelder-Mead, then BFGS) and differentiate.hessian, by make_fit.py.\n")
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["what", "ln", "sd"])
        for name, value, width in zip(["times_0", "times_1", "spread", "warmth"], best.x, sd):
            writer.writerow([name, f"{value:.9f}", f"{width:.9f}"])
        writer.writerow(["ln_posterior", f"{-best.fun:.9f}", ""])


if __name__ == "__main__":
    main()
