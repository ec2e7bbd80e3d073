"""Small algebra of designs: independent rows, covariance with further rows, the worst direction."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["largest_of", "largest_spread", "updated", "whitened"]

Floats = NDArray[np.float64]


def whitened(
    rows: ArrayLike, shared: ArrayLike | None = None, open_ones: ArrayLike | None = None
) -> Floats:
    """Return rows whose noise is uncorrelated and that carry the same information.

    Parameters
    ----------
    rows : array_like, shape (k, p)
        Derivatives of residuals over their own standard uncertainty.
    shared : array_like, shape (k, j), optional
        Effect of each shared error, one standard uncertainty of it, on the same residuals: the
        index error of one positioning.
    open_ones : array_like, shape (k, l), optional
        Effect of shared numbers of which nothing is known: the zero of a dial.
    """
    out = np.asarray(rows, dtype=np.float64)
    count = len(out)
    free = np.zeros((count, 0)) if open_ones is None else np.asarray(open_ones, dtype=np.float64)
    noise = np.eye(count)
    if shared is not None:
        effect = np.asarray(shared, dtype=np.float64)
        noise = noise + effect @ effect.T
    lower = np.linalg.cholesky(noise)
    out = np.linalg.solve(lower, out)
    if free.shape[1]:
        basis, _ = np.linalg.qr(np.linalg.solve(lower, free))
        out = out - basis @ (basis.T @ out)
    return np.asarray(out)


def largest_spread(covariances: Floats) -> Floats:
    """Return the largest eigenvalue of symmetric 3 x 3 matrices, shape (..., 3, 3) -> (...).

    The closed form (trigonometric solution of the characteristic cubic): a hundred thousand of
    them are wanted at a time.
    """
    c = covariances
    return largest_of(
        c[..., 0, 0], c[..., 1, 1], c[..., 2, 2], c[..., 0, 1], c[..., 0, 2], c[..., 1, 2]
    )


def updated(covariance: Floats, rows: Floats) -> Floats:
    """Return the covariance with further rows of information."""
    product = rows @ covariance
    inner = product @ rows.T + np.eye(len(rows))
    gain = np.linalg.solve(np.linalg.cholesky(inner), product)
    return np.asarray(covariance - gain.T @ gain)


def largest_of(xx: Floats, yy: Floats, zz: Floats, xy: Floats, xz: Floats, yz: Floats) -> Floats:
    """Return the largest eigenvalue of symmetric matrices given by their six numbers."""
    mean = (xx + yy + zz) / 3.0
    a, b, c = xx - mean, yy - mean, zz - mean
    off = xy * xy + xz * xz + yz * yz
    size = np.sqrt((a * a + b * b + c * c + 2.0 * off) / 6.0)
    safe = np.where(size > 0.0, size, 1.0)
    a, b, c, d, e, f = a / safe, b / safe, c / safe, xy / safe, xz / safe, yz / safe
    half = 0.5 * (a * (b * c - f * f) - d * (d * c - f * e) + e * (d * f - b * e))
    angle = np.arccos(np.clip(half, -1.0, 1.0)) / 3.0
    return np.asarray(mean + 2.0 * size * np.cos(angle))
