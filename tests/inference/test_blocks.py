"""Several motors side by side: the posterior as a sum over motors, and draws that use it."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import cast

import numpy as np
import numpy.typing as npt
import pytest

from motorfit.inference.bending import bend
from motorfit.inference.blocks import Blocks
from motorfit.inference.fast import fast_draws
from motorfit.inference.graph import build_graph
from motorfit.inference.optimum import Optimum, find_optimum, laplace
from motorfit.inference.swarm import Swarm
from motorfit.inference.target import Target, build_target
from tests.inference.benches import bench_in
from tests.inference.toys import Toy, toy

Array = npt.NDArray[np.float64]

MOTORS, OWN = 12, 3
SHARED = 2
OF_COORDINATE = np.concatenate([np.zeros(SHARED, dtype=np.int64), np.repeat(np.arange(MOTORS) + 1, OWN)])


@pytest.fixture(scope="module")
def three_motors(tmp_path_factory: pytest.TempPathFactory) -> Target:
    bench = bench_in(tmp_path_factory.mktemp("three"), "no-load", "ramp", motors=3, propellers=2)
    return build_target(build_graph(bench.campaign, bench.blocked))


def test_what_bears_on_one_motor_is_its_own(three_motors: Target) -> None:
    graph, blocks = three_motors.graph, three_motors.graph.blocks
    block = {c.name: int(b) for c, b in zip(graph.coordinates, blocks.of_coordinate, strict=True)}
    assert block["kv[motor-1]"] == 1 and block["kv[motor-3]"] == 3
    assert block["thrust_coefficient[prop-b]"] == 1  # the first motor alone turned it
    assert block["thrust_coefficient[prop-a]"] == block["gain_current"] == block["duty_slope"] == 0
    assert [block[f"start_warmth[{r.run.id}]"] for r in graph.runs] == blocks.of_run.tolist()


def test_blocks_sum_to_the_density_and_leave_one_another_alone(three_motors: Target) -> None:
    graph = three_motors.graph
    z = np.abs(0.2 * np.random.default_rng(2).standard_normal((9, graph.size)))
    parts = three_motors.log_densities(z)
    np.testing.assert_allclose(parts.sum(axis=1), three_motors.log_density(z), rtol=1e-12)
    moved = z.copy()
    moved[:, graph.blocks.of_coordinate == 2] += 0.1
    changed = three_motors.log_densities(moved) != parts
    assert changed[:, 2].all() and not changed[:, [0, 1, 3]].any()


def _many() -> tuple[Target, Callable[[np.random.Generator, int], Array]]:
    """A dozen motors of three coordinates, bent, about two that they share; and exact draws of it.

    x ~ N(0, 1), y ~ N(0, 1);  of each motor u ~ N(x, 0.3), v ~ N(0.5 u² + y, 0.2), w ~ Laplace-like of v.
    """

    def parts(z: Array) -> list[Array]:
        x, y = z[:, 0], z[:, 1]
        out = [np.stack([x, y], axis=1)]
        for m in range(MOTORS):
            u, v, w = z[:, SHARED + OWN * m : SHARED + OWN * (m + 1)].T
            out.append(
                np.stack(
                    [(u - x) / 0.3, (v - 0.5 * u**2 - y) / 0.2, (w - v) / (0.4 + 0.2 * np.tanh(w - v))], 1
                )
            )
        return out

    d = SHARED + OWN * MOTORS
    plain = cast(Toy, toy(lambda z: np.concatenate(parts(z), axis=1), d, {}))
    blocks = Blocks(OF_COORDINATE, np.zeros(1, dtype=np.int64), {}, MOTORS + 1)

    class Many(Toy):
        def log_densities(self, z: Array) -> Array:
            return np.stack([-0.5 * np.sum(p**2, axis=1) for p in parts(z)], axis=1)

    graph = SimpleNamespace(**{**vars(plain.graph), "blocks": blocks})
    target = cast(Target, Many(plain.rows, graph, plain.flat))

    def exact(rng: np.random.Generator, draws: int) -> Array:
        z = rng.standard_normal((draws, d))
        grid = np.linspace(-4.0, 6.0, 4001)
        density = np.exp(-0.5 * (grid / (0.4 + 0.2 * np.tanh(grid))) ** 2)
        for m in range(MOTORS):
            at = SHARED + OWN * m
            z[:, at] = z[:, 0] + 0.3 * z[:, at]
            z[:, at + 1] = 0.5 * z[:, at] ** 2 + z[:, 1] + 0.2 * z[:, at + 1]
            z[:, at + 2] = z[:, at + 1] + rng.choice(grid, draws, p=density / density.sum())
        return z

    return target, exact


def _optimum(target: Target) -> Optimum:
    z, _ = find_optimum(target, np.full(target.graph.size, 0.1))
    return laplace(target, z)


def test_a_dozen_motors_are_drawn_as_well_as_one() -> None:
    target, exact = _many()
    found = fast_draws(target, _optimum(target), np.random.default_rng(3), 4000)
    assert found.moved and found.sound
    z, known = found.z.reshape(-1, target.graph.size), exact(np.random.default_rng(4), 100_000)
    sd = known.std(axis=0)
    assert np.abs((z.mean(axis=0) - known.mean(axis=0)) / sd).max() < 0.12
    np.testing.assert_allclose(z.std(axis=0) / sd, 1.0, atol=0.08)
    for q in (0.05, 0.95):
        beyond = (z < np.quantile(known, q, axis=0)).mean(axis=0)
        assert np.abs(beyond - q).max() < 0.03


def test_a_move_of_one_motor_moves_no_other() -> None:
    target, _ = _many()
    rng = np.random.default_rng(5)
    swarm = Swarm(target, bend(target, _optimum(target), rng), rng, 400)
    before = swarm.z.copy()
    swarm.move(1.0)
    after_shared = swarm.z.copy()
    stood = (after_shared[:, :SHARED] == before[:, :SHARED]).all(axis=1)
    own = np.stack([(swarm.z != before)[:, b == OF_COORDINATE].any(axis=1) for b in range(1, MOTORS + 1)], 1)
    # where what is shared was not moved, some motors went on and others did not
    mixed = own[stood].any(axis=1) & ~own[stood].all(axis=1)
    assert 0 < stood.sum() < 400 and mixed.mean() > 0.5
    np.testing.assert_allclose(swarm.densities, target.log_densities(swarm.z), rtol=1e-9)
    np.testing.assert_allclose(swarm.proposal.draw(swarm.normal).z, swarm.z, atol=1e-9)
