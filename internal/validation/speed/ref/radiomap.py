"""A walk judged by leave-one-out with radio maps: for every place left out, least
squares of the levels at the others, hyperparameters of a Gaussian process over
what that leaves, its maps, and the fix of every facing at the place.

The same as ours: every fix, to the digits. What a place changes is taken out in
closed form, for all places at once where numpy can: least squares by what the
rows of a place add to the normal equations, solved in one batch; the process by
one inverse for each radio and node of hyperparameters, with all places' residuals
as the columns of one product, and the closed form of a row left out; maps by one
product for all places of a node; the eight fixes of a place together. Not the
same: ours takes standard errors, doubts, bounds, ellipses and intervals of all
figures (of 100 resamples) along in its time, and cuts the walk into stays; no two
places are within a metre here, so that the reference need not look for those."""
from common import clock, np, numbers

W, H, least = numbers("hall")
places = numbers("places").reshape(-1, 2)
radios = numbers("radios").reshape(-1, 3)
P, R = len(places), len(radios)
levels = numbers("levels").reshape(P, -1, R)
F = levels.shape[1]
DEGREES = 5.0  # of Student's t
VALUES = 20  # that the variance of a band counts in that of a radio
REACH, UNWALKED = 1.25, 0.05
CUT = 20.0  # log units below the likeliest cell that count
STEPS = [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1)]


def apart(p, q):
    return np.hypot(p[:, None, 0] - q[None, :, 0], p[:, None, 1] - q[None, :, 1])


def log_distance(p):
    d2 = (p[:, None, 0] - radios[:, 0]) ** 2 + (p[:, None, 1] - radios[:, 1]) ** 2 + radios[:, 2] ** 2
    return np.log10(np.maximum(d2, least * least)) / 2


class Process:
    """The rows of one radio: means over the facings that heard it, place by place."""

    def __init__(self, count, mean, within, cells):
        self.rows = np.flatnonzero(count)
        self.count, self.within = count[self.rows], within[self.rows]
        self.y = mean[self.rows]
        at = places[self.rows]
        self.apart, self.onto = apart(at, at), apart(at, cells)
        self.row_of = np.full(P, -1)
        self.row_of[self.rows] = np.arange(len(self.rows))
        self.known, self.maps = {}, {}

    def leave(self, coef, level, logd):
        """Residuals of the fits: one column a place left out, one more for none."""
        self.residual = self.y[:, None] - level[None, :] + 10 * np.outer(logd[self.rows], coef)
        self.values = self.count.sum() - np.append(self.count[self.row_of], 0) * np.append(self.row_of >= 0, 0)

    def node(self, n):
        """yKy + within/rho, log determinant and number of values, for all places."""
        if n not in self.known:
            length, ratio = 2 ** (n[0] / 3), 10 ** (n[1] / 4)
            K = np.exp(-self.apart / length) + np.diag(ratio / self.count)
            inv = np.linalg.inv(K)
            Z = inv @ self.residual
            square = (self.residual * Z).sum(axis=0) + self.within.sum() / ratio
            logdet = np.full(P + 1, np.linalg.slogdet(K)[1] + (self.count - 1).sum() * np.log(ratio))
            diag = inv.diagonal()
            i = np.arange(len(self.rows))
            z = Z[i, self.rows]
            square[self.rows] -= z * z / diag + self.within / ratio
            logdet[self.rows] += np.log(diag) - (self.count - 1) * np.log(ratio)
            self.known[n] = square, logdet, inv, z
        return self.known[n]

    def map(self, n, at):
        """Means, one row a place of at, and shares of the variance."""
        length = 2 ** (n[0] / 3)
        _, _, inv, z = self.node(n)
        cross = np.exp(-self.onto / length)
        weights = inv @ cross
        share = np.maximum(1 - (weights * cross).sum(axis=0), 0)
        mean = self.residual[:, at].T @ weights
        share = np.repeat(share[None, :], len(at), axis=0)
        i = self.row_of[at]
        has = i >= 0
        i = i[has]
        w = weights[i]
        mean[has] -= (z[i] / inv[i, i])[:, None] * w
        share[has] += w * w / inv[i, i][:, None]
        return mean, share


def refits(heard, y, logd):
    """Level of each radio and exponent without each place, and with all."""
    X = np.zeros((P, R, R + 1))
    X[:, np.arange(R), np.arange(R)] = 1
    X[:, :, R] = -10 * logd
    n = heard.sum(axis=1)
    A = np.einsum("pr,pri,prj->pij", n, X, X)
    b = np.einsum("pr,pri->pi", y.sum(axis=1), X)
    A = np.concatenate([A.sum(axis=0) - A, A.sum(axis=0)[None]])
    b = np.concatenate([b.sum(axis=0) - b, b.sum(axis=0)[None]])
    c = np.linalg.solve(A, b[:, :, None])[:, :, 0]
    return c[:, :R], c[:, R]


