"""A board's points and how maps of each kind show them, for the tests of two pictures."""

from typing import get_args

import numpy as np

from server.engineering.registration import Kind
from server.engineering.registration_points import Reals

KINDS: tuple[Kind, ...] = get_args(Kind)
BOARD = np.array([[40, 30], [610, 22], [620, 455], [35, 470], [330, 240], [150, 120], [480, 130]], dtype=np.float64)
CORNERS = BOARD[:4]


def through(matrix: Reals, points: Reals) -> Reals:
    """By homogeneous coordinates, written apart from the module's own."""
    whole = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(whole[:, :2] / whole[:, 2:])


def turned(angle: float, scale: float, shift: tuple[float, float], mirrored: bool) -> Reals:
    cosine, sine, side = scale * np.cos(angle), scale * np.sin(angle), -1 if mirrored else 1
    return np.array([[cosine, -sine * side, shift[0]], [sine, cosine * side, shift[1]], [0, 0, 1]])


def noisy(kind: Kind, seed: int, size: float = 1.0, points: Reals = BOARD) -> Reals:
    """The board as a map that needs its kind shows it, marked with an error."""
    return shown_truly(kind, points) + np.random.default_rng(seed).normal(0, size, points.shape)


def shown_truly(kind: Kind, points: Reals) -> Reals:
    matrix = turned(0.3, 1.2, (50, 60), mirrored=False)
    if kind != "similarity":
        matrix = matrix @ np.array([[1, 0.2, 0], [0, 0.8, 0], [0, 0, 1]])
    if kind == "projective":
        matrix = matrix @ np.array([[1, 0, 0], [0, 1, 0], [3e-4, -2e-4, 1]])
    return through(matrix, points)
