# A board of SciPy's own: a high-pass of first and a low-pass of any order by the bilinear transform,
# of which scipy.signal.sosfreqz is the truth, whose gain changes in time, in noise of a colour. Answers the truth in
# dB on p["grid"], then the recording.
fs, rng, n = p["rate"], np.random.default_rng(p["seed"]), len(x) + 3300
y, truth = np.concatenate([np.zeros(300), x, np.zeros(3000)]), 1.0
for kind, f in (("highpass", p["high_pass"]), ("lowpass", p["low_pass"])):
    sections = signal.butter(p["order"] if kind == "lowpass" else 1, f, kind, fs=fs, output="sos")
    y = signal.sosfilt(sections, y)
    truth = truth * signal.sosfreqz(sections, worN=p["grid"], fs=fs)[1]
t = (np.arange(n) - 300 - p["body"]) / fs
at, lasts, edge, depth = p["change"]
y = y * (1 - depth * np.interp(t, [at - edge, at, at + lasts, at + lasts + edge], [0, 1, 1, 0]))
y = y * (1 + p["tremolo"] * np.sin(2 * np.pi * 4 * t))
y = y + p["second_harmonic"] * 2 * y * y / p["amplitude"]


def hum(f, modulated):
    wave = sum(np.sin(2 * np.pi * f * h * t + h * h) / h for h in range(1, 31))
    return wave * (1 + modulated * np.sin(2 * np.pi * 0.7 * t))


def coloured(power):
    c = np.fft.rfft(rng.standard_normal(2 * n))
    f = np.maximum(np.arange(len(c)) * fs / 2 / n, 3)
    return np.fft.irfft(c * f ** (-power / 2))[:n]


def mains(path):
    v = np.frombuffer(open(path, "rb").read()[44:], "<i2") * signal.windows.tukey(6400, 0.1)
    return signal.resample(v, 16 * fs)[2 * fs:][:n]


hiss = rng.standard_normal(n)
noise = {"white": lambda: hiss, "pink": lambda: coloured(1), "steep": lambda: coloured(1.6),
         "modulated hum": lambda: hum(50.02, 0.05) + 0.03 * hiss,
         "two mains": lambda: hum(50.02, 0) + 0.5 * hum(60.01, 0) + 0.03 * hiss,
         "real mains": lambda: mains(p["mains"]) / 1e4 + 0.03 * hiss}[p["noise"]]()
y = y + noise / np.std(noise) * p["amplitude"] / np.sqrt(2) * 10 ** (-p["noise_below_db"] / 20)
answer(np.concatenate([20 * np.log10(np.abs(truth)), np.round(y, 10)]))
