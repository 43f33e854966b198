"""The graph of a campaign: which parameters exist, what owns them, and what each run draws on.

A coordinate z is a standardised number; its natural value is exp(c + s z), c + s z or σ(c + s z).
Ridges of the posterior are products with gains (K_v/g_V, R·g_I/g_V, C_T·g_T ...), so whatever multiplies is
sampled as a logarithm: the ridges are then straight and a Laplace factor whitens them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from motorfit.bench.models import Campaign, Motor, Propeller, Run
from motorfit.bench.reduce import BlockedRun
from motorfit.inference.blocks import Blocks, blocks_of
from motorfit.inference.priors import BELIEFS, Belief, BetaLogit, Flat, HalfNormal, Normal, Prior, StudentT
from motorfit.inference.reach import LIMIT, colours_of, reach_of
from motorfit.inference.warming import NODES_S, warming_time
from motorfit.physics.motor import torque_constant
from motorfit.physics.propeller import torque_coefficient
from motorfit.quantities import JUMPING

__all__ = ["Coordinate", "Graph", "build_graph"]

LOG, LINEAR, LOGIT = range(3)

_SHARE = math.log(4.0 / 3.0)
"""Logit of the static share at its belief's mode, where a residual that is a root has no jump [1]."""

HOTTEST_K = 40.0
"""Of a motor above the air at the start of a run, one sigma: windings that begin much hotter do not last."""

_VISIBLE = 1e-4
"""Share of the voltage from which a doubt of the sag is a coordinate of its own [1]."""

MEASURED = ("current", "speed", "thrust", "torque", "motor_current", "motor_voltage", "winding_temperature")
"""Channels that the model predicts, in the order of `motorfit.physics.slots`."""


@dataclass(frozen=True)
class Coordinate:
    """One sampled number.

    Attributes
    ----------
    name : parameter and owner, such as ``kv[tern]`` or ``gain_current``
    kind : LOG, LINEAR or LOGIT
    center, scale : c and s above, natural unit or its logarithm
    prior : density of z
    """

    name: str
    kind: int
    center: float
    scale: float
    prior: Prior


