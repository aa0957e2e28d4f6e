"""Public libraries run as oracles: a question as JSON on standard input, the answer as JSON on standard output.

statsmodels (local-level filter), ruptures (best split of a series), changepoint-online (likelihood ratios of a change;
run, never copied: its licence is another).
"""

import json
import math
import sys

import numpy
import ruptures
import statsmodels.api as sm
from changepoint_online import Exponential, Focus, Gaussian


def local_level(series, reading, drift):
    """Exact diffuse filter. Its log-likelihood counts the first value with half a ln of 2 pi, which is taken off."""
    model = sm.tsa.UnobservedComponents(series, "llevel", use_exact_diffuse=True)
    fit = model.smooth([reading, drift])
    return {
        "ln": float(fit.llf) + 0.5 * math.log(2 * math.pi),
        "mean": fit.filtered_state[0].tolist(),
        "variance": fit.filtered_state_cov[0, 0].tolist(),
    }


def focus(family, series):
    detector = Focus(family)
    told = []
    for value in series:
        detector.update(float(value))
        told.append([float(detector.statistic()), int(detector.changepoint()["changepoint"])])
    return told


asked = json.load(sys.stdin)
nile = sm.datasets.nile.load_pandas().data["volume"].to_numpy(dtype=float)
json.dump(
    {
        "nile": nile.tolist(),
        "levels": [local_level(nile, *pair) for pair in asked["variances"]],
        "splits": [
            ruptures.Dynp(model="l2", min_size=1, jump=1).fit(numpy.array(s)).predict(n_bkps=1)[0] for s in asked["series"]
        ],
        "known_mean": [focus(Gaussian(loc=0.0), s) for s in asked["series"]],
        "gaps": focus(Exponential(), asked["gaps"])[-1],
    },
    sys.stdout,
)
