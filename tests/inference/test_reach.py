"""Which runs a coordinate bears on, and derivatives that move several coordinates at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motorfit.inference.differences import linearise
from motorfit.inference.graph import build_graph
from motorfit.inference.reach import colours_of
from motorfit.inference.target import Target, build_target
from tests.inference.benches import bench_in


@pytest.fixture(scope="module")
def two_motors(tmp_path_factory: pytest.TempPathFactory) -> Target:
    folder: Path = tmp_path_factory.mktemp("two")
    bench = bench_in(folder, "no-load", "ramp", "spin-up", motors=2, propellers=2)
    return build_target(build_graph(bench.campaign, bench.blocked))


def _somewhere(target: Target) -> np.ndarray:
    return np.abs(0.3 * np.random.default_rng(4).standard_normal(target.graph.size))


def test_no_reading_follows_a_coordinate_out_of_reach(two_motors: Target) -> None:
    z, graph = _somewhere(two_motors), two_motors.graph
    rows = two_motors.data_residuals(np.concatenate([z[None, :], z + 0.01 * np.eye(z.size)]))
    for i in range(z.size):
        for run in np.flatnonzero(~graph.reach[i]):
            a, b = two_motors.cuts[run : run + 2]
            np.testing.assert_array_equal(rows[1 + i, a:b], rows[0, a:b], err_msg=graph.coordinates[i].name)
    # and what is within reach is mostly felt, so that the table above is not trivially narrow
    assert (~graph.reach).sum() > 0.3 * graph.reach.size


def test_two_of_a_colour_share_no_run(two_motors: Target) -> None:
    graph = two_motors.graph
    assert graph.colours.max() + 1 < 0.7 * graph.size
    for colour in range(graph.colours.max() + 1):
        assert graph.reach[graph.colours == colour].sum(axis=0).max() <= 1


def test_colours_fill_what_is_free() -> None:
    reach = np.array([[True, True, True], [True, False, False], [False, True, False], [False, False, True]])
    assert colours_of(reach).tolist() == [0, 1, 1, 1]


@pytest.mark.parametrize("central", [False, True])
def test_derivatives_are_those_of_one_coordinate_at_a_time(two_motors: Target, central: bool) -> None:
    z = _somewhere(two_motors)
    linear = linearise(two_motors, z, steps=np.full(z.size, 1e-5) if central else None)
    step = 1e-5 * np.eye(z.size)
    apart = (two_motors.residuals(z + step) - two_motors.residuals(z - step)).T / 2e-5
    scale = np.linalg.norm(apart, axis=0)
    assert (np.linalg.norm(linear.jacobian - apart, axis=0) < 1e-3 * scale).all()
    gram, pull = linear.products(linear.data, np.ones(linear.data.size), linear.beliefs)
    j = linear.jacobian
    np.testing.assert_allclose(gram, j.T @ j, rtol=1e-9, atol=1e-9 * np.abs(gram).max())
    np.testing.assert_allclose(pull, j.T @ linear.residuals, atol=1e-9 * np.abs(pull).max())
