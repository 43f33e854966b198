"""What a campaign file may hold, as frozen validated objects.

Fields carry the names and units of the file; the few that are worked out (diameters in metres, the air of one
run) are properties or are filled in by `motorfit.bench.campaign.load_campaign`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, model_validator
from pydantic_core import PydanticCustomError

INCH_M = 0.0254

Kind = Literal["no-load", "ramp", "hold", "spin-up", "steps", "coast-down", "table"]
Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9_][A-Za-z0-9._-]*$", max_length=100)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Number = Annotated[float, Field(allow_inf_nan=False)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


def _exactly_one(part: _Part, first: str, second: str) -> None:
    given = [name for name in (first, second) if getattr(part, name) is not None]
    if len(given) != 1:
        raise PydanticCustomError(
            "one_of",
            "{found}",
            {
                "found": "both are given" if given else "neither is given",
                "names": f"{first}, {second}",
                "allowed": f"exactly one of {first} and {second}",
            },
        )


class Air(_Part):
    """The air at the bench: temperature [degC], station pressure [hPa], relative humidity [%]."""

    temperature_c: Annotated[float, Field(ge=-40, le=60, allow_inf_nan=False)]
    pressure_hpa: Annotated[float, Field(ge=300, le=1100, allow_inf_nan=False)]
    humidity_pct: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 50.0


class AirOverride(_Part):
    """What one run states of its own air; the rest is the campaign's."""

    temperature_c: Annotated[float, Field(ge=-40, le=60, allow_inf_nan=False)] | None = None
    pressure_hpa: Annotated[float, Field(ge=300, le=1100, allow_inf_nan=False)] | None = None
    humidity_pct: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] | None = None


class Controller(_Part):
    """The speed controller: resistance with leads [ohm], its doubt [ohm], limit of motor current [A]."""

    resistance_ohm: NotNegative | None = None
    resistance_sd_ohm: Positive | None = None
    current_limit_a: Positive | None = None


class ChannelDoubt(_Part):
    """One-sigma calibration doubt of a sensor.

    `gain_sd` is relative; `offset_sd` is in the unit of `motorfit.quantities.CHANNELS` (a file's rpm has
    become rad/s). None: the wide default of the prior table.
    """

    gain_sd: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)] | None = None
    offset_sd: NotNegative | None = None


class Bench(_Part):
    """The stand: its name, its controller and its sensors."""

    name: str = "bench"
    controller: Controller = Controller()
    channels: Mapping[str, ChannelDoubt] = Field(default_factory=dict)


class Motor(_Part):
    """A motor under test: mass [g], pairs of magnet poles, the maker's K_v [rpm/V], unit and model."""

    id: Id
    mass_g: Positive | None = None
    pole_pairs: Annotated[int, Field(ge=1, le=100)] | None = None
    label_kv: Positive | None = None
    unit: Id | None = None
    model: Id | None = None


class Propeller(_Part):
    """A propeller: diameter and pitch (inch or mm), blades, make, mass [g], inertia [kg m^2]."""

    id: Id
    diameter_in: Positive | None = None
    diameter_mm: Positive | None = None
    pitch_in: Positive | None = None
    pitch_mm: Positive | None = None
    blades: Annotated[int, Field(ge=1, le=12)] = 2
    make: Id | None = None
    mass_g: Positive | None = None
    inertia_kg_m2: Positive | None = None
    inertia_sd_kg_m2: Positive | None = None
    reference_rev_per_s: Positive = 250.0

    @model_validator(mode="after")
    def _one_unit_each(self) -> Propeller:
        _exactly_one(self, "diameter_in", "diameter_mm")
        _exactly_one(self, "pitch_in", "pitch_mm")
        return self

    @property
    def diameter_m(self) -> float:
        """Diameter [m]."""
        return (
            self.diameter_in * INCH_M
            if self.diameter_in is not None
            else (self.diameter_mm or math.nan) * 1e-3
        )

    @property
    def pitch_m(self) -> float:
        """Pitch [m]."""
        return self.pitch_in * INCH_M if self.pitch_in is not None else (self.pitch_mm or math.nan) * 1e-3


