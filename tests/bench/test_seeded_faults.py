"""Each fault that the benchmark seeds is found, named and located, on one bench that has no other."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchmarks.faults import Made, findings_with, is_found, make_bench
from benchmarks.seeded_faults import FAULTS, Fault


@pytest.fixture(scope="module", params=[False, True], ids=["nominal", "rich"])
def made(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Made:
    return make_bench(tmp_path_factory.mktemp("bench"), 9100 + request.param, request.param)


def test_a_clean_bench_raises_no_alarm(made: Made, tmp_path: Path) -> None:
    assert [str(f) for f in findings_with(made, {}, tmp_path) if f.severity != "note"] == []


@pytest.mark.slow
@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_a_seeded_fault_is_found(made: Made, fault: Fault, tmp_path: Path) -> None:
    where = fault.seed(np.random.default_rng(4), made.texts)
    findings = findings_with(made, where.changed, tmp_path)
    assert is_found(fault, findings, where), (where.detail, [str(f) for f in findings])
    for found in findings:
        assert found.message and found.remedy
        if found.kind in fault.kinds:
            assert found.rows is None or all(row >= 1 for row in found.rows)
