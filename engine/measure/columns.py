"""What a mean may be made of: columns for each stretch of rows, and columns for all of them.

A tempo curve belongs to its stretch, the habits of a figure to every stretch. Kept apart, a
take of any length costs no more than its length.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from engine.measure.heard import Numbers


@dataclass(frozen=True, eq=False)
class Columns:
    """Columns of a linear model.

    Attributes:
        blocks: (rows, columns) of each stretch; the rows follow one another and leave none out.
        shared: columns over all rows, shape (n, k).
    """

    blocks: tuple[tuple[slice, Numbers], ...]
    shared: Numbers

    @cached_property
    def orthonormal(self) -> Columns:
        """Orthonormal columns that span the same; what adds nothing is dropped."""
        blocks = tuple((rows, _basis(columns)) for rows, columns in self.blocks)
        shared = self.shared.copy()
        for rows, columns in blocks:
            shared[rows] -= columns @ (columns.T @ shared[rows])
        return Columns(blocks, _basis(shared))

    @property
    def count(self) -> int:
        """How many columns there are."""
        return int(sum(c.shape[1] for _, c in self.blocks) + self.shared.shape[1])

    def take_from(self, y: Numbers) -> Numbers:
        """y less its part along the columns, which must be orthonormal; shape (n,)."""
        out = y - self.shared @ (self.shared.T @ y)
        for rows, columns in self.blocks:
            out[rows] -= columns @ (columns.T @ y[rows])
        return out


def _basis(columns: Numbers) -> Numbers:
    left, size, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, size > 1e-9 * size.max(initial=1e-300)])
