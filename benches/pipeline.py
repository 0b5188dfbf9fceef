"""The usual way from tap recordings to modes with numpy and scipy: the yardstick for speed and accuracy.

python3 pipeline.py FILE.wav... [--json]

Taps from jumps of the short-time energy, modes from the peaks of the averaged spectrum, frequency and damping from a
band-pass, the Hilbert transform and straight lines. Times exclude the imports, so that they compare the analysis alone.
"""

import argparse
import json
import sys
import time

import numpy as np
from scipy import fft, signal
from scipy.io import wavfile

BLOCK_S = 0.005  # block of the short-time energy
BEFORE_BLOCKS = 10  # a tap must stand out from the loudest of so many blocks before it, so that beats are no taps
JUMP_DB = 6.0
TAP_OVER_NOISE_DB = 12.0
LEAST_BETWEEN_TAPS_S = 0.25
LEAST_QUIET_S = 0.1
RANGE_HZ = (60.0, 5000.0)
PEAK_OVER_NOISE_DB = 15.0  # of 100 000 noise bins of a single tap, the highest stands about 11 dB over their mean
PEAK_PROMINENCE_DB = 10.0  # less takes the noise on a strong mode's flanks for modes
MOST_MODES = 12
HALF_BAND = 0.05  # of the frequency
FIT_AFTER_S = 0.003
FIT_OVER_NOISE_DB = 10.0
LEAST_FIT_S = 0.005


def read_sound(path):
    """First channel as floats, full scale 1, without offset."""
    rate, sound = wavfile.read(path)
    if sound.ndim > 1:
        sound = sound[:, 0]
    if sound.dtype == np.uint8:  # 8-bit WAV is unsigned
        sound = sound.astype(float) / 128 - 1
    elif sound.dtype.kind == "i":
        sound = sound / -float(np.iinfo(sound.dtype).min)
    sound = sound.astype(float)
    return rate, sound - sound.mean()


def find_taps(sound, rate):
    """First sample of each tap."""
    block = int(BLOCK_S * rate)
    count = len(sound) // block
    if count <= BEFORE_BLOCKS:
        return []
    power = np.mean(sound[: count * block].reshape(count, block) ** 2, axis=1)
    level = 10 * np.log10(power + 1e-12)
    noise = np.percentile(level, 10)
    before = np.lib.stride_tricks.sliding_window_view(level[:-1], BEFORE_BLOCKS).max(axis=1)
    now = level[BEFORE_BLOCKS:]
    jumps = BEFORE_BLOCKS + np.flatnonzero((now > before + JUMP_DB) & (now > noise + TAP_OVER_NOISE_DB))
    taps = []
    for jump in jumps:
        # The strike may fall on the end of the block before; it is where the sound first leaves the noise.
        start = (jump - 1) * block
        out = np.flatnonzero(np.abs(sound[start : start + 2 * block]) > 4 * 10 ** (noise / 20))
        onset = start + int(out[0]) if len(out) else jump * block
        if not taps or onset - taps[-1] >= LEAST_BETWEEN_TAPS_S * rate:
            taps.append(onset)
    return taps


def quiet_part(sound, taps, rate):
    """The room's noise: what lies before the first tap, or else the end of the recording."""
    least = int(LEAST_QUIET_S * rate)
    return slice(0, taps[0]) if taps[0] >= least else slice(max(0, len(sound) - least), len(sound))


