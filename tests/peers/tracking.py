"""Reads looks as JSON lines, {"objects": [..], "hypotheses": [..], "near": [[object, hypothesis], ..]}, and prints MOTA and IDF1
as `motmetrics` reckons them."""

import json
import sys

import motmetrics
import numpy

accumulator = motmetrics.MOTAccumulator(auto_id=True)
for line in sys.stdin:
    look = json.loads(line)
    near = {tuple(pair) for pair in look["near"]}
    distances = [[0.0 if (one, other) in near else numpy.nan for other in look["hypotheses"]] for one in look["objects"]]
    accumulator.update(look["objects"], look["hypotheses"], distances)
metrics = motmetrics.metrics.create().compute(
    accumulator, metrics=["mota", "idf1", "num_switches", "num_misses", "num_false_positives"], return_dataframe=False
)
print(json.dumps({name: float(value) for name, value in metrics.items()}))
