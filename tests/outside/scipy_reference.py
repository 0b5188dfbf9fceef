"""Decays with known truth, read by scipy: an independent reference for the tests in Rust.

python3 scipy_reference.py > scipy_reference.json    writes the reference
python3 scipy_reference.py --check FILE              computes it again and compares; exit code 1 if they differ

The sound is silent up to sample `onset` and from there, with t = (n - onset)/sample_rate_hz and w0 = 2 pi frequency_hz,
    y[n] = sum over modes of amplitude exp(-damping_ratio w0 t) cos(w0 sqrt(1 - damping_ratio^2) t + phase_rad).
Every sample from 0 on then gets noise_sigma times one Gaussian number:
    x starts as the seed; each draw is x = x*6364136223846793005 + 1442695040888963407 mod 2^64, u = (x >> 11)/2^53;
    two draws u1, u2 give r = sqrt(-2 ln max(u1, 1e-300)) and the numbers r cos(2 pi u2), r sin(2 pi u2), in this order.
The draws are the same bit for bit in every language; the Gaussian numbers as far as ln, cos and sin are.
"""

import argparse
import datetime
import json
import math
import platform
import sys

import numpy as np
import scipy
from scipy.optimize import curve_fit
from scipy.signal import hilbert

# Tolerances of --check. The signals are the same to rounding (1e-15), and the fits converge to 1e-12, so a run on the
# same machine repeats every figure to about 1e-9. Another version of numpy or scipy may take another path to the
# minimum and stop elsewhere near it; that must not matter, and 0.05 standard errors cannot: the noise alone moves the
# result by 1. A wrong model, signal or covariance moves it by far more. Frequencies are held to their standard error
# and not to a fraction of themselves, for 1e-4 of a frequency would be many standard errors. Standard errors and the
# other computed figures have no error of their own and are held to 1e-4 of their value. What goes in (the truth and
# the noise) must be the same but for the last bits of ln, cos and sin on another machine.
TOLERANCE_STANDARD_ERRORS = 0.05
TOLERANCE_RESULTS = 1e-4
TOLERANCE_INPUTS = 1e-12
RESULTS = ("least_squares", "envelope")

NOISE_SIGMA = 2e-4
QUIET_S = 0.5
RING_S = 1.5
ENVELOPE_OVER_NOISE_DB = 10.0


def mode(frequency_hz, damping_ratio, snr_db, phase_rad):
    """A mode whose power at the onset, A^2/2, is so many decibels over that of the noise."""
    amplitude = NOISE_SIGMA * math.sqrt(2 * 10 ** (snr_db / 10))
    return {
        "frequency_hz": frequency_hz,
        "damping_ratio": damping_ratio,
        "amplitude": amplitude,
        "phase_rad": phase_rad,
    }


def case(name, rate, seed, modes):
    onset = int(QUIET_S * rate)
    return {
        "name": name,
        "sample_rate_hz": rate,
        "length": onset + int(RING_S * rate),
        "onset": onset,
        "seed": seed,
        "noise_sigma": NOISE_SIGMA,
        "modes": modes,
    }


# Seeds far apart: neighbouring ones begin with nearly the same numbers.
CASES = [
    case("low and quickly damped, 40 dB", 44100, 7919, [mode(120.0, 0.02, 40, 0.4)]),
    case("low and slowly damped, 60 dB", 48000, 104729, [mode(247.0, 0.005, 60, -1.2)]),
    case("heavily damped, 30 dB", 44100, 1299709, [mode(520.0, 0.03, 30, 2.0)]),
    case("slowly damped, 50 dB", 48000, 15485863, [mode(1150.0, 0.003, 50, -2.5)]),
    case("high, 40 dB", 44100, 179424673, [mode(3000.0, 0.01, 40, 1.0)]),
    case("two apart", 48000, 2038074743, [mode(310.0, 0.008, 45, 0.0), mode(780.0, 0.012, 38, 1.5)]),
    # The bandwidth at half power is 2 zeta f, here about 10 Hz.
    case(
        "close pair, two bandwidths apart",
        44100,
        22801763489,
        [mode(620.0, 0.008, 45, 0.7), mode(640.0, 0.0075, 42, -0.9)],
    ),
    case(
        "like a strip, four modes",
        48000,
        252097800623,
        [
            mode(96.0, 0.012, 44, -0.3),
            mode(264.0, 0.008, 50, 0.9),
            mode(518.0, 0.007, 40, 2.8),
            mode(857.0, 0.0095, 36, -1.7),
        ],
    ),
]


