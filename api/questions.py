"""Bodies of questions: the commands' options by the same names, checked before anything is computed."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from motorfit.answers.axis import AXIS_NAMES

from .limits import MAX_DRAWS, MAX_MOTORS, MAX_POINTS

# No control characters: nothing of a name may break a line of a log or a header.
Name = Annotated[str, StringConstraints(min_length=1, max_length=128, pattern=r"^[!-~][ -~]*$")]
Motor = Annotated[
    str,
    Field(description="Id of a motor in the library.", examples=["tern-2807"]),
    StringConstraints(pattern=r"^[A-Za-z0-9_-][A-Za-z0-9._-]{0,127}$"),
]


def _whole(value: object) -> object:
    """JSON does not tell 4000 from 4000.0, so neither is refused."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


Draws = Annotated[int, Field(ge=1, le=MAX_DRAWS), BeforeValidator(_whole)]
Cells = Annotated[int, Field(ge=1, le=100), BeforeValidator(_whole)]
Motors = Annotated[int, Field(ge=1, le=64), BeforeValidator(_whole)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
CapacityMah = Annotated[float, Field(ge=10.0, le=1e6)]
Voltage = Annotated[float, Field(gt=0.0, le=1000.0)]
Positive = Annotated[float, Field(ge=0.0, le=1e6)]
Margin = Annotated[float, Field(ge=0.0, le=10.0)]
WindingLimit = Annotated[float, Field(ge=40.0, le=250.0)]
Celsius = Annotated[float, Field(ge=-60.0, le=250.0)]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False)


class _Setting(_Body):
    """What every question may say."""

    interval: float = Field(0.9, ge=0.01, le=0.999, description="Probability inside every interval.")
    current_limit: Annotated[float, Field(gt=0.0, le=10_000.0)] | Literal["none", "bench"] = Field(
        "bench",
        description="Of the motor current [A]; `bench` for the bench's controller, `none` for no limit.",
        examples=["bench", 40.0],
    )
    air_temperature: float | None = Field(
        None, ge=-50.0, le=60.0, description="Air [degC]; the campaign's when left out."
    )
    air_pressure: float | None = Field(
        None, ge=300.0, le=1100.0, description="Station pressure [hPa]; the campaign's when left out."
    )
    air_humidity: float | None = Field(
        None, ge=0.0, le=100.0, description="Relative humidity [%]; the campaign's when left out."
    )
    winding_temperature: Celsius = Field(25.0, description="Of the winding [degC].")
    magnet_temperature: Celsius = Field(25.0, description="Of the magnets [degC].")


class _OneMotor(_Setting):
    draws: Draws | None = Field(None, description="Posterior draws to use, evenly spaced; all when left out.")
    motor: Motor
    fit: Name | None = Field(None, description="A stored fit; the motor's latest when left out.")
    propeller: Name = Field(
        description="An id of the fit's campaign, or diameter x pitch x blades in inches.",
        examples=["p7x35x3", "8x4x2"],
    )


class _Limits(_Body):
    """What must not be passed; passing it is warned of."""

    max_propeller_speed_rpm: Annotated[float, Field(gt=0.0, le=1e6)] | None = Field(
        None, description="The propeller maker's limit [rpm]."
    )
    max_current_a: Annotated[float, Field(gt=0.0, le=1e5)] | None = Field(
        None, description="Of motor or controller [A]; the bench's limit when left out."
    )
    max_pack_current_a: Annotated[float, Field(gt=0.0, le=1e5)] | None = Field(
        None, description="Of the whole pack [A]."
    )


class _Pack(_Body):
    charge: Share = Field(1.0, description="State of charge of the pack at the start [1].")
    cell_resistance_ohm: Annotated[float, Field(ge=1e-5, le=1.0)] | None = Field(
        None, description="Of one cell at 25 degC [ohm]; the usual one for the capacity when left out."
    )
    pack_temperature: float = Field(25.0, ge=-30.0, le=80.0, description="Of the cells [degC].")


class _Supply(_Pack):
    """An ideal supply, or a pack that one motor or more run from."""

    voltage: Voltage | None = Field(
        None, description="Of an ideal supply at the controller [V]; this or a pack."
    )
    cells: Cells | None = Field(None, description="Of a lithium-ion polymer pack, in series.")
    capacity_mah: CapacityMah | None = Field(None, description="Of the pack [mA h].")
    motors: Motors = Field(1, description="How many like motors run from one pack.")


