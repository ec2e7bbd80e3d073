"""One fit of the record: means, slopes and known changes, temperatures guessed or noted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gudgeon.drift.record import Record, filled_temperature

__all__ = ["SIZES", "Estimate", "Fit"]

Floats = NDArray[np.float64]

SIZES: Final = (1.5, 4.0, 12.0)
"""Sizes of a change in stated uncertainties: standard deviations of the mixture, equal weights."""

ALL_SERIES: Final = 0.5
"""Weight of a change in all series; the rest goes to a change in one of them."""

LEAST_NOISE: Final = 0.22
"""The noise is never taken as less than this share of the stated uncertainty.

Readings that a coarse display has rounded to the same digit would otherwise count as without noise.
It only lowers the evidence, so the bound on false alarms stays.
"""


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """Numbers of one fit.

    Attributes
    ----------
    mean : ndarray, shape (d,)
        At the mean temperature, before any change [mm].
    slope, slope_u : ndarray, shape (d,)
        By temperature [mm/K].
    change, change_u : ndarray, shape (k, d)
        Coefficient of each change [mm, or mm/d of a trend].
    values : ndarray, shape (d, k + 2)
        Mean, changes and slope of each series.
    covariance : ndarray, shape (d, k + 2, k + 2)
        Of `values`.
    noise : float
        Scatter as a multiple of the stated uncertainties.
    dof : float
        Degrees of freedom behind `noise`.
    residual : ndarray, shape (n, d)
        Reading less model [mm]; NaN where nothing was read.
    middle_c : float
        The mean temperature [degC].
    """

    mean: Floats
    slope: Floats
    slope_u: Floats
    change: Floats
    change_u: Floats
    values: Floats
    covariance: Floats
    noise: float
    dof: float
    residual: Floats
    middle_c: float

    def expected(self, changes: Floats, temperature_c: float) -> tuple[Floats, Floats]:
        """Return the expected reading of each series and its standard uncertainty [mm].

        Parameters
        ----------
        changes : ndarray, shape (k,)
            The columns of the changes on that day.
        temperature_c : float
        """
        row = np.concatenate([[1.0], changes, [temperature_c - self.middle_c]])
        variance = np.einsum("i,dij,j->d", row, self.covariance, row)
        return self.values @ row, np.sqrt(np.clip(variance, 0.0, None))


class Fit:
    """All series fitted with the changes known, guessed temperatures counting by one share.

    Parameters
    ----------
    record : Record
    common : ndarray, shape (n, k + 2)
        Ones, the known changes, temperature less its mean.
    unsure : ndarray, shape (n, n), or None
        Covariance of temperatures that were not noted [K^2].
    share : float
        How much of the plausible motion they may have made.

    Attributes
    ----------
    likely : float
        Logarithm of the restricted likelihood with the noise factor taken out.
    """

    def __init__(self, record: Record, common: Floats, unsure: Floats | None, share: float) -> None:
        self.record, self.share, self._unsure = record, share, unsure
        self._count, self._common = common.shape[1] - 1, common
        d = record.value.shape[1]
        self._scale = np.ones(d)
        self._white: list[Floats] = []
        self._basis: list[Floats] = []
        self._design: list[Floats] = []
        self._left: list[Floats] = []
        self._rows: list[NDArray[np.bool_]] = []
        read = rank = 0
        self.rss = 0.0
        size = 0.0
        for j in range(d):
            seen = ~np.isnan(record.value[:, j])
            u = record.u[:, j]
            self._scale[j] = float(np.sqrt(np.mean(u[seen] ** 2))) if seen.any() else 1.0
            white = seen / u
            if unsure is not None and share > 0.0:
                white = _whitened(record, j, seen, common, share**2 * unsure)
            y = _made_white(white, np.where(seen, record.value[:, j], 0.0))
            design = _made_white(white, common)
            # The slope's prior as one more row; it holds for the noise as stated.
            prior = np.zeros(common.shape[1])
            prior[-1] = 1.0 / record.slope_u[j]
            q, r = np.linalg.qr(np.vstack([design, prior]))
            solid = np.abs(np.diag(r)) > 1e-9 * max(float(np.max(np.abs(np.diag(r)))), 1e-300)
            q = q[:, solid]
            full = np.append(y, 0.0)
            left = full - q @ (q.T @ full)
            # Once more: what is left of large coordinates is rounded otherwise.
            left = left - q @ (q.T @ left)
            self.rss += float(left @ left)
            own = white[seen] if white.ndim == 1 else np.diag(white)[seen]
            size += float(np.sum(np.log(own)) - np.sum(np.log(np.abs(np.diag(r))[solid])))
            self._white.append(white)
            self._basis.append(q)
            self._design.append(np.vstack([design, prior]))
            self._left.append(left)
            self._rows.append(seen)
            read += int(seen.sum())
            rank += int(solid[:-1].sum())
        self.dof = read - rank
        self.likely = size - 0.5 * self.dof * float(
            np.log(self.rss + LEAST_NOISE**2 * max(self.dof, 1))
        )

    def log_ratios(self, columns: Floats, sizes: tuple[float, ...]) -> Floats:
        """Return the logarithm of the evidence for each column; see `Evidence.log_ratios`."""
        m, d = columns.shape[1], len(self._left)
        if self.dof < 1 or m == 0:
            return np.zeros(m)
        gram, cross = np.empty((d, m)), np.empty((d, m))
        for j in range(d):
            moved = _made_white(self._white[j], columns * self._scale[j])
            inside = self._basis[j][:-1].T @ moved
            gram[j] = np.clip(np.sum(moved**2, axis=0) - np.sum(inside**2, axis=0), 0.0, None)
            gram[j][gram[j] < 1e-9 * np.sum(moved**2, axis=0)] = 0.0
            cross[j] = np.where(gram[j] > 0.0, self._left[j][:-1] @ moved, 0.0)
        floor = LEAST_NOISE**2 * self.dof
        before = self.rss + floor
        found = []
        weights = []
        for size in sizes:
            gain = cross**2 / (gram + size**-2)
            lost = 0.5 * np.log1p(size**2 * gram)
            groups = [(gain.sum(axis=0), lost.sum(axis=0), ALL_SERIES if d > 1 else 1.0)]
            if d > 1:
                groups += [(gain[j], lost[j], (1.0 - ALL_SERIES) / d) for j in range(d)]
            for won, cost, weight in groups:
                after = np.maximum(before - won, 1e-12 * before)
                found.append(0.5 * self.dof * np.log(before / after) - cost)
                weights.append(weight / len(sizes))
        stacked = np.array(found) + np.log(np.array(weights))[:, None]
        top = np.max(stacked, axis=0)
        return np.asarray(top + np.log(np.sum(np.exp(stacked - top), axis=0)))

    def change_u(self, column: Floats) -> Floats:
        """Return how surely one more change of that shape would be known, shape (d,) [mm]."""
        noise = max(float(np.sqrt(self.rss / max(self.dof, 1))), LEAST_NOISE)
        found = np.full(len(self._left), np.inf)
        for j in range(len(found)):
            moved = _made_white(self._white[j], column)
            inside = self._basis[j][:-1].T @ moved
            left = float(moved @ moved - inside @ inside)
            if left > 1e-9 * max(float(moved @ moved), 1e-300):
                found[j] = noise / np.sqrt(left)
        return found

    def estimate(self, middle_c: float) -> Estimate:
        """Return what the fit says with the known changes."""
        record = self.record
        n, d = record.value.shape
        k = self._count - 1
        dof = max(float(self.dof), 1.0)
        noise = max(np.sqrt(self.rss / dof), LEAST_NOISE)
        mean, slope, slope_u = np.full(d, np.nan), np.zeros(d), record.slope_u.copy()
        change, change_u = np.zeros((k, d)), np.full((k, d), np.inf)
        found, covariances = np.zeros((d, k + 2)), np.zeros((d, k + 2, k + 2))
        residual = np.full((n, d), np.nan)
        for j in range(d):
            if not self._rows[j].any():
                continue
            design = self._design[j]
            y = np.append(_made_white(self._white[j], np.nan_to_num(record.value[:, j])), 0.0)
            inverse = np.linalg.pinv(design.T @ design, rcond=1e-14, hermitian=True)
            values = np.linalg.lstsq(design, y, rcond=1e-12)[0]
            covariance = noise**2 * inverse
            mean[j], slope[j] = values[0], values[-1]
            slope_u[j] = float(np.sqrt(covariance[-1, -1]))
            change[:, j] = values[1:-1]
            found[j], covariances[j] = values, covariance
            change_u[:, j] = np.sqrt(np.clip(np.diag(covariance)[1:-1], 0.0, None))
            seen = self._rows[j]
            residual[seen, j] = (record.value[:, j] - self._common @ values)[seen]
        return Estimate(
            mean,
            slope,
            slope_u,
            change,
            change_u,
            found,
            covariances,
            float(noise),
            dof,
            residual,
            middle_c,
        )

    def ahead(self, changes: Floats, day: float, middle_c: float) -> tuple[Floats, Floats]:
        """Return what to expect on a later day of unknown temperature; see `Evidence.ahead`."""
        record, told = self.record, self.estimate(middle_c)
        days = np.append(record.day, day)
        warm, unsure = filled_temperature(days, np.append(record.temperature, np.nan))
        assert unsure is not None
        row = np.concatenate([[1.0], changes, [warm[-1] - middle_c]])
        d = len(self._left)
        found, u = np.full(d, np.nan), np.full(d, np.inf)
        for j in range(d):
            seen = self._rows[j]
            if not seen.any():
                continue
            by = self.share**2 * (told.slope[j] ** 2 + record.slope_u[j] ** 2) * unsure[-1]
            white = self._white[j] if self._white[j].ndim == 2 else np.diag(self._white[j])
            weights = white.T @ (white @ np.where(seen, by[:-1], 0.0))
            found[j] = row @ told.values[j] + weights @ np.where(
                seen, np.nan_to_num(told.residual[:, j]), 0.0
            )
            left = row - weights @ self._common
            own = by[-1] - weights @ by[:-1]
            variance = told.noise**2 * own + left @ told.covariance[j] @ left
            u[j] = np.sqrt(max(float(variance), 0.0))
        return found, u


def _made_white(white: Floats, columns: Floats) -> Floats:
    """Return columns divided by the noise: a factor for each row, or a matrix."""
    if white.ndim == 2:
        return np.asarray(white @ columns)
    return white * columns if columns.ndim == 1 else white[:, None] * columns


def _whitened(
    record: Record, series: int, seen: NDArray[np.bool_], common: Floats, unsure: Floats
) -> Floats:
    """Return the matrix that makes one series white where some temperatures are guessed.

    A guessed temperature counts as noise by the slope that the noted days show, or by the plausible
    one; its own uncertainty is added.
    """
    n = len(record)
    noted = seen & ~np.isnan(record.temperature)
    slope, slope_u = 0.0, float(record.slope_u[series])
    if noted.sum() > common.shape[1]:
        scaled = common[noted] / record.u[noted, series][:, None]
        prior = np.zeros(common.shape[1])
        prior[-1] = 1.0 / record.slope_u[series]
        design = np.vstack([scaled, prior])
        y = np.append(record.value[noted, series] / record.u[noted, series], 0.0)
        values, *_ = np.linalg.lstsq(design, y, rcond=1e-12)
        inverse = np.linalg.pinv(design.T @ design, rcond=1e-14, hermitian=True)
        slope, slope_u = float(values[-1]), float(np.sqrt(max(inverse[-1, -1], 0.0)))
    covariance = np.diag(record.u[:, series] ** 2) + (slope**2 + slope_u**2) * unsure
    white = np.zeros((n, n))
    own = np.linalg.cholesky(covariance[np.ix_(seen, seen)])
    white[np.ix_(seen, seen)] = np.linalg.inv(own)
    return white