class Flywheel(_Part):
    """A flywheel of known inertia [kg m^2] about its own shaft, and motor turns per turn of it."""

    id: Id
    inertia_kg_m2: Positive
    inertia_sd_kg_m2: NotNegative | None = None
    motor_turns_per_turn: Positive = 1.0


class Column(_Part):
    """Where a channel stands in a log: a column's name, or its position from 1; its unit; its sign."""

    column: Annotated[str, Field(min_length=1)] | Annotated[int, Field(ge=1, le=10_000)]
    unit: Annotated[str, Field(min_length=1)] | None = None
    sign: Literal[1, -1] = 1


class Where(_Part):
    """Which rows of a log are a run's: those whose column, by name or position, holds this number or text."""

    column: Annotated[str, Field(min_length=1)] | Annotated[int, Field(ge=1, le=10_000)]
    equals: Annotated[str, Field(min_length=1)] | int | Number


class Run(_Part):
    """One run at the bench. `file` is absolute once loaded; `air` is the whole air of the run.

    Several runs in one file: `where` chooses rows by a column, `part` (from 1) a stretch between two points
    at which time starts over or the header stands again, `from_s` and `to_s` [s] a span of time within that.
    """

    id: Id
    motor: str
    kind: Kind
    file: Path
    propeller: str | None = None
    flywheel: str | None = None
    speed_of: Literal["motor", "flywheel"] = "motor"
    columns: Mapping[str, Column] = Field(default_factory=dict)
    air: Air | None = None
    current_limit_a: Positive | None = None
    part: Annotated[int, Field(ge=1, le=10_000)] | None = None
    from_s: NotNegative | None = None
    to_s: Positive | None = None
    where: Where | None = None


class Measurement(_Part):
    """A single measured number with its doubt, in the unit of `motorfit.quantities.PARAMETERS[quantity]`.

    `motor`, `propeller`, `flywheel` say what it is of; which one is needed depends on the quantity.
    `temperature_c` is that of the part at the time [degC].
    """

    motor: str | None = None
    propeller: str | None = None
    flywheel: str | None = None
    quantity: str
    value: Number
    sd: Positive
    temperature_c: Annotated[float, Field(ge=-60, le=250, allow_inf_nan=False)] | None = None


class PriorOverride(_Part):
    """A prior of the user's own: centre and factor (lognormal) or centre and standard deviation (normal).

    In the unit of `motorfit.quantities.PARAMETERS`; `factor` is the one-sigma factor, above 1.
    """

    center: Number
    factor: Annotated[float, Field(gt=1, allow_inf_nan=False)] | None = None
    sd: Positive | None = None

    @model_validator(mode="after")
    def _one_width(self) -> PriorOverride:
        _exactly_one(self, "factor", "sd")
        return self

    @property
    def log_sd(self) -> float:
        """Standard deviation of the logarithm; for an sd, of the lognormal with that mean and sd."""
        if self.factor is not None:
            return math.log(self.factor)
        return math.sqrt(math.log1p(((self.sd or math.nan) / self.center) ** 2))


class Campaign(_Part):
    """A day at the bench: everything the campaign file says, checked, with `path` and the file's SHA-256."""

    format: Literal[1]
    title: str
    air: Air
    bench: Bench
    motors: tuple[Motor, ...]
    propellers: tuple[Propeller, ...]
    flywheels: tuple[Flywheel, ...]
    runs: tuple[Run, ...]
    measurements: tuple[Measurement, ...]
    priors: Mapping[str, PriorOverride]
    path: Path
    sha256: str
    assumptions: tuple[str, ...] = ()

    def motor(self, id: str) -> Motor:
        """The motor of that id; raises KeyError."""
        return _by_id(self.motors, id)

    def propeller(self, id: str) -> Propeller:
        """The propeller of that id; raises KeyError."""
        return _by_id(self.propellers, id)

    def flywheel(self, id: str) -> Flywheel:
        """The flywheel of that id; raises KeyError."""
        return _by_id(self.flywheels, id)

    def air_of(self, run: Run) -> Air:
        """The air of a run: the campaign's, with what the run states of its own."""
        return run.air or self.air


_Item = TypeVar("_Item", Motor, Propeller, Flywheel)


def _by_id(items: tuple[_Item, ...], id: str) -> _Item:
    for item in items:
        if item.id == id:
            return item
    raise KeyError(id)
