# Four-parameter sine fit for scipy_test.go: answers amplitude, frequency, mean.
from scipy import optimize

t = (np.arange(len(x)) - (len(x) - 1) / 2) / p["rate"]
half = t[-1]


def start():
    w = 2 * np.pi * p["near"]
    return np.linalg.lstsq(np.stack([np.cos(w * t), np.sin(w * t), np.ones_like(t)], axis=1), x, rcond=None)[0]


def residual(q):
    # q[3] is the turn, in radians at the record's end, beside the start.
    phase = 2 * np.pi * p["near"] * t + q[3] * t / half
    return q[0] * np.cos(phase) + q[1] * np.sin(phase) + q[2] - x


q = optimize.least_squares(residual, [*start(), 0.0], xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac").x
answer([float(np.hypot(q[0], q[1])), float(p["near"] + q[3] / half / (2 * np.pi)), float(q[2])])
