"""Between which days a tool is not to be trusted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from registry.papers.on_the_day import Calibration


@dataclass(frozen=True, slots=True)
class SuspectDays:
    """From and to which day, both counted in, and why, in words."""

    from_on: date | None
    """None where it was never found good: from its first use."""
    until_on: date
    why: str


def suspect_days(calibrations: Sequence[Calibration], today: date) -> SuspectDays:
    """Return the days on which what a tool made is in doubt.

    from its last calibration that found it in tolerance, up to the one that found it out; to today where none did

    Parameters
    ----------
    calibrations : sequence of Calibration
    today : date

    Returns
    -------
    SuspectDays

    References
    ----------
    Own method: a calibration says how the tool came in, so it vouches for the time before it. Both days count, for
    nobody knows whether a make-up of such a day came before the calibration or after it. A calibration that found the
    tool out vouches for nothing, even if it was then set right: the next one says whether that lasted.

    Examples
    --------
    >>> good = Calibration(date(2025, 3, 1), date(2026, 2, 28), "in tolerance", "C-1")
    >>> bad = Calibration(date(2026, 2, 20), date(2027, 2, 19), "out of tolerance", "C-2")
    >>> found = suspect_days([bad, good], date(2026, 11, 25))
    >>> str(found.from_on), str(found.until_on)
    ('2025-03-01', '2026-02-20')
    """
    in_order = sorted((each for each in calibrations if each.calibrated_on <= today), key=lambda c: c.calibrated_on)
    bad = next((each for each in reversed(in_order) if each.as_found == "out of tolerance"), None)
    before = [each for each in in_order if bad is None or each.calibrated_on < bad.calibrated_on]
    good = next((each for each in reversed(before) if each.as_found == "in tolerance"), None)
    until_on = today if bad is None else bad.calibrated_on
    start = "it was never found in tolerance" if good is None else f"found in tolerance on {good.calibrated_on}"
    end = "not calibrated since" if bad is None else f"found out of tolerance on {bad.calibrated_on}"
    return SuspectDays(None if good is None else good.calibrated_on, until_on, f"{start}, {end}")
