"""Left-censored normal regression by scipy's BFGS on the concave form of Olsen
(b/sigma, 1/sigma), with gradient, from least squares of what was heard; columns
scaled by the root of their mean square, as BFGS wants."""
from common import clock, np, numbers
from scipy.optimize import minimize
from scipy.special import log_ndtr

y, heard = numbers("y"), numbers("heard") > 0
X = np.asfortranarray(numbers("x").reshape(-1, len(y)).T)
root = np.sqrt(2 * np.pi)


def work():
    A, ya, B, yb = X[heard], y[heard], X[~heard], y[~heard]
    scale = np.sqrt((X * X).mean(axis=0))
    A, B = A / scale, B / scale

    def loss(theta):
        d, g = theta[:-1], theta[-1]
        if g <= 0:
            return np.inf, np.zeros_like(theta)
        r = g * ya - A @ d
        z = g * yb - B @ d
        log = log_ndtr(z)
        hazard = np.exp(-z * z / 2 - log) / root
        value = r @ r / 2 - len(ya) * np.log(g) - log.sum()
        grad = np.append(-(r @ A) + hazard @ B, r @ ya - len(ya) / g - hazard @ yb)
        return value / len(y), grad / len(y)

    b, rss, _, _ = np.linalg.lstsq(A, ya, rcond=None)
    g = 1 / np.sqrt(rss[0] / len(ya))
    o = minimize(loss, np.append(b * g, g), jac=True, method="BFGS", options={"gtol": 1e-10, "maxiter": 1000})
    return np.append(o.x[:-1] / scale, 1) / o.x[-1]


clock(work)