@dataclass(frozen=True)
class Graph:
    """All coordinates of a campaign and where to find them.

    `index[name]` is a column of z, shape (draws, coordinates).  `fixed` holds values that are known exactly,
    `motors` those with a run or a measurement, `direct` the coordinates whose prior the campaign states
    itself.
    """

    campaign: Campaign
    runs: tuple[BlockedRun, ...]
    motors: tuple[Motor, ...]
    coordinates: tuple[Coordinate, ...]
    index: dict[str, int]
    fixed: Mapping[str, float | npt.NDArray[np.float64]]
    direct: frozenset[str]

    @property
    def size(self) -> int:
        """Number of coordinates."""
        return len(self.coordinates)

    @cached_property
    def reach(self) -> npt.NDArray[np.bool_]:
        """(coordinates, runs) True where the readings of a run follow a coordinate."""
        return reach_of([c.name for c in self.coordinates], self.runs)

    @cached_property
    def colours(self) -> npt.NDArray[np.int64]:
        """(coordinates,) numbers from 0: two coordinates of one number share no run."""
        return colours_of(self.reach)

    @cached_property
    def blocks(self) -> Blocks:
        """What is shared and what is one motor's own."""
        return blocks_of([c.name for c in self.coordinates], self.reach, self.runs)

    def lateness_s(self, channel: str) -> float:
        """How late a channel may be [s], two sigma beyond what its logs show; 0 where it is on time."""
        i = self.index.get(f"delay_{channel}")
        return 0.0 if i is None else self.coordinates[i].center + 2.0 * self.coordinates[i].scale

    def late(self, channel: str) -> bool:
        """Whether a channel is late or slow by what its logs show."""
        return f"delay_{channel}" in self.index or f"lag_{channel}" in self.index

    def start(self) -> npt.NDArray[np.float64]:
        """Where the search for the optimum begins: the prior's centre."""
        return np.zeros(len(self.coordinates))

    def natural(self, z: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Natural values of standardised draws: (draws, coordinates) to (coordinates, draws)."""
        kinds = np.array([c.kind for c in self.coordinates])
        center = np.array([c.center for c in self.coordinates])[:, None]
        scale = np.array([c.scale for c in self.coordinates])[:, None]
        zt = np.ascontiguousarray(z.T)
        out = center + scale * zt
        log = kinds == LOG
        out[log] = np.exp(np.minimum(out[log], 50.0))
        logit = kinds == LOGIT
        out[logit] = 1.0 / (1.0 + np.exp(-out[logit]))
        return out


class _Builder:
    def __init__(self, campaign: Campaign) -> None:
        self.campaign = campaign
        self.coordinates: list[Coordinate] = []
        self.fixed: dict[str, float] = {}
        self.direct: set[str] = set()

    def add(self, name: str, kind: int, center: float, scale: float, prior: Prior | None = None) -> None:
        if scale == 0.0:
            self.fixed[name] = math.exp(center) if kind == LOG else center
            return
        self.coordinates.append(Coordinate(name, kind, center, scale, prior or Normal()))

    def believe(self, name: str, belief: Belief, times: float = 1.0) -> None:
        """Add a lognormal or normal coordinate, the campaign's own prior first."""
        if self.overridden(name, LOG if belief.log else LINEAR):
            return
        if belief.log:
            self.add(name, LOG, math.log(belief.center * times), belief.spread)
        else:
            self.add(
                name, LINEAR, belief.center * times, belief.spread * times if belief.center else belief.spread
            )

    def overridden(self, name: str, kind: int) -> bool:
        """Whether the campaign states its own prior of a coordinate, which is then added."""
        own = self.campaign.priors.get(name.split("[", 1)[0])
        if own is None:
            return False
        self.direct.add(name)
        if kind == LOG:
            self.add(name, LOG, math.log(own.center), own.log_sd)
        else:
            self.add(name, LINEAR, own.center, own.sd if own.sd is not None else abs(own.center) * own.log_sd)
        return True


def build_graph(
    campaign: Campaign, runs: tuple[BlockedRun, ...], late: Mapping[str, float] = MappingProxyType({})
) -> Graph:
    """Lay out the coordinates of a campaign.

    Parameters
    ----------
    campaign : the campaign file
    runs : its reduced runs
    late : ``delay_<channel>`` or ``lag_<channel>`` -> [s] where the logs show one; the others are on time

    Returns
    -------
    Graph.  Everything shared (bench, controller, propellers, flywheels) stands once, whatever the number of
    motors.
    """
    b = _Builder(campaign)
    _bench(b, runs, late)
    for propeller in campaign.propellers:
        _propeller(b, propeller)
    for wheel in campaign.flywheels:
        sd = wheel.inertia_sd_kg_m2
        if b.overridden(f"flywheel_inertia[{wheel.id}]", LOG):
            continue
        b.add(
            f"flywheel_inertia[{wheel.id}]",
            LOG,
            math.log(wheel.inertia_kg_m2),
            0.01 if sd is None else sd / wheel.inertia_kg_m2,
        )
    told = {r.run.motor for r in runs} | {m.motor for m in campaign.measurements}
    motors = tuple(m for m in campaign.motors if m.id in told)
    for motor in motors:
        _motor(b, motor)
    _runs(b, runs)
    index = {c.name: i for i, c in enumerate(b.coordinates)}
    return Graph(campaign, runs, motors, tuple(b.coordinates), index, b.fixed, frozenset(b.direct))


def _bench(b: _Builder, runs: tuple[BlockedRun, ...], late: Mapping[str, float]) -> None:
    controller = b.campaign.bench.controller
    belief = BELIEFS["controller_resistance"]
    if controller.resistance_ohm and "controller_resistance" not in b.campaign.priors:
        sd = controller.resistance_sd_ohm
        spread = belief.spread if sd is None else sd / controller.resistance_ohm
        b.add("controller_resistance", LOG, math.log(controller.resistance_ohm), spread)
    else:
        b.believe("controller_resistance", belief)
    for name in ("duty_slope", "duty_curvature", "duty_cubic"):
        b.believe(name, BELIEFS[name])
    b.add("controller_idle_current", LINEAR, 0.0, BELIEFS["controller_idle_current"].center, HalfNormal())
    limits = {x for r in runs if (x := current_limit_of(b.campaign, r.run)) is not None} | _bench_limit(b)
    if limits:  # one sensor of the controller holds them all
        b.add("limit_gain", LOG, 0.0, BELIEFS["current_limit"].spread)
    for limit in sorted(limits):
        b.add(
            limit_name(limit),
            LOG,
            math.log(limit),
            BELIEFS["limit_setting"].spread if len(limits) > 1 else 0.0,
        )
    logged = {name for r in runs for name in r.mean} | {"voltage"}
    for channel in ("voltage", *MEASURED):
        doubt = b.campaign.bench.channels.get(channel)
        gain, offset = BELIEFS[f"gain_{channel}"], BELIEFS[f"offset_{channel}"]
        gain_sd = gain.spread if doubt is None or doubt.gain_sd is None else doubt.gain_sd
        offset_sd = offset.spread if doubt is None or doubt.offset_sd is None else doubt.offset_sd
        used = channel in logged
        if not (used and b.overridden(f"gain_{channel}", LOG)):
            b.add(f"gain_{channel}", LOG, 0.0, gain_sd if used else 0.0)
        if not (used and b.overridden(f"offset_{channel}", LINEAR)):
            b.add(f"offset_{channel}", LINEAR, 0.0, offset_sd if used else 0.0)
        delay, lag = f"delay_{channel}", f"lag_{channel}"
        b.add(delay, LINEAR, late.get(delay, 0.0), BELIEFS["delay"].spread if delay in late else 0.0)
        if lag in late:
            b.add(lag, LOG, math.log(late[lag]), BELIEFS["lag"].spread)
        else:
            b.fixed[lag] = 0.0
        if channel in JUMPING:
            belief = BELIEFS["jump"] if lag in late else Belief(0.0, 0.0, False, "1", "")
            b.add(f"jump_{channel}", LINEAR, belief.center, belief.spread)


def _bench_limit(b: _Builder) -> set[float]:
    limit = b.campaign.bench.controller.current_limit_a
    return set() if limit is None else {limit}


def current_limit_of(campaign: Campaign, run: Run) -> float | None:
    """Nominal limit of motor current of a run [A], None for none."""
    return (
        run.current_limit_a if run.current_limit_a is not None else campaign.bench.controller.current_limit_a
    )


def limit_name(limit_a: float) -> str:
    """Coordinate of the limit of motor current whose nominal value is `limit_a` [A]."""
    return f"{LIMIT}[{limit_a:g}]"


def _propeller(b: _Builder, propeller: Propeller) -> None:
    blades = (propeller.blades / 2.0) ** 0.6
    b.believe(f"thrust_coefficient[{propeller.id}]", BELIEFS["thrust_coefficient"], blades)
    ct = BELIEFS["thrust_coefficient"].center * blades
    cq = float(torque_coefficient(ct, BELIEFS["figure_of_merit"].center))
    b.add(f"torque_coefficient[{propeller.id}]", LOG, math.log(cq), 0.3, Flat())
    b.believe(f"thrust_reynolds_exponent[{propeller.id}]", BELIEFS["thrust_reynolds_exponent"])
    b.believe(f"torque_reynolds_exponent[{propeller.id}]", BELIEFS["torque_reynolds_exponent"])
    radius = 0.5 * propeller.diameter_m
    name = f"prop_inertia[{propeller.id}]"
    if b.overridden(name, LOG):
        return
    if propeller.inertia_kg_m2 is not None:
        sd = propeller.inertia_sd_kg_m2
        b.add(
            name, LOG, math.log(propeller.inertia_kg_m2), 0.05 if sd is None else sd / propeller.inertia_kg_m2
        )
        return
    share = BELIEFS["prop_inertia_share"]
    if propeller.mass_g is not None:
        b.add(name, LOG, math.log(share.center * propeller.mass_g * 1e-3 * radius**2), share.spread)
        return
    mass = BELIEFS["prop_mass"]
    guess = mass.center * (propeller.diameter_m / 0.127) ** 2.3 * (propeller.blades / 2.0) ** 0.5
    b.add(name, LOG, math.log(share.center * guess * radius**2), math.hypot(share.spread, mass.spread))


def mass_factor(motor: Motor, reference_g: float) -> float:
    """Mass relative to a reference [1]; 1 when the mass is not known."""
    return 1.0 if motor.mass_g is None else motor.mass_g / reference_g


def _motor(b: _Builder, motor: Motor) -> None:
    id = motor.id
    if motor.label_kv is not None and "kv" not in b.campaign.priors:
        b.add(f"kv[{id}]", LOG, math.log(motor.label_kv), BELIEFS["kv_labelled"].spread, StudentT())
    else:
        b.believe(f"kv[{id}]", BELIEFS["kv"])
    # a logarithm, so that the ridge with the gains is straight; its normal belief is stated in `combine`
    b.add(f"kt_kv_ratio[{id}]", LOG, math.log(BELIEFS["kt_kv_ratio"].center), 0.05, Flat())
    kv = motor.label_kv or BELIEFS["kv"].center
    kt = float(torque_constant(kv, BELIEFS["kt_kv_ratio"].center))
    kappa = BELIEFS["torque_per_root_watt"].center * mass_factor(motor, 35.0) ** 0.83
    b.add(f"total_resistance[{id}]", LOG, math.log((kt / kappa) ** 2 + 0.01), 0.8, Flat())
    b.believe(f"no_load_current[{id}]", BELIEFS["no_load_current"])
    b.add(f"static_share[{id}]", LOGIT, _SHARE, 0.75, BetaLogit(4.0, 3.0, _SHARE, 0.75))
    b.add(f"windage_share[{id}]", LINEAR, 0.0, 0.12, HalfNormal())
    heavy = 1.0 if motor.mass_g is not None else 1.5
    belief = BELIEFS["rotor_inertia"]
    wider = Belief(belief.center, belief.spread * heavy, True, belief.unit, belief.why)
    b.believe(f"rotor_inertia[{id}]", wider, mass_factor(motor, 50.0) ** 1.6)
    # what may be absent altogether is linear from zero: a posterior that touches zero stays a plain normal,
    # cut there
    knee = BELIEFS["saturation_current"].center * mass_factor(motor, 50.0)
    if not b.overridden(f"saturation_current[{id}]", LOG):
        b.add(f"inverse_saturation[{id}]", LINEAR, 0.0, 1.0 / knee**2, HalfNormal())
    b.add(f"braking_share[{id}]", LINEAR, 1.0, -0.5, HalfNormal(top=2.0))
    for node in NODES_S:
        if b.overridden(f"{node}_heat_capacity[{id}]", LOG):
            continue  # who states one says that the effect is there
        capacity = BELIEFS[f"{node}_heat_capacity"].center * mass_factor(motor, 50.0)
        scale = float(warming_time(node, BELIEFS[f"{node}_time_constant"].center)) / capacity
        b.add(f"{node}_warming[{id}]", LINEAR, 0.0, scale, HalfNormal())
    for name in ("winding_time_constant", "body_time_constant", "magnet_temperature_coefficient"):
        b.believe(f"{name}[{id}]", BELIEFS[name])


def _runs(b: _Builder, runs: tuple[BlockedRun, ...]) -> None:
    for r in runs:
        if r.mode in ("driven", "freewheel"):
            b.add(f"source_resistance[{r.run.id}]", LINEAR, r.supply.resistance_ohm, _source_doubt(r))
            for name, doubt in _supply_doubts(r).items():
                b.add(f"{name}[{r.run.id}]", LINEAR, 0.0, doubt)
            b.add(f"start_speed[{r.run.id}]", LINEAR, r.omega_start, r.omega_start_sd)
            # a motor starts as warm as the air, or now and then much warmer: after the run before
            warmth = BELIEFS["start_warmth"].spread
            b.add(f"start_warmth[{r.run.id}]", LINEAR, 0.0, warmth, StudentT(end=HOTTEST_K / warmth))
        elif "current" in r.mean and not np.isfinite(r.mean.get("voltage", np.array([np.nan]))).any():
            b.believe(f"supply_voltage[{r.run.id}]", BELIEFS["supply_voltage"])


def _source_doubt(r: BlockedRun) -> float:
    """Doubt of a run's source resistance [ohm]; 0 where no curve would show it."""
    current = r.mean.get("current")
    if current is None or not r.supply.learned:
        return 0.0
    swing = r.supply.resistance_sd_ohm * float(np.nanmax(current) - np.nanmin(current))
    return r.supply.resistance_sd_ohm if swing > _VISIBLE * float(np.nanmax(r.supply.open_circuit_v)) else 0.0


def _supply_doubts(r: BlockedRun) -> dict[str, float]:
    """Doubts of a run's open-circuit voltage [V], of its level and of its drift along the run."""
    return {"source_level": r.supply.level_sd_v, "source_drift": r.supply.drift_sd_v}


def duty_rows(r: BlockedRun) -> npt.NDArray[np.bool_]:
    """(n,) Rows of a steady run whose throttle and voltage can be held against each other."""
    return np.isfinite(r.throttle) & np.isfinite(r.supply.open_circuit_v)
