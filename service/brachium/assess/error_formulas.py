"""Measurement error from test and retest: standard error (SEM) and detectable change (MDC).

SEM = SD of the differences / sqrt 2, or SD x sqrt(1 - ICC); MDC = z x sqrt 2 x SEM with z = 1.96
for 95 % and 1.645 for 90 % (formulas as printed in REISSNER_2019, table 1). All in the unit of the
measure, unrounded.
"""

from __future__ import annotations

from decimal import Decimal

_ROOT_2 = Decimal(2).sqrt()
_Z = {95: Decimal("1.96"), 90: Decimal("1.645")}


def sem_of_differences(sd: Decimal) -> Decimal:
    """Return the SEM from the standard deviation of test-retest differences."""
    return sd / _ROOT_2


def sem_of_agreement(sd: Decimal, icc: Decimal) -> Decimal:
    """Return the SEM from the standard deviation of a group and the intraclass correlation.

    Raises ValueError for an ICC outside 0 to 1.
    """
    if not 0 <= icc <= 1:
        raise ValueError("an ICC lies between 0 and 1")
    return sd * (1 - icc).sqrt()


def detectable_change(sem: Decimal, confidence: int = 95) -> Decimal:
    """Return the MDC for a confidence of 95 or 90 percent. Raises KeyError for any other."""
    return _Z[confidence] * _ROOT_2 * sem


def sem_of_change(change: Decimal, confidence: int = 95) -> Decimal:
    """Return the SEM that a published MDC stands for."""
    return change / (_Z[confidence] * _ROOT_2)
