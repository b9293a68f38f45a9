"""Which cells of a refined map are to be run, and what the others are taken to be.

A refined map begins on every 2^levels-th node of each axis. At each level every square of
neighbouring nodes is looked at; where its corners are not all of one class, and in the ring of
squares around it, the nodes half-way between are run. All other new nodes take the class of their
square. A corner that was only inferred is run as soon as a square around it holds two classes, so
in the finished map no line between two classes passes along a node that was not run.

What this can miss: an island of another class that lies between the nodes of level 0.
"""

from __future__ import annotations

from itertools import product

import numpy as np

__all__ = ["check_shape", "fill", "next_cells", "stride"]


def stride(level: int, levels: int) -> int:
    """Nodes of the finest grid from one node of a level to the next."""
    if not 0 <= level <= levels:
        raise ValueError(f"level {level} is not one of 0 to {levels}")
    return int(1 << (levels - level))


def check_shape(shape: tuple[int, ...], levels: int) -> None:
    """Refuse a grid that does not begin and end with nodes of level 0.

    Raises
    ------
    ValueError
        Unless every axis has (n - 1) 2^levels + 1 nodes.
    """
    if not 1 <= len(shape) <= 2:
        raise ValueError(f"a map has one axis or two, not {len(shape)}")
    for nodes in shape:
        if nodes < 1 or (nodes - 1) % stride(0, levels):
            raise ValueError(
                f"{nodes} nodes cannot be halved {levels} times: (n - 1) {1 << levels} + 1 needed"
            )


def next_cells(level: int, levels: int, codes: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Cells to run before a level is finished, given what is known.

    Ask again after they were run: what they show may ask for more. When none is left, call
    :func:`fill` and go on with the next level.

    Parameters
    ----------
    level : int                           0 to levels
    levels : int                          how often the axes are halved
    codes : ndarray of int, shape (...)   class of each node that is known or filled, one code for
                                          each thing that tells two cells apart; the finest grid
    known : ndarray of bool, same shape   nodes that were run

    Returns
    -------
    ndarray of int64, shape (n,)
        Flat indices into the finest grid, rising.
    """
    check_shape(codes.shape, levels)
    step = stride(level, levels)
    want = np.zeros(codes.shape, dtype=bool)
    if level == 0:
        want[_every(step, codes.ndim)] = True
    else:
        coarse = _every(2 * step, codes.ndim)
        _around(want[_every(step, codes.ndim)], _ring(_mixed(codes[coarse])))
        # of corners, only those of a square with two classes; nodes of this level lie on them too
        want[coarse] = False
        _corners(want[coarse], _mixed(codes[coarse]))
    want &= ~known
    if level == levels and not want.any():
        _corners(want, _mixed(fill(level, levels, codes, known)))
        want &= ~known
    return np.flatnonzero(want)


def fill(level: int, levels: int, codes: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Codes with the nodes of a level that were not run taken from their square.

    Parameters
    ----------
    level, levels, codes, known : as for :func:`next_cells`

    Returns
    -------
    ndarray, shape of codes
        A copy; nodes of finer levels are as they were.
    """
    check_shape(codes.shape, levels)
    filled = codes.copy()
    if level == 0:
        return filled
    nodes = _every(stride(level, levels), codes.ndim)
    here = filled[nodes]
    # A node that was not run lies in squares of one class only, so any corner will do.
    lower = np.ix_(*(np.arange(size) // 2 * 2 for size in here.shape))
    filled[nodes] = np.where(known[nodes], here, here[lower])
    return filled


def _every(step: int, axes: int) -> tuple[slice, ...]:
    return (slice(None, None, step),) * axes


def _sides(size: int) -> tuple[slice, ...]:
    """Lower and upper nodes of the pieces of an axis; an axis of one node is its own piece."""
    return (slice(None, -1), slice(1, None)) if size > 1 else (slice(None),)


def _mixed(codes: np.ndarray) -> np.ndarray:
    """Squares whose corners are not all of one class, one fewer than nodes along each axis."""
    corners = [codes[corner] for corner in product(*map(_sides, codes.shape))]
    mixed = np.zeros(corners[0].shape, dtype=bool)
    for corner in corners[1:]:
        mixed |= corner != corners[0]
    return mixed


def _ring(squares: np.ndarray) -> np.ndarray:
    """The squares and all that touch one of them, if only at a corner."""
    grown = squares.copy()
    for axis in range(squares.ndim):
        along = np.moveaxis(grown, axis, 0)
        before = along.copy()
        along[1:] |= before[:-1]
        along[:-1] |= before[1:]
    return grown


def _around(nodes: np.ndarray, squares: np.ndarray) -> None:
    """Mark the nodes in and on squares; nodes lie twice as dense as the corners."""
    spans = [(0, 1, 2) if size > 1 else (0,) for size in nodes.shape]
    for offset in product(*spans):
        ends = zip(offset, squares.shape, strict=True)
        nodes[tuple(slice(o, o + 2 * n - 1, 2) for o, n in ends)] |= squares


def _corners(nodes: np.ndarray, squares: np.ndarray) -> None:
    """Mark the corners of squares."""
    for corner in product(*map(_sides, nodes.shape)):
        nodes[corner] |= squares