def find_peaks(sound, taps, quiet, rate):
    """Frequencies (Hz) of the highest peaks over the noise in the mean power spectrum of the taps."""
    ends = taps[1:] + [len(sound)]
    length = fft.next_fast_len(max(end - tap for tap, end in zip(taps, ends)), real=True)
    power = 0.0
    window_energy = 0.0
    for tap, end in zip(taps, ends):
        # The falling half of a Hann window: a whole one would be nought at the strike, where the sound is.
        window = signal.windows.hann(2 * (end - tap), sym=False)[end - tap :]
        power = power + np.abs(fft.rfft(sound[tap:end] * window, length)) ** 2
        window_energy += np.sum(window**2)
    frequency = fft.rfftfreq(length, 1 / rate)
    density_at, density = signal.welch(sound[quiet], rate, nperseg=min(4096, len(sound[quiet])))
    floor = np.interp(frequency, density_at, density) * rate / 2 * window_energy
    over_noise = 10 * np.log10((power + 1e-30) / (floor + 1e-30))
    highest_hz = min(RANGE_HZ[1], 0.45 * rate)  # the band around a peak must stay below half the rate
    in_range = slice(*np.searchsorted(frequency, [RANGE_HZ[0], highest_hz]))
    peaks, found = signal.find_peaks(over_noise[in_range], height=PEAK_OVER_NOISE_DB, prominence=PEAK_PROMINENCE_DB)
    highest = np.argsort(found["peak_heights"])[::-1][:MOST_MODES]
    return np.sort(frequency[in_range][peaks[highest]])


def fit_mode(sound, taps, quiet, rate, peak_hz):
    """Undamped frequency (Hz) and damping ratio, mean over the taps; None if no tap can be read."""
    band = [(1 - HALF_BAND) * peak_hz, (1 + HALF_BAND) * peak_hz]
    sos = signal.butter(4, band, "bandpass", fs=rate, output="sos")
    filtered = signal.sosfiltfilt(sos, sound)
    analytic = signal.hilbert(filtered, fft.next_fast_len(len(sound)))[: len(sound)]
    envelope = np.abs(analytic)
    # The median, since the filter smears the first tap into the quiet.
    limit = np.median(envelope[quiet]) * 10 ** (FIT_OVER_NOISE_DB / 20)
    readings = []
    for tap, end in zip(taps, taps[1:] + [len(sound)]):
        start = tap + int(FIT_AFTER_S * rate)
        below = np.flatnonzero(envelope[start:end] < limit)
        stop = start + int(below[0]) if len(below) else end
        if stop - start < LEAST_FIT_S * rate:
            continue
        t = np.arange(stop - start) / rate
        decay = -np.polyfit(t, np.log(envelope[start:stop]), 1)[0]
        turn = np.polyfit(t, np.unwrap(np.angle(analytic[start:stop])), 1)[0]
        if decay > 0:
            undamped = np.hypot(decay, turn)
            readings.append((undamped / (2 * np.pi), decay / undamped))
    return np.mean(readings, axis=0) if readings else None


def analyse(path):
    rate, sound = read_sound(path)
    taps = find_taps(sound, rate)
    if not taps:
        return []
    quiet = quiet_part(sound, taps, rate)
    modes = [fit_mode(sound, taps, quiet, rate, peak) for peak in find_peaks(sound, taps, quiet, rate)]
    return [{"frequency_hz": float(m[0]), "damping_ratio": float(m[1])} for m in modes if m is not None]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("files", nargs="+", metavar="FILE.wav")
    parser.add_argument("--json", action="store_true", help="print JSON instead of a table")
    arguments = parser.parse_args()
    files = []
    for path in arguments.files:
        start = time.perf_counter()
        modes = analyse(path)
        files.append({"file": path, "seconds_analysis": time.perf_counter() - start, "modes": modes})
    seconds_total = sum(f["seconds_analysis"] for f in files)
    if arguments.json:
        json.dump({"files": files, "seconds_total": seconds_total}, sys.stdout, indent=1)
        print()
        return
    for f in files:
        print(f"{f['file']}  ({f['seconds_analysis']:.3f} s)")
        print("  frequency (Hz)  damping ratio")
        for m in f["modes"]:
            print(f"  {m['frequency_hz']:14.2f}  {m['damping_ratio']:13.5f}")
    print(f"{len(files)} files in {seconds_total:.3f} s")


if __name__ == "__main__":
    main()
