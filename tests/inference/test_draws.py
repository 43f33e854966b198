"""Draws from the prior obey the table of beliefs, within Monte-Carlo error."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from motorfit.inference.assemble import Values
from motorfit.inference.combine import PSI_LEAST, PSI_MOST, combined_terms, figure_of_merit
from motorfit.inference.draws import parameters_of, prior_positions
from motorfit.inference.graph import Graph, build_graph
from motorfit.inference.priors import BELIEFS
from motorfit.quantities import CHANNELS, PARAMETERS
from tests.inference.benches import SimulatedBench

N = 20000
_LEAST_P = 1e-3


def _values(graph: Graph, seed: int = 11) -> Values:
    return Values(graph, graph.natural(prior_positions(graph, np.random.default_rng(seed), N)))


@pytest.fixture(scope="module")
def graph(mixed: SimulatedBench) -> Graph:
    return build_graph(mixed.campaign, mixed.blocked)


@pytest.fixture(scope="module")
def believed(graph: Graph) -> Values:
    return _values(graph)


def test_torque_constant_ratio(believed: Values) -> None:
    psi = believed.motor("motor-1")["kt_kv_ratio"]
    assert psi.min() >= PSI_LEAST and psi.max() <= PSI_MOST
    belief = BELIEFS["kt_kv_ratio"]
    edges = [(edge - belief.center) / belief.spread for edge in (PSI_LEAST, PSI_MOST)]
    known = stats.truncnorm(*edges, loc=belief.center, scale=belief.spread)
    assert stats.kstest(psi, known.cdf).pvalue > _LEAST_P


def test_figure_of_merit(believed: Values) -> None:
    merit = figure_of_merit(believed, "prop-a")
    assert merit.max() < 1.0
    known = stats.norm(math.log(0.56 / 0.44), 0.344)
    assert stats.kstest(np.log(merit / (1.0 - merit)), known.cdf).pvalue > _LEAST_P
    np.testing.assert_allclose(np.quantile(merit, [0.025, 0.975]), [0.39, 0.714], atol=0.01)


def test_torque_per_root_watt_grows_with_mass(mixed: SimulatedBench, believed: Values) -> None:
    for motor in mixed.campaign.motors:
        m = believed.motor(motor.id)
        assert motor.mass_g is not None
        known = stats.norm(math.log(0.020 * (motor.mass_g / 35.0) ** 0.83), 0.40)
        kappa = m["kt"] / np.sqrt(m["winding_resistance"])
        assert stats.kstest(np.log(kappa), known.cdf).pvalue > _LEAST_P


def test_motors_are_believed_apart_and_share_the_bench(graph: Graph, believed: Values) -> None:
    a, b = (parameters_of(graph, believed, m, (1, N)) for m in ("motor-1", "motor-2"))
    assert abs(np.corrcoef(np.log(a["kv"][0]), np.log(b["kv"][0]))[0, 1]) < 4.0 / math.sqrt(N)
    for name in ("gain_current", "controller_resistance", "thrust_coefficient"):
        np.testing.assert_array_equal(a[name], b[name])


def test_names_are_those_of_the_table(graph: Graph, believed: Values) -> None:
    out = parameters_of(graph, believed, "motor-1", (4, N // 4))
    sensors = {f"{kind}_{channel}" for kind in ("gain", "offset", "delay", "lag") for channel in CHANNELS}
    assert set(out) <= set(PARAMETERS) | sensors
    assert out["kv"].shape == (4, N // 4)
    assert out["thrust_coefficient"].shape == (4, N // 4, 1)
    assert {"kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia"} <= set(out)


@pytest.mark.parametrize(
    ("name", "center", "factor"),
    [("winding_resistance", 0.05, 1.3), ("torque_coefficient", 0.011, 1.1)],
)
def test_overrides_of_derived_values(mixed: SimulatedBench, name: str, center: float, factor: float) -> None:
    campaign = mixed.with_text(f"\n[priors.{name}]\ncenter = {center}\nfactor = {factor}\n")
    v = _values(build_graph(campaign, mixed.blocked))
    value = v["torque_coefficient[prop-a]"] if name == "torque_coefficient" else v.motor("motor-1")[name]
    known = stats.norm(math.log(center), math.log(factor))
    assert stats.kstest(np.log(value), known.cdf).pvalue > _LEAST_P


def test_combination_terms_are_standard_normal_under_the_prior(graph: Graph, believed: Values) -> None:
    terms, jacobian = combined_terms(graph, believed)
    assert np.isfinite(terms).all() and np.isfinite(jacobian).all()
    for row in terms:
        if np.ptp(row) > 0.0:  # the walls of ψ are zero inside
            assert abs(row.mean()) < 0.05 and row.std() == pytest.approx(1.0, abs=0.05)
