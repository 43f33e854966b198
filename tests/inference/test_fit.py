"""From logs to posteriors on small simulated benches."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from motorfit.archive.store import load_fit, save_fit
from motorfit.inference.fit import FitError, fit_campaign
from motorfit.inference.result import FitResult, MotorPosterior
from tests.inference.benches import SimulatedBench, bench_in

Array = npt.NDArray[np.float64]

LEARNED = (
    "kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia", "thrust_coefficient",
    "torque_coefficient",
)  # fmt: skip


def _flat(posterior: MotorPosterior, name: str) -> Array:
    draws = posterior.draws[name]
    return (draws[..., 0] if draws.ndim == 3 else draws).ravel()


def _truth(bench: SimulatedBench, posterior: MotorPosterior, name: str) -> float:
    propeller = posterior.propellers[0] if "coefficient" in name else None
    return bench.truth.value(name, motor=posterior.motor, propeller=propeller)


@pytest.mark.parametrize("name", LEARNED)
def test_logs_tell_the_truth(single: SimulatedBench, single_fit: FitResult, name: str) -> None:
    posterior = single_fit.motors[0]
    draws, true = _flat(posterior, name), _truth(single, posterior, name)
    assert abs(draws.mean() - true) < 4.0 * draws.std()
    # and tell more than was believed
    prior = posterior.prior[name]
    believed = prior[..., 0] if prior.ndim == 3 else prior
    assert draws.std() < 0.5 * believed.std()


@pytest.mark.parametrize(
    "name", ["kv", "kt", "winding_resistance", "thrust_coefficient", "torque_coefficient"]
)
def test_tables_tell_the_truth(tables: SimulatedBench, tables_fit: FitResult, name: str) -> None:
    for posterior in tables_fit.motors:
        draws = _flat(posterior, name)
        assert abs(draws.mean() - _truth(tables, posterior, name)) < 4.0 * draws.std()
    assert _flat(tables_fit.motors[0], "thrust_coefficient").std() < 0.03 * 0.11


def test_motors_share_the_bench_draw_by_draw(tables_fit: FitResult) -> None:
    first, second = tables_fit.motors
    for name in (
        "gain_current", "gain_voltage", "gain_thrust", "controller_resistance", "thrust_coefficient",
        "duty_slope",
    ):  # fmt: skip
        np.testing.assert_array_equal(first.draws[name], second.draws[name])
        assert np.ptp(first.draws[name]) > 0.0
    assert (first.draws["kv"] != second.draws["kv"]).all()


def test_diagnostics_and_facts(tables: SimulatedBench, tables_fit: FitResult) -> None:
    for posterior in tables_fit.motors:
        told = posterior.attributes["diagnostics"]
        assert told["sound"] and told["sentences"] and told["r_hat"] < 1.05
        assert posterior.attributes["seed"] == 1
        assert {log.sha256 for log in tables.logs} <= set(posterior.attributes["inputs_sha256"].values())
        rho = posterior.constant["air_density_kg_m3"]
        assert rho == pytest.approx(tables.truth.density, rel=1e-6)
        envelope = posterior.constant["envelope"]["overall"]
        assert 0.0 < envelope["speed_rpm"][0] < envelope["speed_rpm"][1] < 40000.0


def test_seeds(tables: SimulatedBench) -> None:
    logs = tuple(log for log in tables.logs if log.run.motor == "motor-1")
    first, again, other = (
        fit_campaign(tables.campaign, logs, method="fast", seed=seed, draws=600).motors[0]
        for seed in (1, 1, 2)
    )
    for name, draws in first.draws.items():
        np.testing.assert_array_equal(again.draws[name], draws, err_msg=name)
    kv, other_kv = _flat(first, "kv"), _flat(other, "kv")
    assert (kv != other_kv).any()
    assert abs(kv.mean() - other_kv.mean()) < 0.5 * kv.std()


def test_a_measured_resistance_narrows(tables: SimulatedBench, tables_fit: FitResult) -> None:
    true = tables.truth.value("winding_resistance", motor="motor-1")
    campaign = tables.with_text(
        '\n[[measurements]]\nmotor = "motor-1"\nquantity = "winding_resistance"\nunit = "ohm"\n'
        f"value = {true:.6f}\nsd = {0.01 * true:.6f}\n"
    )
    told = fit_campaign(campaign, tables.logs, method="fast", seed=1, draws=1000)
    before, after = (_flat(f.motors[0], "winding_resistance") for f in (tables_fit, told))
    assert after.std() < 0.5 * before.std()
    assert after.std() < 1.2 * 0.01 * true
    assert after.mean() == pytest.approx(true, rel=0.03)


def test_a_motor_without_runs_is_left_out(tables: SimulatedBench) -> None:
    campaign = tables.with_text('\n[[motors]]\nid = "spare"\n')
    logs = tuple(log for log in tables.logs if log.run.motor == "motor-2")
    result = fit_campaign(campaign, logs, method="fast", draws=400)
    assert [m.motor for m in result.motors] == ["motor-2"]


def test_unknown_method(tables: SimulatedBench) -> None:
    with pytest.raises(FitError, match=r"^method 'quick': allowed are auto, fast, ensemble\.$"):
        fit_campaign(tables.campaign, tables.logs, method="quick")


def test_prior_of_a_lag(tables: SimulatedBench) -> None:
    campaign = tables.with_text("\n[priors.lag_thrust]\ncenter = 0.02\nsd = 0.01\n")
    with pytest.raises(FitError, match=r"priors\.lag_thrust: .* take no prior\. Remove that table"):
        fit_campaign(campaign, tables.logs)


def test_nothing_to_fit(tables: SimulatedBench) -> None:
    with pytest.raises(FitError, match=r"no run and no measurement: .* Add a \[\[runs\]\] table"):
        fit_campaign(tables.campaign, ())


def test_progress_is_told_in_order(tables: SimulatedBench) -> None:
    told: list[tuple[str, float]] = []
    logs = tuple(log for log in tables.logs if log.run.motor == "motor-2")
    fit_campaign(
        tables.campaign, logs, method="fast", draws=400, progress=lambda s, share: told.append((s, share))
    )
    shares = [share for _, share in told]
    assert shares == sorted(shares) and shares[0] == 0.0 and shares[-1] <= 1.0


def test_result_goes_through_the_library(tables_fit: FitResult, tmp_path: Path) -> None:
    saved = save_fit(tmp_path, tables_fit)
    assert len(saved) == 2
    for posterior in tables_fit.motors:
        loaded = load_fit(tmp_path, posterior.motor)
        assert loaded.propellers == posterior.propellers
        assert set(loaded.draws) == set(posterior.draws)
        np.testing.assert_allclose(loaded.draws["kv"], posterior.draws["kv"], rtol=1e-6)
        assert loaded.attributes["diagnostics"] == posterior.attributes["diagnostics"]
        np.testing.assert_array_equal(loaded.observed["block_run"], posterior.observed["block_run"])


def test_replicas_cover_what_was_observed(single_fit: FitResult) -> None:
    posterior = single_fit.motors[0]
    inside: list[Array] = []
    for channel, replicas in posterior.predictive.items():
        if channel not in posterior.observed:
            continue
        seen = posterior.observed[channel]
        used = np.isfinite(seen) & np.isfinite(replicas).all(axis=0)
        low, high = np.quantile(replicas[:, used], [0.05, 0.95], axis=0)
        share = (seen[used] >= low) & (seen[used] <= high)
        assert 0.75 < share.mean() <= 1.0, channel
        inside.append(share.astype(np.float64))
    assert len(inside) >= 3
    assert 0.82 < np.concatenate(inside).mean() < 0.98


def test_measurements_alone_are_a_fit(tables: SimulatedBench) -> None:
    """A resistance on a meter and no log: it is learned, the rest stays at the prior."""
    campaign = tables.with_text(
        '\n[[measurements]]\nmotor = "motor-1"\nquantity = "winding_resistance"\nunit = "ohm"\n'
        "value = 0.06\nsd = 0.001\n"
    )
    result = fit_campaign(campaign, (), draws=400)
    (motor,) = result.motors
    assert _flat(motor, "winding_resistance").mean() == pytest.approx(0.06, abs=0.0006)
    found, believed = (
        np.subtract(*np.quantile(x, (0.75, 0.25))) for x in (_flat(motor, "kv"), motor.prior["kv"])
    )
    assert found == pytest.approx(believed, rel=0.25)


@pytest.mark.parametrize("runs", [("no-load",), ("no-load", "spin-up")])
def test_few_runs_are_drawn_soundly(tmp_path: Path, runs: tuple[str, ...]) -> None:
    """Much is left open then, but for draws that keep their distance from what cannot be."""
    bench = bench_in(tmp_path, *runs, seed=5, rate_hz=500.0)
    result = fit_campaign(bench.campaign, bench.logs, method="fast", seed=5, draws=1600)
    diagnostics = result.motors[0].attributes["diagnostics"]
    assert diagnostics["sound"] and diagnostics["ess_bulk"] > 150.0
