"""What is no character with two arms is refused with a sentence, never given arms."""

from __future__ import annotations

import numpy as np
import pytest
from fit_bodies import Field, Shape, skin

from armwright.core.errors import FitError
from armwright.core.fit.mesh import fit_mesh


def point(*values: float) -> np.ndarray:
    return np.array(values)


def four_legged(neck: float = 1.6, ears: float = 0.12, spread: float = 0.05) -> tuple[np.ndarray, np.ndarray]:
    """A body along the front axis on four legs, with a neck, a head, ears and a tail."""
    field = Field(point(-0.9, -1.3, -0.1), point(0.9, 1.2, 2.3), 0.03)
    field.cone(point(0, -0.5, 1.05), point(0, 0.6, 1.05), 0.25, 0.26)
    field.cone(point(0, -0.6, 1.1), point(0, -0.95, neck), 0.14, 0.1, 0.06)
    field.cone(point(0, -0.95, neck + 0.02), point(0, -1.2, neck - 0.15), 0.09, 0.06, 0.03)
    field.cone(point(0, 0.8, 1.1), point(0, 0.95, 0.6), 0.04, 0.03, 0.03)
    for side in (-1.0, 1.0):
        root = point(0.03 * side, -0.92, neck + 0.08)
        field.cone(root, root + point(spread * side, 0.0, ears), 0.035, 0.025, 0.02)
        for along in (-0.5, 0.6):
            field.cone(point(0.14 * side, along, 1.0), point(0.14 * side, along, 0.05), 0.08, 0.05, 0.05)
    return field.surface()


def ball() -> tuple[np.ndarray, np.ndarray]:
    field = Field(point(-1.2, -1.2, -1.2), point(1.2, 1.2, 1.2), 0.06)
    field.slab(np.zeros(3), np.eye(3), np.ones(3))
    return field.surface()


def crate(
    half: tuple[float, float, float] = (1.0, 1.0, 1.0), lid: bool = True
) -> tuple[np.ndarray, list[tuple[int, ...]]]:
    corners = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float) * half
    sides = [(0, 1, 3, 2), (4, 5, 7, 6), (0, 1, 5, 4), (2, 3, 7, 6)]
    return corners, [*sides, (0, 2, 6, 4), (1, 3, 7, 5)] if lid else sides


def armless() -> tuple[np.ndarray, np.ndarray]:
    made = skin(Shape(), 6000, arms=())
    return made.vertices, made.faces


@pytest.mark.parametrize(
    "mesh",
    [
        crate(),
        crate((0.3, 0.1, 0.85)),
        crate((0.3, 0.1, 0.85), lid=False),
        crate((1.0, 0.1, 0.1)),
        ball(),
        four_legged(),
        four_legged(1.85, 0.2),
        four_legged(1.3, 0.5, spread=0.7),
        armless(),
    ],
    ids=[
        "crate",
        "tall",
        "tall and open",
        "beam",
        "ball",
        "four legs",
        "four legs, long neck, ears",
        "four legs, horns as long as arms",
        "armless",
    ],
)
def test_a_mesh_without_arms_is_refused(mesh: tuple[np.ndarray, object]) -> None:
    with pytest.raises(FitError, match="has no arms") as caught:
        fit_mesh(*mesh, "Wren")
    assert "place the joints by markers" in str(caught.value)


def test_half_a_body_is_refused_with_what_to_do() -> None:
    made = skin(Shape(), 6000)
    half = (made.vertices[:, 0] > -1e-3)[made.faces].all(axis=1)
    with pytest.raises(FitError, match="mirror the mesh"):
        fit_mesh(made.vertices, made.faces[half], "Wren")


def test_a_person_seen_from_the_side_has_no_left_and_right_arm() -> None:
    made = skin(Shape(), 6000)
    with pytest.raises(FitError, match="check the up and front directions"):
        fit_mesh(made.vertices, made.faces, "Wren", front=(1.0, 0.0, 0.0))


@pytest.mark.parametrize(
    ("vertices", "faces", "says"),
    [
        (np.zeros((0, 3)), [], "no faces"),
        (np.eye(3), [(0, 1)], "no faces"),
        (np.zeros((3, 3)), [(0, 1, 2)], "no surface"),
        (np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]), [(0, 1, 2)], "no surface"),
        (np.full((3, 3), np.nan), [(0, 1, 2)], "not points"),
        (np.zeros((3, 2)), [(0, 1, 2)], "not points"),
        (np.eye(3), [(0, 1, 5)], "does not have"),
        (np.eye(3), [(0, 1, -1)], "does not have"),
    ],
)
def test_a_broken_mesh_is_refused(vertices: np.ndarray, faces: list[tuple[int, ...]], says: str) -> None:
    with pytest.raises(FitError, match=says):
        fit_mesh(vertices, faces, "Wren")


@pytest.mark.parametrize(
    ("up", "front"),
    [((0, 0, 1), (0, 0, 2)), ((0, 0, 0), (0, -1, 0)), ((0, 0, 1), (0, 0, 0)), ((0, 0, float("nan")), (0, -1, 0))],
)
def test_directions_that_span_no_plane_are_refused(up: tuple[float, ...], front: tuple[float, ...]) -> None:
    with pytest.raises(FitError, match="up and front"):
        fit_mesh(*crate(), "Wren", up=up, front=front)


@pytest.mark.parametrize("unit", [0.0, -1.0, float("nan"), float("inf")])
def test_a_unit_that_is_no_length_is_refused(unit: float) -> None:
    with pytest.raises(FitError, match="unit"):
        fit_mesh(*crate(), "Wren", unit=unit)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.filterwarnings("error")
def test_a_random_heap_ends_in_a_sentence(seed: int) -> None:
    print(f"seed {seed}")
    rng = np.random.default_rng(seed)
    points = rng.uniform(size=(200, 3)) * [1.0, 0.2, 2.0]
    heap = np.argsort(rng.random((300, 200)), axis=1)[:, :3]
    with pytest.raises(FitError):
        fit_mesh(points, heap, "Wren")
