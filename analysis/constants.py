"""Numbers of mathematics and of the calendar, which nobody could disagree with; used by several rooms."""

from typing import Final

DAYS_PER_YEAR: Final = 365.25
WEEK_D: Final = 7.0
MAD_TO_SD: Final = 1.4826
"""Median absolute deviation to standard deviation of a Gaussian."""
MEDIAN_SE: Final = 1.2533
"""Standard error of a median of many Gaussian values over that of their mean, the root of pi / 2."""
Z_80: Final = 1.2816
"""Half width of an 80 % interval of a Gaussian [standard deviations]."""
Z_90: Final = 1.6449
"""The same of a 90 % interval."""
