"""Kriged maps of the residuals of radios with every place left out in turn, by
the closed form, for all cells of a floor. The same algorithm as ours: one
inverse and one set of weights for all radios, then, for each radio and place,
mean and variance over the cells as the other places give them. Each place has
residuals of its own, those of a fit that did not have it; here the means of all
places are one product of matrices. Both give sums over the cells, so that nothing
can be left out. The fits and the fixes of the method are not part of it."""
from common import clock, np, numbers

at = numbers("at").reshape(-1, 2)
cells = numbers("cells").reshape(-1, 2)
y = numbers("residuals").reshape(-1, len(at), len(at))  # per radio and place left out
length, ratio = numbers("kernel")


def work():
    far = lambda p, q: np.hypot(p[:, None, 0] - q[None, :, 0], p[:, None, 1] - q[None, :, 1])
    inv = np.linalg.inv(np.exp(-far(at, at) / length) + ratio * np.eye(len(at)))
    cross = np.exp(-far(at, cells) / length)
    weights = inv @ cross
    share = np.maximum(1 - (weights * cross).sum(axis=0), 0)
    drop = weights * weights / np.diag(inv)[:, None]  # per place, what leaving it out adds to the variance
    out = []
    for r in y:
        z = (r * inv).sum(axis=1)
        mean = r @ weights
        for i in range(len(at)):
            m = mean[i] - z[i] / inv[i, i] * weights[i]
            v = share + drop[i]
            out.append(m.sum() + v.sum() + m[::97].sum())
    return out


clock(work)
