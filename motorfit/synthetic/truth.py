"""The truth behind a simulated bench: parameters by their posterior names, and curves without noise."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from motorfit.synthetic.options import SyntheticError

FORMAT = 1


@dataclass(frozen=True, slots=True)
class TrueAir:
    """Air at the bench: [°C], [hPa], [%]."""

    temperature_c: float
    pressure_hpa: float
    humidity_pct: float


@dataclass(frozen=True, slots=True)
class TrueMotor:
    """A motor: what is printed on it, and its parameters by the names and units of `motorfit.quantities`."""

    id: str
    mass_g: float
    pole_pairs: int
    label_kv: float
    parameters: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class TruePropeller:
    """A propeller: geometry [inch], [g], its parameters; ``tested`` False when only its geometry is known."""

    id: str
    diameter_in: float
    pitch_in: float
    blades: int
    mass_g: float
    parameters: Mapping[str, float]
    tested: bool = True


@dataclass(frozen=True, slots=True)
class TrueFlywheel:
    """A flywheel: its inertia as declared [kg m²], the doubt of that [kg m²], the true one [kg m²]."""

    id: str
    declared_kg_m2: float
    sd_kg_m2: float
    inertia_kg_m2: float


@dataclass(frozen=True, slots=True)
class TrueCurve:
    """What an untested condition would really give.

    ``condition`` is "voltage" (a propeller tested with this motor, at another voltage),
    "propeller-tested-elsewhere" or "propeller-geometry-only"; ``values`` holds columns named as the curves of
    `predict --json`.
    """

    motor: str
    propeller: str
    voltage_v: float
    condition: str
    values: Mapping[str, tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Truth:
    """All that is true of a simulated bench.

    Attributes
    ----------
    campaign : path of the campaign file
    seed : of the generator
    air : at the bench;  density : of that air [kg/m³]
    stand : controller's and sensors' parameters by posterior names
    motors, propellers, flywheels : by id
    curves : at untested conditions, at 25 °C of winding and magnet, ideal supply
    """

    campaign: Path
    seed: int
    air: TrueAir
    density: float
    stand: Mapping[str, float]
    motors: Mapping[str, TrueMotor]
    propellers: Mapping[str, TruePropeller]
    flywheels: Mapping[str, TrueFlywheel]
    curves: tuple[TrueCurve, ...]
    options: Mapping[str, Any] = field(default_factory=dict)

    def value(self, name: str, *, motor: str | None = None, propeller: str | None = None) -> float:
        """True value of a parameter, in its unit: of a motor, of a propeller, or of the stand.

        Raises
        ------
        SyntheticError : when there is none of that name
        """
        owner: Mapping[str, float] = self.stand
        if propeller is not None and propeller in self.propellers:
            owner = self.propellers[propeller].parameters
        elif motor is not None and motor in self.motors:
            owner = self.motors[motor].parameters
        if name not in owner:
            raise SyntheticError(
                f"no true value of {name!r} for motor {motor!r}, propeller {propeller!r}; there are "
                f"{', '.join(sorted(owner))}."
            )
        return owner[name]

    def to_json(self) -> dict[str, Any]:
        """Plain values; the layout of truth.json."""
        return {
            "format": FORMAT,
            "campaign": self.campaign.name,
            "seed": self.seed,
            "options": dict(self.options),
            "air": _plain(self.air),
            "air_density_kg_m3": self.density,
            "stand": dict(self.stand),
            "motors": {k: _plain(m) for k, m in self.motors.items()},
            "propellers": {k: _plain(p) for k, p in self.propellers.items()},
            "flywheels": {k: _plain(f) for k, f in self.flywheels.items()},
            "curves": [_plain(c) for c in self.curves],
        }


def _plain(record: Any) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name in record.__dataclass_fields__:
        value = getattr(record, name)
        if isinstance(value, Mapping):
            value = {k: list(v) if isinstance(v, tuple) else v for k, v in value.items()}
        out[name] = value
    return out


def load_truth(path: Path) -> Truth:
    """Read a truth.json.

    Raises
    ------
    SyntheticError : when the file is absent or is not one
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if data["format"] != FORMAT:
            raise KeyError(f"format {data['format']}")
        curves = tuple(
            TrueCurve(**(c | {"values": {k: tuple(v) for k, v in c["values"].items()}}))
            for c in data["curves"]
        )
        return Truth(
            campaign=path.parent / data["campaign"],
            seed=data["seed"],
            options=data["options"],
            air=TrueAir(**data["air"]),
            density=data["air_density_kg_m3"],
            stand=data["stand"],
            motors={k: TrueMotor(**v) for k, v in data["motors"].items()},
            propellers={k: TruePropeller(**v) for k, v in data["propellers"].items()},
            flywheels={k: TrueFlywheel(**v) for k, v in data["flywheels"].items()},
            curves=curves,
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise SyntheticError(
            f"{path} is not the truth of a simulated bench ({error}); allowed is a truth.json of format "
            f"{FORMAT}, as simulate_campaign writes it."
        ) from error