class PredictionQuestion(_OneMotor, _Supply, _Limits):
    """Curves over throttle or another axis: the options of `motorfit predict`."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"motor": "tern-2807", "propeller": "p7x35x3", "voltage": 22.2, "throttle": [0.2, 0.4]}
            ]
        }
    )
    throttle: Annotated[list[Share], Field(min_length=1, max_length=MAX_POINTS)] | None = Field(
        None, description="Points from 0 to 1; 0.05 to 1 in steps of 0.05 when left out."
    )
    against: Literal[AXIS_NAMES] = Field("throttle", description="Axis of the curves.")  # type: ignore[valid-type]
    points: Annotated[list[Positive], Field(min_length=1, max_length=MAX_POINTS)] | None = Field(
        None, description="Points of that axis, of one motor [rpm, N m, N, W or A]; throttle from 0 to 1."
    )
    winding_limit: WindingLimit = Field(120.0, description="Winding temperature not to be passed [degC].")


class TransientQuestion(_OneMotor, _Supply, _Limits):
    """How fast a motor speeds up and slows down: the options of `motorfit step`."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"motor": "tern-2807", "propeller": "p7x35x3", "voltage": 22.2, "from": 0.1, "to": 0.5}
            ]
        }
    )
    from_: Share = Field(alias="from", description="Throttle before the jump [1].")
    to: Share = Field(description="Throttle after the jump [1].")
    times: list[Annotated[float, Field(ge=0.0, le=60.0)]] = Field(
        default=[],
        max_length=MAX_POINTS,
        description="Times after the jump [s], rising, for curves of speed.",
    )


class EnduranceQuestion(_OneMotor, _Pack, _Limits):
    """What hovering takes and how long a pack gives it: the options of `motorfit hover`."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "motor": "tern-2807",
                    "propeller": "p7x35x3",
                    "cells": 6,
                    "capacity_mah": 1300.0,
                    "mass_g": 900.0,
                }
            ]
        }
    )
    cells: Cells = Field(description="Of a lithium-ion polymer pack, in series.")
    capacity_mah: CapacityMah = Field(description="Of the pack [mA h].")
    mass_g: float = Field(ge=1.0, le=1e5, description="All-up mass, pack and all [g].")
    motors: Motors = Field(4, description="How many like motors carry it.")
    reserve: float = Field(0.2, ge=0.0, le=0.99, description="Share of the charge kept back at the end [1].")
    winding_limit: WindingLimit = Field(
        120.0, description="Winding temperature for the continuous current [degC]."
    )


ClaimedColumn = Annotated[
    list[Annotated[float, Field(ge=-1e9, le=1e9)] | None], Field(min_length=1, max_length=MAX_POINTS)
]


class ClaimedRows(_Body):
    """A maker's table: steady points, a row each; of the motor with the propeller of the comparison."""

    motor: Motor
    name: Name = Field("claimed table", description="What to call it in the answer.")
    voltage_v: Annotated[list[Voltage], Field(min_length=1, max_length=MAX_POINTS)] = Field(
        description="Voltage of each row [V]."
    )
    throttle: Annotated[list[Share], Field(min_length=1, max_length=MAX_POINTS)] = Field(
        description="Throttle of each row [1]."
    )
    speed_rpm: ClaimedColumn | None = Field(None, description="Claimed speeds; null for an empty cell.")
    thrust_n: ClaimedColumn | None = Field(None, description="Claimed thrusts [N].")
    current_a: ClaimedColumn | None = Field(None, description="Claimed bus currents [A].")
    torque_nm: ClaimedColumn | None = Field(None, description="Claimed torques [N m].")


class ComparisonQuestion(_Setting):
    """Motors compared draw by draw: the options of `motorfit compare`."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"motors": ["tern-2807", "gull-2306"], "propeller": "p7x35x3", "voltage": 22.2}]
        }
    )
    motors: Annotated[list[Motor], Field(min_length=1, max_length=MAX_MOTORS)] = Field(
        description="Ids of motors in the library."
    )
    fit: Annotated[list[Name], Field(max_length=MAX_MOTORS)] = Field(
        default=[], description="Stored fits of these motors; the latest of each when left out."
    )
    propeller: Name | None = Field(None, description="The same for all: an id, or D x P x B in inches.")
    voltage: Voltage | None = Field(None, description="Of an ideal supply [V].")
    metric: Annotated[list[Name], Field(max_length=40)] = Field(
        default=[], description="Names of figures; parameters and whatever a propeller allows when left out."
    )
    margin: Margin | Annotated[dict[str, Margin], Field(max_length=40)] | None = Field(
        None, description="Relative difference that matters, for all or by metric; by metric when left out."
    )
    weights: (
        Annotated[dict[str, Annotated[float, Field(ge=0.0, le=1e6)]], Field(min_length=1, max_length=40)]
        | None
    ) = Field(None, description="By metric: asks for a score.")
    claim: Annotated[dict[str, Annotated[float, Field(ge=-1e9, le=1e9)]], Field(max_length=40)] = Field(
        default={}, description="Claimed figures by metric, or by `motor:metric`."
    )
    claims: Annotated[list[ClaimedRows], Field(max_length=MAX_MOTORS)] = Field(
        default=[], description="Tables of claimed points, each beside what another unit would show."
    )
    models: bool = Field(False, description="Answer for the motors' models, not for the units tested.")
    from_: Share = Field(0.1, alias="from", description="Throttle before the step of rise and fall times.")
    to: Share = Field(0.5, description="Throttle after it.")
    mass_g: Annotated[float, Field(ge=1.0, le=1e5)] | None = Field(
        None, description="Of the aircraft [g], for hover_power_w."
    )
    motors_of_aircraft: Motors = Field(
        1, description="Motors of the aircraft, for hover_power_w (`--motors` of the command)."
    )


def question_text(body: BaseModel) -> str:
    """Return a question in one canonical text, defaults written out."""
    return body.model_dump_json(by_alias=True)
