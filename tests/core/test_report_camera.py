"""The camera of the pictures: everything is in the picture, up is up; bones are solids."""

from __future__ import annotations

import numpy as np
import pytest

from armwright.core.proof.report.camera import blades, camera

UP = np.array([0.0, 0.0, 1.0])


def test_the_camera_shows_every_point_with_its_margin() -> None:
    points = np.random.default_rng(4).normal(size=(50, 3))
    view = camera(points, np.array([0.7, -0.6, 0.3]), UP, 0.2, 900, 700)
    places = view.project(points)[:, :2]
    margin = 0.2 * view.scale
    assert places.min() >= margin - 1e-6 and (places <= np.array([900, 700]) - margin + 1e-6).all()
    # One of the two directions is filled.
    filled = np.ptp(places, axis=0) + 2 * margin
    assert filled[0] == pytest.approx(900) or filled[1] == pytest.approx(700)
    # Up is up, and what is nearer to the viewer has less depth.
    up, near = view.project(np.array([view.centre, view.centre + UP])), view.project(np.array([[0.7, -0.6, 0.3]]))
    assert up[1, 1] < up[0, 1] and near[0, 2] < view.project(np.zeros((1, 3)))[0, 2]


def test_a_bone_is_a_closed_solid_from_head_to_tail() -> None:
    heads, tails = np.zeros((2, 3)), np.array([[0.0, 0.0, 2.0], [1.0, 0.0, 0.0]])
    points, faces = blades(heads, tails)
    assert points.shape == (12, 3) and faces.shape == (16, 3)
    edges = {(int(a), int(b)) for face in faces for a, b in zip(face, np.roll(face, -1), strict=True)}
    assert len(edges) == 48 and all((b, a) in edges for a, b in edges)
    assert {tuple(point) for point in (*heads, *tails)} <= {tuple(point) for point in points}