def gaussian(seed, count):
    """Plain Python: math calls the C library, as Rust does; numpy's own log and cos may round otherwise."""
    numbers = []
    x = seed

    def uniform():
        nonlocal x
        x = (x * 6364136223846793005 + 1442695040888963407) % 2**64
        return (x >> 11) / 2**53

    while len(numbers) < count:
        u1, u2 = uniform(), uniform()
        r = math.sqrt(-2 * math.log(max(u1, 1e-300)))
        numbers += [r * math.cos(2 * math.pi * u2), r * math.sin(2 * math.pi * u2)]
    return np.array(numbers[:count])


def pole(m):
    """Decay rate (1/s) and damped angular frequency (rad/s)."""
    w0 = 2 * math.pi * m["frequency_hz"]
    return m["damping_ratio"] * w0, w0 * math.sqrt(1 - m["damping_ratio"] ** 2)


def decays(t, parameters):
    """For each mode's (decay, turn, cosine part, sine part): the two quadratures and the parameters."""
    for decay, turn, a, b in np.reshape(parameters, (-1, 4)):
        fall = np.exp(-decay * t)
        yield fall * np.cos(turn * t), fall * np.sin(turn * t), a, b


def model(t, *parameters):
    return sum(a * c + b * s for c, s, a, b in decays(t, parameters))


def jacobian(t, *parameters):
    columns = []
    for c, s, a, b in decays(t, parameters):
        columns += [-t * (a * c + b * s), t * (b * c - a * s), c, s]
    return np.column_stack(columns)


def sound_of(c, noise):
    t = np.arange(c["length"] - c["onset"]) / c["sample_rate_hz"]
    sound = c["noise_sigma"] * noise
    for m in c["modes"]:
        decay, turn = pole(m)
        sound[c["onset"] :] += m["amplitude"] * np.exp(-decay * t) * np.cos(turn * t + m["phase_rad"])
    return sound


def least_squares(c, sound):
    """All modes at once, fitted to the samples from the onset to the end."""
    rung = sound[c["onset"] :]
    t = np.arange(len(rung)) / c["sample_rate_hz"]
    start = []
    for m in c["modes"]:
        # Somewhat off the truth, by a part of the half-width, so that the fit has to find it.
        decay, turn = pole(m)
        a, b = m["amplitude"] * math.cos(m["phase_rad"]), -m["amplitude"] * math.sin(m["phase_rad"])
        start += [1.1 * decay, turn + 0.1 * decay, 0.9 * a, 0.9 * b]
    sigma = np.full(len(rung), c["noise_sigma"])
    best, covariance = curve_fit(
        model, t, rung, start, sigma, absolute_sigma=True, jac=jacobian, xtol=1e-12, ftol=1e-12, gtol=1e-12
    )
    residual = rung - model(t, *best)
    freedom = len(rung) - len(best)
    modes = []
    for first in range(0, len(best), 4):
        decay, turn = best[first : first + 2]
        w0 = math.hypot(decay, turn)
        # w0 = sqrt(decay^2 + turn^2), zeta = decay/w0: derivatives of f0 and zeta by decay and turn.
        by_pole = [[decay / w0 / (2 * math.pi), turn / w0 / (2 * math.pi)], [turn**2 / w0**3, -decay * turn / w0**3]]
        by = np.array(by_pole)
        errors = np.sqrt(np.diag(by @ covariance[first : first + 2, first : first + 2] @ by.T))
        modes.append(
            {
                "frequency_hz": w0 / (2 * math.pi),
                "frequency_hz_se": float(errors[0]),
                "damping_ratio": float(decay / w0),
                "damping_ratio_se": float(errors[1]),
            }
        )
    return {"modes": modes, "residual_over_sigma": math.sqrt(np.sum(residual**2) / freedom) / c["noise_sigma"]}


