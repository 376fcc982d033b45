"""Reads timed passes of trains from standard input, as JSON, and prints the monotone fit that scikit-learn makes of each list: how fast
at each of the steps asked for. Every list is {"passes": [[step, mm_s], ...], "steps": [step, ...]}."""

import json
import sys

from sklearn.isotonic import IsotonicRegression

fits = []
for case in json.load(sys.stdin):
    steps, speeds = zip(*case["passes"])
    fit = IsotonicRegression(y_min=0, increasing=True, out_of_bounds="clip").fit(steps, speeds)
    fits.append(list(fit.predict(case["steps"])))
json.dump(fits, sys.stdout)