class Search:
    def __init__(self, processes):
        self.processes, self.known = processes, {}
        self.values = sum(p.values for p in processes)

    def at(self, n):
        if n not in self.known:
            square = sum(p.node(n)[0] for p in self.processes)
            logdet = sum(p.node(n)[1] for p in self.processes)
            self.known[n] = -0.5 * (self.values * (np.log(2 * np.pi * square / self.values) + 1) + logdet), square / self.values
        return self.known[n]

    def climb(self, place, start):
        best = start
        while True:
            here = best
            for step in STEPS:
                n = (here[0] + step[0], here[1] + step[1])
                if -6 <= n[0] <= 18 and -8 <= n[1] <= 8 and self.at(n)[0][place] > self.at(best)[0][place]:
                    best = n
            if best == here:
                return best


def fixes(log, cells, within):
    """The places of least expected distance, row by row, by Newton's steps, and by
    Weiszfeld's where those do not descend."""
    top = log.max(axis=1, keepdims=True)
    w = np.where(log > top - CUT, np.exp(log - top), 0)
    some = w.any(axis=0)
    w, at = w[:, some], cells[some]
    w /= w.sum(axis=1, keepdims=True)
    m = w @ at
    safe, least = m.copy(), np.full(len(m), np.inf)
    moving = np.arange(len(m))
    for _ in range(60):
        dx, dy = at[:, 0] - m[moving, :1], at[:, 1] - m[moving, 1:]
        s2 = dx * dx + dy * dy + within
        over = 1 / np.sqrt(s2)
        v = w[moving] * over
        f = (v * s2).sum(axis=1)
        worse = f > least[moving] * (1 + 1e-14)
        ux, uy = dx * over, dy * over
        x, y = (v * dx).sum(axis=1), (v * dy).sum(axis=1)
        xx, xy, yy = (v * (1 - ux * ux)).sum(axis=1), (v * ux * uy).sum(axis=1), (v * (1 - uy * uy)).sum(axis=1)
        det = xx * yy - xy * xy
        step = np.column_stack([(yy * x + xy * y) / det, (xx * y + xy * x) / det])
        back, on = moving[worse], moving[~worse]
        m[back], least[back] = safe[back], np.inf
        safe[on] = m[on] + (np.column_stack([x, y]) / v.sum(axis=1, keepdims=True))[~worse]
        m[on] += step[~worse]
        least[on] = f[~worse]
        moving = moving[worse | (np.hypot(*step.T) >= 1e-5)]
        if len(moving) == 0:
            break
    return m


def work():
    step = max(0.25, np.sqrt(W * H / 2500))
    nx, ny = int(np.ceil(W / step)), int(np.ceil(H / step))
    gx, gy = np.meshgrid((np.arange(nx) + 0.5) * W / nx, (np.arange(ny) + 0.5) * H / ny)
    cells = np.column_stack([gx.ravel(), gy.ravel()])
    heard = ~np.isnan(levels)
    y = np.where(heard, levels, 0)
    count = heard.sum(axis=1)
    mean = y.sum(axis=1) / np.maximum(count, 1)
    within = (heard * (y - mean[:, None, :]) ** 2).sum(axis=1)
    at_places, at_cells = log_distance(places), log_distance(cells)
    level, coef = refits(heard, y, at_places)
    processes = [Process(count[:, r], mean[:, r], within[:, r], cells) for r in range(R)]
    for r, p in enumerate(processes):
        p.leave(coef, level[:, r], at_places[:, r])
    search = Search(processes)
    start = search.climb(P, (6, 0))
    nodes = [search.climb(i, start) for i in range(P)]
    # Where people walk: within reach of the places that are left.
    to_cells, between = apart(places, cells), apart(places, places)
    np.fill_diagonal(between, np.inf)
    out = np.empty((P, F, 2))
    for node in sorted(set(nodes)):
        ratio = 10 ** (node[1] / 4)
        at = np.array([i for i in range(P) if nodes[i] == node])
        s2 = search.at(node)[1][at]
        mus, variances = [], []
        for r, p in enumerate(processes):
            scale = (VALUES + p.node(node)[0][at] / s2) / (VALUES + p.values[at])
            m, share = p.map(node, at)
            mus.append(m + level[at, r][:, None] - 10 * np.outer(coef[at], at_cells[:, r]))
            variances.append((share + ratio) * (scale * s2)[:, None])
        for k, i in enumerate(at):
            left = np.arange(P) != i
            reach = REACH * np.median(between[np.ix_(left, left)].min(axis=1))
            log = np.tile(np.where((to_cells[left] <= reach).any(axis=0), 0, np.log(UNWALKED)), (F, 1))
            product = np.ones_like(log)
            for r in range(R):
                of = heard[i, :, r]
                v = variances[r][k]
                e = levels[i, of, r][:, None] - mus[r][k]
                product[of] *= 1 + e * e / (DEGREES * v)
                log[of] -= np.log(v) / 2
            log -= (DEGREES + 1) / 2 * np.log(product)
            out[i] = fixes(log, cells, step * step / 6)
    error = np.hypot(out[:, :, 0] - places[:, None, 0], out[:, :, 1] - places[:, None, 1])
    return np.append(out.ravel(), error.mean())


clock(work)
