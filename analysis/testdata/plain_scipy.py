#!/usr/bin/python3
"""The analysis of one acceptance, written plainly with NumPy and SciPy.

It is what `make bench` sets boardproof's own time and memory against: two
outputs; a 5 s sweep deconvolved; 10 s of silence with Welch's density, the
weighted levels and the mains comb to the 40th harmonic; a 2 s tone fitted.
Signals are made first and not timed. Library calls do the work, arrays are
float64, nothing is slowed down on purpose: the comb is fitted to a decimated
record, by normal equations, from a start that a periodogram gives.

    plain_scipy.py RATE_HZ
prints one line of JSON: seconds of wall clock by part, and peak memory.
"""
import json
import resource
import sys
import time

import numpy as np
from scipy import optimize, signal

HARMONICS = 40


def sweep(rate, seconds=5.0, low=5.0):
    high = 0.49 * rate
    t = np.arange(int(seconds * rate)) / rate
    growth = seconds / np.log(high / low)
    return np.sin(2 * np.pi * low * growth * np.exp(t / growth))


def records(rate, rng):
    """What two outputs gave: (sweep played, sweeps, silences, tones)."""
    played = np.concatenate([np.zeros(rate // 2), 0.25 * sweep(rate), np.zeros(rate)])
    b, a = signal.butter(1, 16000, fs=rate)
    n = 10 * rate
    t = (np.arange(n) - (n - 1) / 2) / rate
    phase = 2 * np.pi * (49.97 * t + 0.002 * t**2 / 2)
    hum = sum(1e-4 * np.sqrt(2) / h * np.cos(h * phase + h) for h in range(1, HARMONICS + 1))
    hum += 1.4e-5 * np.cos(2 * np.pi * 1000 * t) + 4e-6 * np.cos(2 * np.pi * 12345.6 * t)
    tone_t = np.arange(2 * rate) / rate
    sweeps, silences, tones = [], [], []
    for gain in (1.0, 0.98):
        sweeps.append(gain * signal.lfilter(b, a, played) + 1e-5 * rng.standard_normal(len(played)))
        silences.append(gain * hum + 1e-5 * rng.standard_normal(n))
        tones.append(gain * 0.25 * np.sin(2 * np.pi * 1000.01 * tone_t + 0.3)
                     + 1e-5 * rng.standard_normal(len(tone_t)))
    return played, sweeps, silences, tones


def response(played, recorded, rate):
    """Response on a logarithmic grid from the gated impulse response."""
    n = len(played) + len(recorded)
    n = 2 ** int(np.ceil(np.log2(n)))
    x, y = np.fft.rfft(played, n), np.fft.rfft(recorded, n)
    power = np.abs(x) ** 2
    h = np.fft.irfft(y * np.conj(x) / (power + 1e-8 * power.max()), n)
    gate = np.concatenate([h[-rate // 50:], h[:rate // 4]])
    gate *= signal.windows.tukey(len(gate), 0.05)
    f = np.fft.rfftfreq(len(gate), 1 / rate)
    grid = np.geomspace(10, 22000, 500)
    spectrum = np.fft.rfft(gate)
    return grid, np.interp(grid, f, 20 * np.log10(np.abs(spectrum) + 1e-300))


def a_weighting(f):
    f2 = f**2
    r = 12194.217**2 * f2**2 / ((f2 + 20.598997**2) * (f2 + 12194.217**2)
                                * np.sqrt((f2 + 107.65265**2) * (f2 + 737.86223**2)))
    return r * 10 ** (2.0 / 20)


def design(phase):
    z = np.exp(1j * phase)
    cols = np.empty((2 * HARMONICS, len(phase)))
    power = np.ones_like(z)
    for h in range(HARMONICS):
        power = power * z
        cols[2 * h], cols[2 * h + 1] = power.real, power.imag
    return cols


def comb(silence, rate):
    """Frequency, drift and amplitudes of the mains comb by joint least squares."""
    step = rate // 6000
    x = silence
    while step > 1:
        q = 8 if step % 8 == 0 and step > 8 else step
        x = signal.decimate(x, q, ftype="fir")
        step //= q
    slow = 6000.0
    n = len(x)
    t = (np.arange(n) - (n - 1) / 2) / slow
    f, p = signal.periodogram(x, slow, "hann", nfft=4 * n)
    candidates = np.concatenate([np.arange(49, 51, 0.0005), np.arange(59, 61, 0.0005)])
    score = sum(np.log(np.interp(h * candidates, f, p)) for h in range(1, HARMONICS + 1))
    start = candidates[np.argmax(score)]

    def residual(theta):
        cols = design(2 * np.pi * (theta[0] * t + theta[1] * 1e-2 * t**2 / 2))
        amps = np.linalg.solve(cols @ cols.T, cols @ x)
        return amps, x - amps @ cols

    def cost(theta):
        _, r = residual(theta)
        return np.log(r @ r)

    drift = min(np.arange(-3, 4) * 0.3, key=lambda d: cost([start, d]))
    simplex = np.array([[start, drift], [start + 5e-4, drift], [start, drift + 0.1]])
    best = optimize.minimize(cost, [start, drift], method="Nelder-Mead",
                             options={"xatol": 1e-6, "fatol": 1e-7, "initial_simplex": simplex})
    amps, _ = residual(best.x)
    return best.x[0], best.x[1] * 1e-2, np.hypot(amps[::2], amps[1::2]) / np.sqrt(2)


def silence_levels(x, rate):
    f, p = signal.welch(x, rate, "hann", 32768 * rate // 48000)
    band = (f >= 20) & (f <= 20000)
    df = f[1]
    levels = [np.sqrt(np.sum(p[band]) * df), np.sqrt(np.sum((p * a_weighting(f) ** 2)[band]) * df)]
    thirds = [np.sqrt(np.sum(p[(f >= c / 10**0.05) & (f < c * 10**0.05)]) * df)
              for c in 1000 * 10 ** (np.arange(-16, 14) / 10)]
    return levels, thirds


def tone(x, rate):
    """Four-parameter sine fit with harmonics."""
    t = np.arange(len(x)) / rate

    def model(f):
        cols = np.array([g(2 * np.pi * h * f * t) for h in range(1, 6) for g in (np.cos, np.sin)]
                        + [np.ones_like(t)])
        amps = np.linalg.solve(cols @ cols.T, cols @ x)
        r = x - amps @ cols
        return amps, r @ r

    found = optimize.minimize_scalar(lambda f: model(f)[1], bracket=(999.9, 1000.0, 1000.1),
                                     options={"xtol": 1e-9})
    return found.x, model(found.x)[0]


def main():
    rate = int(sys.argv[1]) if len(sys.argv) > 1 else 48000
    played, sweeps, silences, tones = records(rate, np.random.default_rng(1))
    idle = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    seconds, found = {}, []

    def timed(name, work):
        start = time.perf_counter()
        out = work()
        seconds[name] = seconds.get(name, 0) + time.perf_counter() - start
        return out

    for recorded, quiet, sine in zip(sweeps, silences, tones):
        timed("sweep", lambda: response(played, recorded, rate))
        timed("welch", lambda: silence_levels(quiet, rate))
        found.append(timed("comb", lambda: comb(quiet, rate)))
        timed("tone", lambda: tone(sine, rate))
    print(json.dumps({
        "rate_hz": rate,
        "seconds": {**{k: round(v, 3) for k, v in seconds.items()}, "all": round(sum(seconds.values()), 3)},
        "peak_mib": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
        "mib_before_analysis": round(idle / 1024, 1),
        "mains_hz": [round(f[0], 6) for f in found], "drift_hz_per_s": [round(f[1], 6) for f in found],
    }))


if __name__ == "__main__":
    main()
