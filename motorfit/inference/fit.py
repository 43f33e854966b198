"""From a campaign and its logs to the posteriors of all its motors."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt
from threadpoolctl import threadpool_limits

from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog
from motorfit.bench.models import Campaign
from motorfit.bench.reduce import BlockedRun, reduce_runs
from motorfit.errors import MotorfitError
from motorfit.inference.absence import with_absence
from motorfit.inference.diagnostics import diagnose
from motorfit.inference.draws import parameters_of, prior_positions
from motorfit.inference.ensemble import EnsembleDraws, ensemble_draws
from motorfit.inference.facts import constant_facts, provenance
from motorfit.inference.fast import FastDraws, fast_draws
from motorfit.inference.graph import Graph, build_graph
from motorfit.inference.lateness import find_lateness, negligible
from motorfit.inference.noise import learn_noise, same_noise
from motorfit.inference.optimum import Optimum, find_first_optimum, find_optimum, laplace
from motorfit.inference.replicas import observed_blocks, replicas
from motorfit.inference.result import FitResult, MotorPosterior
from motorfit.inference.swarm import GROUPS
from motorfit.inference.target import Target, build_target

__all__ = ["METHODS", "FitError", "fit_campaign", "optimise"]

Array = npt.NDArray[np.float64]
Progress = Callable[[str, float], None]

METHODS = ("auto", "fast", "ensemble")
_REPLICAS = 80
_NOISE_ROUNDS = 4
_LATE_ROUNDS = 4
_PRIOR_DRAWS = 2000


class FitError(MotorfitError):
    """A fit that cannot be made from what was given."""


def fit_campaign(
    campaign: Campaign,
    logs: Sequence[RunLog],
    *,
    method: str = "auto",
    seed: int = 0,
    draws: int = 4000,
    progress: Progress | None = None,
) -> FitResult:
    """Fit all motors of a campaign jointly.

    Parameters
    ----------
    campaign : the campaign file
    logs : its logs, checked (`motorfit.bench.check.check_campaign` without errors)
    method : "fast" for importance-resampled draws around the optimum, "ensemble" for emcee started from them,
        "auto" for fast where its diagnostics are sound and ensemble elsewhere
    seed : of every random number; the same campaign, seed and version give the same draws
    draws : to keep, rounded up to a multiple of sixteen
    progress : told the stage and the share of the work done

    Returns
    -------
    FitResult

    Raises
    ------
    FitError : an unknown method, nothing to fit, or a prior of a parameter that this model does not have
    OptimumError : the runs contradict the model or one another
    """
    tell = progress or (lambda stage, share: None)
    _refuse(campaign, logs, method)
    draws = -(-draws // GROUPS**2) * GROUPS**2
    rng = np.random.default_rng(seed)
    tell("reducing logs", 0.0)
    runs = reduce_runs(logs)
    # small matrices, and the compiled model has threads of its own: more of them would only spin
    with threadpool_limits(limits=1):
        tell("searching the optimum", 0.1)
        target, optimum = optimise(campaign, runs)
        tell("drawing", 0.4)
        fast = fast_draws(target, optimum, rng, draws)
        reference = None
        if method == "ensemble" or (method == "auto" and not fast.sound):
            reference = ensemble_draws(
                target,
                fast,
                rng,
                draws,
                progress=lambda share: tell("reference ensembles", 0.5 + 0.4 * share),
            )
        tell("collecting", 0.9)
        return _collect(campaign, tuple(logs), target, optimum, fast, reference, seed, rng)


def optimise(campaign: Campaign, runs: tuple[BlockedRun, ...]) -> tuple[Target, Optimum]:
    """The posterior with its noise learned, and its optimum.

    The logs' own high-frequency noise starts the search; what the first optimum leaves shows late channels
    and slow errors, and with those laid in the second search ends.
    """
    target = build_target(build_graph(campaign, runs))
    z, spent = find_first_optimum(target)
    learned = learn_noise(target, z)
    late: dict[str, float] = {}
    refused: set[str] = set()
    for _ in range(_LATE_ROUNDS):
        known, before = learned.graph.index, z
        refused |= negligible(learned, z)
        more_late = find_lateness(learned, z, refused)
        if not more_late and not refused.intersection(late):
            break
        late = {name: value for name, value in (late | more_late).items() if name not in refused}
        target = build_target(build_graph(campaign, runs, late))
        z = target.graph.start()
        for name, i in target.graph.index.items():
            if name in known:
                z[i] = before[known[name]]
        z, more = find_optimum(target, z, robust=True)
        spent += more
        learned = learn_noise(target, z)
    for _ in range(_NOISE_ROUNDS):
        z, more = find_optimum(learned, z)
        spent += more
        again = learn_noise(learned, z)
        if same_noise(learned, again):
            break
        learned = again
    return learned, laplace(learned, z, spent)


def _refuse(campaign: Campaign, logs: Sequence[RunLog], method: str) -> None:
    if method not in METHODS:
        raise FitError(f"method {method!r}: allowed are {', '.join(METHODS)}.")
    if not logs and not campaign.measurements:
        raise FitError(
            "The campaign has no run and no measurement: nothing can be fitted. Add a [[runs]] table."
        )
    unused = [name for name in campaign.priors if name.startswith(("lag_", "delay_", "jump_"))]
    if unused:
        raise FitError(
            f"priors.{unused[0]}: delays and lags of channels are found from the logs and take no prior. "
            "Remove that table from the campaign file."
        )


def _collect(
    campaign: Campaign, logs: tuple[RunLog, ...], target: Target, optimum: Optimum, fast: FastDraws,
    reference: EnsembleDraws | None, seed: int, rng: np.random.Generator,
) -> FitResult:  # fmt: skip
    graph: Graph = target.graph
    chosen: FastDraws | EnsembleDraws = fast if reference is None else reference
    shape = (chosen.z.shape[0], chosen.z.shape[1])
    flat = with_absence(target, chosen.z.reshape(-1, graph.size), chosen.log_density.ravel(), rng)
    values, believed = target.values(flat), target.values(prior_positions(graph, rng, _PRIOR_DRAWS))
    path = "fast" if reference is None else "ensemble"
    diagnostics = diagnose(target, optimum, fast, reference, path)
    findings: tuple[Finding, ...] = tuple(f for log in logs for f in log.findings)
    findings += tuple(f for r in graph.runs for f in r.findings)
    origin = provenance(campaign, logs, graph, findings, seed, path) | {"diagnostics": diagnostics}
    picked = flat[rng.permutation(flat.shape[0])[:_REPLICAS]]
    scatter = np.median(target.row_scatter(picked, rng), axis=0)
    replicated = replicas(target, picked, rng)
    motors = []
    for motor in graph.motors:
        motors.append(
            MotorPosterior(
                motor=motor.id,
                propellers=tuple(p.id for p in campaign.propellers),
                draws=parameters_of(graph, values, motor.id, shape),
                prior=parameters_of(graph, believed, motor.id, (1, _PRIOR_DRAWS)),
                sample_stats={"log_density": chosen.log_density},
                observed=observed_blocks(target, motor.id, scatter),
                predictive=replicated[motor.id],
                constant=constant_facts(graph, motor.id),
                attributes=origin,
            )
        )
    return FitResult(campaign, tuple(motors))
