"""The rule of a benchmark in NumPy, from the recording to what is raised and cleared.

mat FILE REGION…: scans of 2,048 cells a second apart, 12 bits a cell, nothing else in
the file; each region is rows, such as head=0-8, and together they are all of them.
four FILE: rows of a time in seconds and four pressures, with commas between; judged row
by row, as what comes in live has to be.
series FILE: the same, judged as one array over time, as only a recording can be.

Prints the time it took in seconds, and then each change: its second, and what it is.
"""
import sys
import time

import numpy as np

ROWS, COLUMNS, CELLS = 64, 32, 2048
REGIONS = [(name, int(rows.split("-")[0]), int(rows.split("-")[1])) for name, rows in (r.split("=") for r in sys.argv[3:])]


class Hold:
    """Threshold and duration of many cells at once, a second a step."""

    def __init__(self, cells, limit, deadband, on, resets, off):
        self.limit, self.stay = limit, limit - deadband
        self.on, self.resets, self.off = on, resets, off
        self.yes = np.zeros(cells, bool)
        self.raised = np.zeros(cells, bool)
        self.held = np.zeros(cells)
        self.released = np.zeros(cells)

    def lasts(self, span):
        """Let a time pass."""
        no = ~self.yes
        quiet = ~self.raised
        self.held[self.yes & quiet] += span
        self.released[no] += span
        self.released[self.yes] = 0
        self.held[quiet & (self.released >= self.resets)] = 0
        up = quiet & self.yes & (self.held >= self.on)
        down = self.raised & (self.released >= self.off)
        self.raised ^= up | down
        self.held[down] = 0

    def take(self, values):
        self.yes = (values > self.limit) | (self.yes & (values > self.stay))


def unpack(packed):
    """Two readings from three bytes, little endian."""
    b = packed.reshape(len(packed), -1, 3).astype(np.uint16)
    out = np.empty((len(packed), CELLS), np.float64)
    out[:, 0::2] = b[:, :, 0] | (b[:, :, 1] & 15) << 8
    out[:, 1::2] = b[:, :, 1] >> 4 | b[:, :, 2] << 4
    return out


def mat(name, chunk=600):
    file = np.memmap(name, np.uint8).reshape(-1, CELLS * 3 // 2)
    hold = Hold(CELLS, 30, 2, 1800, 120, 30)
    starts = [first * COLUMNS for _, first, _ in REGIONS]
    was, out = np.zeros(len(REGIONS), bool), []
    for first in range(0, len(file), chunk):
        counts = unpack(file[first:first + chunk])
        values = np.where(counts >= 4095, np.nan, 0.05 * counts)
        # Peak, mean, contact area and load of the mat and of its regions.
        for _, a, b in [("mat", 0, ROWS)] + REGIONS:
            part = values[:, a * COLUMNS:b * COLUMNS]
            touching = part > 5
            np.nanmax(part, axis=1)
            np.nansum(part, axis=1)
            np.count_nonzero(touching, axis=1)
            np.nansum(part * touching, axis=1)
        for k, row in enumerate(values):
            if first + k > 0:
                hold.lasts(1)
                now = np.logical_or.reduceat(hold.raised, starts)
                if (now != was).any():
                    for i in np.flatnonzero(now != was):
                        out.append((first + k, "raised" if now[i] else "cleared", REGIONS[i][0]))
                    was = now
            hold.take(row)
    return out


def four(name):
    rows = np.loadtxt(name, delimiter=",")
    hold = Hold(1, 40, 3, 30 - 1e-6, 5 - 1e-6, 5 - 1e-6)  # sums of tenths of a second
    was, out, before = False, [], rows[0, 0]
    for row in rows:
        hold.lasts(row[0] - before)
        before = row[0]
        if hold.raised[0] != was:
            was = not was
            out.append((row[0], "raised" if was else "cleared", "ankle"))
        hold.take(row[1:3].mean(keepdims=True))
    return out


def series(name, limit=40, deadband=3, on=30, resets=5, off=5):
    rows = np.loadtxt(name, delimiter=",")
    times, ankle = rows[:, 0], rows[:, 1:3].mean(axis=1)
    # Where a value is neither above the limit nor below what is enough to stay
    # above it, what was so before is so.
    above, decided = ankle > limit, (ankle > limit) | (ankle <= limit - deadband)
    last = np.maximum.accumulate(np.where(decided, np.arange(len(ankle)), 0))
    yes = above[last]
    # Stretches in which nothing changes, one after the other.
    turns = np.flatnonzero(np.diff(yes)) + 1
    begins = np.concatenate(([0], turns))
    ends = np.concatenate((times[turns], [times[-1]]))
    held, is_raised, out = 0.0, False, []
    for first, end in zip(begins, ends):
        start, lasts = times[first], end - times[first]
        if yes[first] and not is_raised:
            if held + lasts >= on:
                out.append((start + on - held, "raised", "ankle"))
                is_raised = True
            held += lasts
        elif not yes[first]:
            if is_raised and lasts >= off:
                out.append((start + off, "cleared", "ankle"))
                is_raised, held = False, 0.0
            elif lasts >= resets:
                held = 0.0
    return out


began = time.perf_counter()
found = {"mat": mat, "four": four, "series": series}[sys.argv[1]](sys.argv[2])
print(time.perf_counter() - began)
for second, what, where in found:
    print(f"{second:.3f} {what} {where}")
