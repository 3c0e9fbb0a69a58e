"""Time, memory and percentiles of one piece of work, and the table that they are printed in."""

import gc
import resource
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np


@dataclass(frozen=True, slots=True)
class Floor:
    """The least that the same work could take, measured in the same run: what it is, and how long it took."""

    what: str
    seconds: float


@dataclass(slots=True)
class Row:
    """One line of the table: the work, its time (the median where it was repeated), its peak memory, its floors."""

    work: str
    seconds: float
    p95_seconds: float | None = None
    peak_mib: float = 0.0
    floors: list[Floor] = field(default_factory=list[Floor])
    notes: str = ""

    def as_json(self) -> dict[str, Any]:
        """The row with its ratios."""
        row = asdict(self)
        for floor, given in zip(row["floors"], self.floors, strict=True):
            floor["ratio"] = self.seconds / given.seconds
        return row


def timed(work: Callable[[], Any]) -> tuple[float, float, Any]:
    """Seconds that `work` took, the process's peak memory meanwhile [MiB], and what it returned."""
    gc.collect()
    _forget_peak()
    began = time.perf_counter()
    result = work()
    seconds = time.perf_counter() - began
    return seconds, peak_mib(), result


def repeated(work: Callable[[int], Any], times: int) -> tuple[float, float]:
    """Median and 95th percentile of the seconds of `work(0)`, `work(1)`, …"""
    taken = np.empty(times)
    for turn in range(times):
        began = time.perf_counter()
        work(turn)
        taken[turn] = time.perf_counter() - began
    return float(np.median(taken)), float(np.quantile(taken, 0.95))


def medians(floors: Sequence[Sequence[Floor]]) -> list[Floor]:
    """The median of each floor over its turns; the words are those of the turn that it came from."""
    return [sorted(turns, key=lambda floor: floor.seconds)[len(turns) // 2] for turns in zip(*floors, strict=True)]


def peak_mib() -> float:
    """The most memory that this process has held: on Linux since the last `_forget_peak`, elsewhere since it began."""
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    # Kilobytes on Linux, bytes on macOS.
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 * 1024 if sys.platform == "darwin" else 1024)


def _forget_peak() -> None:
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        return  # then the peak is that of the whole run so far, which is never too low


def table(rows: Sequence[Row]) -> str:
    """The rows as plain text."""
    lines = [f"{'work':<44} {'time':>10} {'p95':>10} {'peak':>9}   ratio to floor", "-" * 112]
    for row in rows:
        p95 = "" if row.p95_seconds is None else shown(row.p95_seconds)
        lines.append(
            f"{row.work:<44} {shown(row.seconds):>10} {p95:>10} {row.peak_mib:>5.0f} MiB   {row.notes}".rstrip()
        )
        lines += [
            f"{'':<76}{row.seconds / floor.seconds:>6.1f} × {floor.what} ({shown(floor.seconds)})"
            for floor in row.floors
        ]
    return "\n".join(lines)


def shown(seconds: float) -> str:
    """A duration to read.

    >>> shown(0.00321), shown(12.3)
    ('3.2 ms', '12.3 s')
    """
    return f"{seconds * 1e3:.1f} ms" if seconds < 1.0 else f"{seconds:.1f} s"
