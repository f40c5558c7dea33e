"""Levels, access points heard, Cramer-Rao bound and expected error over the cells
of a floor, radio by radio over all cells at once.

The same as ours: the levels (distance, walls of each material crossed), the
probabilities that at least 1 to 4 are heard, the bound and the expected error.
Not the same: a wall is counted by whether the two segments cross, which is right
where the line meets no corner of a wall (ours has laws for those); ours keeps
levels to 7 digits and takes probabilities from a table, so that 5 are held."""
from common import clock, np, numbers
from scipy.special import ellipe, erfc, ndtr

cells = numbers("cells").reshape(-1, 2)
area = numbers("areas")
radios = numbers("radios").reshape(-1, 4)  # x, y, rise, level at 1 m
walls = numbers("walls").reshape(-1, 5)  # x, y, x, y, loss in dB
n, sigma, floor, never, threshold, bar, least, span, dx, dy = numbers("model")
x, y = cells[:, 0].copy(), cells[:, 1].copy()
root = np.sqrt(2 * np.pi)


def lost(ax, ay):
    """dB of the walls between (ax, ay) and every cell."""
    out = np.zeros_like(x)
    rx, ry = x - ax, y - ay
    for px, py, qx, qy, loss in walls:
        # Sides of the wall's line on which a and the cell lie, and of the ray.
        sa = (qx - px) * (ay - py) - (qy - py) * (ax - px)
        sc = (qx - px) * (y - py) - (qy - py) * (x - px)
        tp = rx * (py - ay) - ry * (px - ax)
        tq = rx * (qy - ay) - ry * (qx - ax)
        out += loss * ((sc * sa < 0) & (tp * tq < 0))
    return out


def work():
    m = len(x)
    heard = np.zeros(m, dtype=int)
    dist = np.zeros((4, m))
    dist[0] = 1
    xx, xy, yy = np.zeros(m), np.zeros(m), np.zeros(m)
    for ax, ay, rise, level in radios:
        rx, ry = x - ax, y - ay
        d2 = rx * rx + ry * ry + rise * rise
        mu = level - 5 * n * np.log10(np.maximum(d2, least * least))
        if len(walls):
            mu -= lost(ax, ay)
        heard += mu >= bar
        p = ndtr((mu - threshold) / sigma)
        for k in (3, 2, 1):
            dist[k] += p * (dist[k - 1] - dist[k])
        dist[0] *= 1 - p
        z = (floor - mu) / sigma
        phi = np.exp(-z * z / 2) / root
        u = never + (1 - never) * erfc(-z / np.sqrt(2)) / 2
        w = (1 - never) * (erfc(z / np.sqrt(2)) / 2 + z * phi) + ((1 - never) * phi) ** 2 / u
        w = np.clip(w, 0, 1) * (d2 > least * least)
        g = w * (10 * n / (sigma * np.log(10) * d2)) ** 2
        xx += g * rx * rx
        xy += g * rx * ry
        yy += g * ry * ry
    atleast = 1 - np.cumsum(dist, axis=0)
    det = xx * yy - xy * xy
    bound = np.sqrt((xx + yy) / det)
    bound[~(bound <= span)] = np.nan
    # The prior: a place anywhere on the floor.
    share = area / area.sum()
    cx, cy = x - share @ x, y - share @ y
    pxx, pxy, pyy = share @ (cx * cx) + dx * dx / 12, share @ (cx * cy), share @ (cy * cy) + dy * dy / 12
    pd = pxx * pyy - pxy * pxy
    fxx, fxy, fyy = xx + pyy / pd, xy - pxy / pd, yy + pxx / pd
    det = fxx * fyy - fxy * fxy
    vxx, vxy, vyy = fyy / det, -fxy / det, fxx / det
    mean, half = (vxx + vyy) / 2, np.hypot((vxx - vyy) / 2, vxy)
    error = np.sqrt(2 / np.pi) * np.sqrt(mean + half) * ellipe(1 - np.maximum(mean - half, 0) / (mean + half))
    return heard, atleast, bound, error


def figures():
    heard, atleast, bound, error = work()
    pick = slice(None, None, 997)
    return np.concatenate([heard[pick], atleast[2][pick], bound[pick], error[pick], [np.nanmean(bound), error.mean()]])


clock(figures)
