"""Published instances of sequential ordering, read from the shared data where present."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

INSTANCES = Path(__file__).parents[3] / "shared" / "check-values" / "data" / "tsplib-sop"
NOT_AT_HAND = "the TSPLIB instances are not part of the project and not at hand"


def read_instance(path: Path) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the costs of an instance, and which node must come before which.

    A full matrix follows the number of nodes; -1 in row i, column j: j comes before i.
    """
    words = path.read_text(encoding="ascii").split("EDGE_WEIGHT_SECTION")[1].split()
    size = int(words[0])
    cost = np.array(words[1 : 1 + size * size], dtype=np.int64).reshape(size, size)
    return cost, (cost == -1).T


def best_known(folder: Path = INSTANCES) -> dict[str, tuple[int, int]]:
    """Return the lower bound and the best known length of each instance."""
    with (folder / "sop_optimum.csv").open(encoding="ascii", newline="") as file:
        return {
            row["instance"]: (int(row["lower_bound"]), int(row["best_known"]))
            for row in csv.DictReader(file)
        }
