"""BCa interval of the 95 % quantile of errors of places (scipy.stats.bootstrap)."""
from common import clock, np, numbers
from scipy.stats import bootstrap

e, resamples = numbers("errors"), int(numbers("resamples")[0])


def work():
    b = bootstrap((e,), lambda x, axis: np.quantile(x, 0.95, axis=axis), n_resamples=resamples,
                  vectorized=True, method="BCa", random_state=np.random.default_rng(1))
    return [b.confidence_interval.low, b.confidence_interval.high]


clock(work)
