"""Shapes of answers, for the interface's document: names, units and what null means.

Answers leave as the commands' own JSON; nothing here changes or checks them on the way.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

MaybeNumber = float | None


class _Answer(BaseModel):
    model_config = ConfigDict(extra="allow")


class Band(_Answer):
    """Median and equal-tailed interval along a grid; null where there is no answer."""

    median: list[MaybeNumber]
    low: list[MaybeNumber]
    high: list[MaybeNumber]


class Point(_Answer):
    """Median and equal-tailed interval of one number; null where there is no answer."""

    median: MaybeNumber
    low: MaybeNumber
    high: MaybeNumber


class Caution(_Answer):
    """What the reader must know: a stable code and a sentence."""

    code: str = Field(examples=["outside-tested-speed"])
    message: str


class Parameter(_Answer):
    """One parameter, in ``unit``."""

    unit: str = Field(examples=["rpm/V"])
    median: MaybeNumber
    low: MaybeNumber
    high: MaybeNumber
    sd: MaybeNumber
    contraction: MaybeNumber = Field(
        description="1 - (posterior width / prior width)^2; null without a prior."
    )
    learned: bool = Field(description="Whether the runs taught it: a contraction of 0.2 or more.")


class MotorAnswer(_Answer):
    """As `motorfit show --json`."""

    motor: str
    fit: str
    interval: float
    parameters: dict[str, Parameter] = Field(description="By name; a propeller's as `name[propeller]`.")
    not_learned: dict[str, str | None] = Field(description="By name: the run that would teach it.")
    diagnostics: dict[str, Any]


class PageFields(_Answer):
    """Where a page of a list stands; the Link header leads to the next."""

    total: int = Field(description="Entries in all.")
    offset: int
    limit: int


class MotorEntry(_Answer):
    """A motor that has a fit."""

    motor: str
    fits: int
    latest: str = Field(description="Id of the fit that answers.")


class MotorList(PageFields):
    """Motors, sorted by id."""

    motors: list[MotorEntry]


class FitEntry(_Answer):
    """A stored fit; ``problem`` says why its file cannot be read."""

    motor: str
    fit: str
    campaign_fit: str = Field(description="Equal for motors fitted together: their draws are paired.")
    size_bytes: int
    campaign: str
    bench: str
    method: str
    created: str
    problem: str | None = None


class FitList(PageFields):
    """A motor's fits, oldest first."""

    motor: str
    fits: list[FitEntry]


class FitAnswer(_Answer):
    """Where a fit comes from and what its campaign stated."""

    motor: str
    fit: str
    campaign_fit: str
    propellers: list[str]
    draws: int
    parameters: list[str]
    facts: dict[str, Any] = Field(description="Air, motor, propellers, controller, runs, tested envelope.")
    provenance: dict[str, Any] = Field(
        description="Inputs' SHA-256, versions, seed, method, priors, findings."
    )


class DrawColumn(_Answer):
    """Draws of one parameter."""

    unit: str
    values: list[MaybeNumber]


class DrawsAnswer(_Answer):
    """Draws; equal numbers in ``draw`` of motors fitted together share one draw of the bench."""

    motor: str
    fit: str
    draws_held: int
    draw: list[int]
    parameters: dict[str, DrawColumn]


class BlockChannel(_Answer):
    """Block means with one-sigma doubts, and the posterior's replicas of them."""

    unit: str
    observed: list[MaybeNumber]
    sd: list[MaybeNumber]
    fitted: Band | None


class BlockRun(_Answer):
    """One run; times are null for a table of steady points."""

    run: str
    start_s: list[MaybeNumber]
    end_s: list[MaybeNumber]
    channels: dict[str, BlockChannel]


class RunsAnswer(_Answer):
    """What the runs showed beside what the fit says they should have shown."""

    motor: str
    fit: str
    interval: float
    runs: list[BlockRun]


class PredictionAnswer(_Answer):
    """As `motorfit predict --json`."""

    motor: str
    fit: str
    propeller: str
    voltage_v: float
    interval: float
    curves: dict[str, Band | list[MaybeNumber]] = Field(
        description="`throttle` is a list; each other curve a band over it, its unit in its name."
    )
    warnings: list[Caution]


class TransientAnswer(_Answer):
    """As `motorfit step --json`; every further field is a point with its unit in its name."""

    motor: str
    fit: str
    propeller: str
    interval: float
    warnings: list[Caution]


class EnduranceAnswer(_Answer):
    """As `motorfit hover --json`; every further field is a point with its unit in its name."""

    motor: str
    fit: str
    propeller: str
    motors: int
    mass_g: float
    reserve: float
    interval: float
    warnings: list[Caution]


class Difference(_Answer):
    """First less second, draw by draw."""

    first: str
    second: str
    median: MaybeNumber
    low: MaybeNumber
    high: MaybeNumber
    probability_first_greater: MaybeNumber


class Metric(_Answer):
    """One figure of all motors, in ``unit``."""

    name: str
    unit: str
    motors: dict[str, Point]
    differences: list[Difference]


class ComparisonAnswer(_Answer):
    """As `motorfit compare --json`."""

    interval: float
    metrics: list[Metric]


class PropellerEntry(_Answer):
    """A propeller as one campaign knows it; ``learned`` names what its runs taught."""

    propeller: str
    campaign_fit: str
    campaign: str
    bench: str
    diameter_in: MaybeNumber
    pitch_in: MaybeNumber
    blades: int
    reference_rpm: MaybeNumber
    interval: float
    estimates: dict[str, Point]
    learned: list[str]


class PropellerList(PageFields):
    """Propellers by id, latest campaign last."""

    propellers: list[PropellerEntry]


class PropellerAnswer(_Answer):
    """One propeller."""

    propeller: str
    entries: list[PropellerEntry]


class Health(_Answer):
    """Whether the service answers."""

    status: str = Field(examples=["ok"])
    version: str