def envelope(c, sound):
    """Straight line through the logarithm of the Hilbert envelope of a single mode, over a stretch known beforehand: an
    end where the noisy envelope first falls below a limit would favour the low readings."""
    m = c["modes"][0]
    decay, turn = pole(m)
    rate, sigma = c["sample_rate_hz"], c["noise_sigma"]
    over_noise_db = 10 * math.log10(m["amplitude"] ** 2 / (2 * sigma**2))
    # The jump at the onset disturbs the envelope for some periods.
    from_s = max(0.003, 3 / m["frequency_hz"])
    to_s = (over_noise_db - ENVELOPE_OVER_NOISE_DB) * math.log(10) / 20 / decay
    first, end = c["onset"] + round(from_s * rate), c["onset"] + round(to_s * rate)
    t = (np.arange(first, end) - c["onset"]) / rate
    log_level = np.log(np.abs(hilbert(sound))[first:end])
    slope = -np.polyfit(t, log_level, 1)[0]
    # Of the noise only the part in phase with the mode moves the envelope. Near the mode, where it matters to a slope,
    # its density is twice that of the sound (both sides of the mode fold onto it).
    lever = (t - t.mean()) / np.sum((t - t.mean()) ** 2)
    slope_se = math.sqrt(2 * np.sum((lever * sigma / (m["amplitude"] * np.exp(-decay * t))) ** 2))
    return {
        "first": first,
        "end": end,
        "damping_ratio": float(slope / math.hypot(slope, turn)),
        "damping_ratio_se": slope_se / math.hypot(decay, turn),
    }


def analyse(c):
    noise = gaussian(c["seed"], c["length"])
    sound = sound_of(c, noise)
    return c | {
        "noise_first": noise[:4].tolist(),
        "least_squares": least_squares(c, sound),
        "envelope": envelope(c, sound) if len(c["modes"]) == 1 else None,
    }


def reference():
    return {
        "generator": "scipy_reference.py",
        "date": datetime.date.today().isoformat(),
        "versions": {"python": platform.python_version(), "numpy": np.__version__, "scipy": scipy.__version__},
        "cases": [analyse(c) for c in CASES],
    }


def differences(where, old, new, relative=TOLERANCE_INPUTS, standard_error=None):
    """Lines that say what differs. Whole numbers and names must be equal."""
    if isinstance(new, dict) and isinstance(old, dict):
        if old.keys() != new.keys():
            return [f"{where}: entries {sorted(old)} in the file, {sorted(new)} now"]
        found = []
        for key in new:
            inside = TOLERANCE_RESULTS if key in RESULTS else relative
            found += differences(f"{where}.{key}", old[key], new[key], inside, new.get(f"{key}_se"))
        return found
    if isinstance(new, list) and isinstance(old, list):
        if len(old) != len(new):
            return [f"{where}: {len(old)} entries in the file, {len(new)} now"]
        return [line for i, pair in enumerate(zip(old, new)) for line in differences(f"{where}[{i}]", *pair, relative)]
    if isinstance(new, float) and isinstance(old, (int, float)):
        allowed = TOLERANCE_STANDARD_ERRORS * standard_error if standard_error else relative * abs(new)
        # Written so that a NaN counts as different.
        return [] if abs(old - new) <= allowed else [f"{where}: {old} in the file, {new} now, allowed {allowed:.2g}"]
    return [] if old == new else [f"{where}: {old} in the file, {new} now"]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", metavar="FILE", help="compare with this reference instead of writing one")
    arguments = parser.parse_args()
    now = reference()
    if arguments.check is None:
        json.dump(now, sys.stdout, indent=1)
        print()
        return
    with open(arguments.check, encoding="utf-8") as file:
        old = json.load(file)
    # Date and versions may differ: that is what the check is for.
    found = differences("cases", old.get("cases"), now["cases"])
    if found:
        sys.exit("\n".join(found))
    print(f"{len(now['cases'])} cases agree")


if __name__ == "__main__":
    main()
