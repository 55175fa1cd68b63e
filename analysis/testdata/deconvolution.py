# Spectral division and gating by the time domain, for scipy_test.go: x holds
# the signal played and then the recording, p the parameters. Prints real and
# imaginary part of the response at each of p["grid"], then how far the last
# gate's window is from 1 inside, and from 0 outside.
signal_played, recorded = x[:p["frames"]], x[p["frames"]:]
start, end, n, rate = p["start"], p["end"], p["length"], p["rate"]
late = p["arrival"]
segment = recorded[start + late:end + late]
segment = segment - np.mean(segment[:p["body"] - start])
played = signal_played[start:end]

hz = np.fft.rfftfreq(n, 1 / rate)
inside = (hz > 3.45) & (hz < 22300)
ratio = np.zeros(len(hz), complex)
ratio[inside] = np.fft.rfft(segment, n)[inside] / np.fft.rfft(played, n)[inside]
impulse = np.fft.irfft(ratio, n)

bins = np.fft.fftfreq(n, 1 / rate)  # both signs


def kernel(f, gate):
    """The window's transform at f - bins: a sinc under a Kaiser taper."""
    low, high, reach = gate
    d = f - bins
    taper = np.where(abs(d) <= reach, np.i0(p["taper"] * np.sqrt(np.maximum(0, 1 - (d / reach) ** 2))), 0)
    w = np.sinc(d * (high - low)) * taper
    # The window's height at the arrival, time 0, is 1.
    return w * np.exp(-1j * np.pi * d * (low + high)) / np.sum(w * np.cos(np.pi * d * (low + high)))


out = []
for f, gate in zip(p["grid"], p["gates"]):
    # What multiplies the impulse response in time: the window, turned to f.
    window = np.fft.fft(kernel(f, gate))
    value = np.sum(impulse * window)
    out += [value.real, value.imag]

# The last gate's own shape, around 0 Hz.
low, high, reach = p["gates"][-1]
d = np.linspace(-reach, reach, 20001)
shape = np.sinc(d * (high - low)) * np.i0(p["taper"] * np.sqrt(np.maximum(0, 1 - (d / reach) ** 2)))
height = lambda t: np.sum(shape * np.cos(2 * np.pi * d * (t - (low + high) / 2)))
edge = 1.7 / reach
one = height(0)
far = [height(t) / one for t in np.concatenate([np.linspace(low - 5 * edge, low - edge, 60), np.linspace(high + edge, high + 5 * edge, 60)])]
near = [height(t) / one - 1 for t in np.linspace(low + edge, high - edge, 60)]
answer([float(v) for v in out] + [float(max(map(abs, near))), float(max(map(abs, far)))])
