# Runs scripts as scipytest.go sends them: script, parameters and samples, each
# behind its length in bytes.
import json, os, struct, sys, traceback

for threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(threads, "1")
import numpy as np
from scipy import integrate, linalg, optimize, signal, stats


def reply(complaint, raw):
    sys.stdout.buffer.write(struct.pack("<QQ", complaint, len(raw)) + raw)
    sys.stdout.buffer.flush()


def part():
    head = sys.stdin.buffer.read(8)
    if len(head) < 8:
        sys.exit()
    return sys.stdin.buffer.read(*struct.unpack("<Q", head))


reply(0, b"")
while True:
    script, parameters, samples = part(), part(), part()
    answers = []
    names = dict(json=json, np=np, integrate=integrate, linalg=linalg, optimize=optimize, signal=signal, stats=stats,
                 p=json.loads(parameters), x=np.frombuffer(samples), answer=answers.append)
    try:
        exec(script, names)
        reply(0, np.asarray(answers[0], "<f8").tobytes())
    except Exception:
        reply(1, traceback.format_exc().encode())
