"""Control charts by general tools: a digital filter, running minima, order statistics.

For each series of values: the moving average from its target, both cumulative sums, the
median, and the median absolute deviation.
"""
import json
import sys

import numpy as np
from scipy.signal import lfilter
from scipy.stats import median_abs_deviation


def excess(steps):
    """A sum that never falls below 0 is the plain sum less its least so far."""
    total = np.concatenate([[0.0], np.cumsum(steps)])
    return (total - np.minimum.accumulate(total))[1:].tolist()


def charts(values, target, slack, share):
    x = np.array(values)
    average, _ = lfilter([share], [1, share - 1], x, zi=[(1 - share) * target])
    return {
        "average": average.tolist(),
        "high": excess(x - target - slack),
        "low": excess(target - slack - x),
        "median": float(np.median(x)),
        "deviation": float(median_abs_deviation(x)),
    }


json.dump([charts(**one) for one in json.load(sys.stdin)], sys.stdout)
