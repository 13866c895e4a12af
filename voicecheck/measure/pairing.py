"""Which of the things found stands for which of the things expected: the best one-to-one pairing."""

from __future__ import annotations

from collections.abc import Sequence


def best_pairs(weights: Sequence[Sequence[int]]) -> list[tuple[int, int]]:
    """Pairs (row, column), in order of row, with the largest sum of weights; each is used once at most.

    ``weights`` is a rectangle of whole numbers from 0; 0 says that the two must not be paired. The result is
    exact and the same at every call (the Hungarian method with potentials, O(rows² · columns)).
    """
    rows, columns = len(weights), len(weights[0]) if weights else 0
    if not rows or not columns:
        return []
    if rows > columns:  # the method wants at least as many columns as rows
        turned = [[weights[r][c] for r in range(rows)] for c in range(columns)]
        return sorted((r, c) for c, r in best_pairs(turned))
    row_price = [0] * (rows + 1)
    column_price = [0] * (columns + 1)
    taken_by = [0] * (columns + 1)  # row (from 1) that holds a column (from 1); 0: free
    for row in range(1, rows + 1):
        taken_by[0] = row
        at = 0
        least: list[int | None] = [None] * (columns + 1)
        came_from = [0] * (columns + 1)
        seen = [False] * (columns + 1)
        while taken_by[at]:
            seen[at] = True
            holder, step, following = taken_by[at], None, 0
            for column in range(1, columns + 1):
                if seen[column]:
                    continue
                cost = -weights[holder - 1][column - 1] - row_price[holder] - column_price[column]
                known = least[column]
                if known is None or cost < known:
                    least[column], came_from[column], known = cost, at, cost
                if step is None or known < step:
                    step, following = known, column
            assert step is not None  # fewer rows than columns leaves one unseen
            for column in range(columns + 1):
                if seen[column]:
                    row_price[taken_by[column]] += step
                    column_price[column] -= step
                else:
                    cost_left = least[column]
                    if cost_left is not None:
                        least[column] = cost_left - step
            at = following
        while at:
            taken_by[at] = taken_by[came_from[at]]
            at = came_from[at]
    pairs = ((taken_by[c] - 1, c - 1) for c in range(1, columns + 1) if taken_by[c])
    return sorted((r, c) for r, c in pairs if weights[r][c] > 0)
