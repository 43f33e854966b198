"""Benches and fits that several tests look at; nothing is fitted twice."""

from __future__ import annotations

import pytest

from motorfit.inference.fit import fit_campaign, optimise
from motorfit.inference.optimum import Optimum
from motorfit.inference.result import FitResult
from motorfit.inference.target import Target
from tests.inference.benches import SimulatedBench, bench_in

Learned = tuple[Target, Optimum]


@pytest.fixture(scope="session")
def mixed(tmp_path_factory: pytest.TempPathFactory) -> SimulatedBench:
    """Two motors, each with a short log and a table."""
    return bench_in(tmp_path_factory.mktemp("mixed"), "no-load", "table", motors=2)


@pytest.fixture(scope="session")
def learned(mixed: SimulatedBench) -> Learned:
    """The posterior of `mixed` with its noise learned, and its optimum."""
    return optimise(mixed.campaign, mixed.blocked)


@pytest.fixture(scope="session")
def tables(tmp_path_factory: pytest.TempPathFactory) -> SimulatedBench:
    """Two motors of which tables are all there is."""
    return bench_in(tmp_path_factory.mktemp("tables"), "table", motors=2)


@pytest.fixture(scope="session")
def tables_fit(tables: SimulatedBench) -> FitResult:
    return fit_campaign(tables.campaign, tables.logs, method="fast", seed=1, draws=1000)


@pytest.fixture(scope="session")
def single(tmp_path_factory: pytest.TempPathFactory) -> SimulatedBench:
    """One motor that was logged at rest, unloaded, with a flywheel and with a propeller."""
    return bench_in(tmp_path_factory.mktemp("single"), "no-load", "spin-up", "steps", rate_hz=200.0)


@pytest.fixture(scope="session")
def single_fit(single: SimulatedBench) -> FitResult:
    return fit_campaign(single.campaign, single.logs, method="fast", seed=1, draws=2000)
