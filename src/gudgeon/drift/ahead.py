"""Each reading against what all before it let expect, as a normal deviate, for the charts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtr

from gudgeon.drift.evidence import Evidence
from gudgeon.drift.record import Record

__all__ = ["deviates"]

Floats = NDArray[np.float64]


def deviates(record: Record, columns: Floats, first: int = 0) -> Floats:
    """Return one-step-ahead residuals of rows from `first` on, turned into normal deviates.

    Parameters
    ----------
    record : Record
    columns : ndarray, shape (k, n)
        Known changes.
    first : int
        Rows before it are NaN.

    Returns
    -------
    ndarray, shape (n, d)
        NaN where nothing was read or nothing can be expected yet.  Without a further change they
        are independent and standard normal (recursive residuals; Brown, Durbin and Evans 1975, from
        memory), as far as the temperature slope is known.
    """
    n, d = record.value.shape
    found = np.full((n, d), np.nan)
    for row in range(max(first, 1), n):
        before = np.arange(row)
        known = tuple(column[before] for column in columns if np.any(column[before]))
        if any(column[row] and not np.any(column[before]) for column in columns):
            continue  # the first after a change: nothing to expect
        evidence = Evidence(record.rows(before), known)
        if evidence.dof < 2:
            continue
        estimate = evidence.estimate()
        now = np.array([column[row] for column in columns if np.any(column[before])])
        warm = float(record.temperature[row])
        if np.isnan(warm):
            expected, u = evidence.ahead(now, float(record.day[row]))
        else:
            expected, u = estimate.expected(now, warm)
        spread = np.hypot(u, estimate.noise * record.u[row])
        share = stdtr(estimate.dof, (record.value[row] - expected) / spread)
        found[row] = ndtri(np.clip(share, 1e-12, 1.0 - 1e-12))
    return found
