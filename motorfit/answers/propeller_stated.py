"""A propeller that its user describes in a file: geometry, mass, and what was measured of it."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from motorfit.errors import MotorfitError

_LARGEST_FILE = 100_000
_INCH_M = 0.0254
_Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
_Number = Annotated[float, Field(ge=-2, le=2)]


class PropellerFileError(MotorfitError):
    """A propeller's file cannot be used; every fault of it in one message."""

    def __init__(self, path: str, faults: tuple[str, ...]) -> None:
        self.path = path
        self.faults = faults
        count = f"{len(faults)} fault{'' if len(faults) == 1 else 's'}"
        lines = "\n".join(f"  - {fault}" for fault in faults)
        super().__init__(
            f"{path}: {count} in the propeller's file; its keys are in docs/propellers.md\n{lines}"
        )


class StatedPropeller(BaseModel):
    """A propeller by its description; what is not stated is drawn from what propellers have in common.

    Exactly one of ``diameter_in`` and ``diameter_mm``, one of ``pitch_in`` and ``pitch_mm``; at most one of
    ``torque_coefficient`` and ``power_coefficient`` (C_P = 2π C_Q). A coefficient needs its ``_sd``, one
    sigma, and ``reference_rpm``, the speed it holds at.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: Annotated[str, Field(min_length=1, max_length=100)] = "stated"
    diameter_in: Annotated[float, Field(ge=1, le=60)] | None = None
    diameter_mm: Annotated[float, Field(ge=25, le=1524)] | None = None
    pitch_in: _Positive | None = None
    pitch_mm: _Positive | None = None
    blades: Annotated[int, Field(ge=1, le=12)] = 2
    make: Annotated[str, Field(min_length=1, max_length=100)] | None = None
    mass_g: Annotated[float, Field(gt=0, le=5000)] | None = None
    inertia_kg_m2: _Positive | None = None
    inertia_sd_kg_m2: _Positive | None = None
    thrust_coefficient: Annotated[float, Field(gt=0, le=1)] | None = None
    thrust_coefficient_sd: _Positive | None = None
    torque_coefficient: Annotated[float, Field(gt=0, le=1)] | None = None
    torque_coefficient_sd: _Positive | None = None
    power_coefficient: Annotated[float, Field(gt=0, le=6)] | None = None
    power_coefficient_sd: _Positive | None = None
    reference_rpm: Annotated[float, Field(ge=60, le=200_000)] | None = None
    thrust_reynolds_exponent: _Number | None = None
    thrust_reynolds_exponent_sd: _Positive | None = None
    torque_reynolds_exponent: _Number | None = None
    torque_reynolds_exponent_sd: _Positive | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        faults = []
        for first, second in (("diameter_in", "diameter_mm"), ("pitch_in", "pitch_mm")):
            if (getattr(self, first) is None) == (getattr(self, second) is None):
                faults.append(f"give exactly one of {first} and {second}")
        if self.torque_coefficient is not None and self.power_coefficient is not None:
            faults.append("give one of torque_coefficient and power_coefficient, not both")
        kinds = ("thrust_coefficient", "torque_coefficient", "power_coefficient")
        for name in (*kinds, "thrust_reynolds_exponent", "torque_reynolds_exponent", "inertia_kg_m2"):
            doubt = "inertia_sd_kg_m2" if name == "inertia_kg_m2" else f"{name}_sd"
            if (getattr(self, name) is None) != (getattr(self, doubt) is None):
                faults.append(f"{name} and {doubt} belong together; give both or neither")
        for name in (*kinds, "inertia_kg_m2"):
            value = getattr(self, name)
            sd = getattr(self, "inertia_sd_kg_m2" if name == "inertia_kg_m2" else f"{name}_sd")
            if value is not None and sd is not None and sd > 0.5 * value:
                faults.append(
                    f"the one-sigma doubt of {name} is {sd:g}, above half of it; leave it out instead"
                )
        if any(getattr(self, name) is not None for name in kinds) and self.reference_rpm is None:
            faults.append("reference_rpm is missing: the speed at which the coefficients hold")
        if not faults and not 0.1 <= self.pitch_m / self.diameter_m <= 2.5:
            faults.append(
                f"pitch over diameter is {self.pitch_m / self.diameter_m:.3g}; 0.1 to 2.5 is allowed"
            )
        merit = self.figure_of_merit
        if merit is not None and merit >= 0.95:
            faults.append(
                f"the coefficients make a figure of merit of {merit:.2f}; below 0.95 is allowed: check "
                "whether torque_coefficient holds what is a power coefficient, 2π times it"
            )
        if faults:
            raise ValueError("; ".join(faults))
        return self

    @property
    def diameter_m(self) -> float:
        """Diameter [m]."""
        return self.diameter_in * _INCH_M if self.diameter_in else (self.diameter_mm or 0.0) * 1e-3

    @property
    def pitch_m(self) -> float:
        """Pitch [m]."""
        return self.pitch_in * _INCH_M if self.pitch_in else (self.pitch_mm or 0.0) * 1e-3

    @property
    def torque(self) -> tuple[float, float] | None:
        """C_Q and its one-sigma doubt, or None."""
        if self.torque_coefficient is not None and self.torque_coefficient_sd is not None:
            return self.torque_coefficient, self.torque_coefficient_sd
        if self.power_coefficient is not None and self.power_coefficient_sd is not None:
            return self.power_coefficient / (2.0 * math.pi), self.power_coefficient_sd / (2.0 * math.pi)
        return None

    @property
    def figure_of_merit(self) -> float | None:
        """FM [1] that the stated coefficients make, or None where one is missing."""
        if self.thrust_coefficient is None or self.torque is None:
            return None
        ideal = math.sqrt(2.0 / math.pi) * math.pow(self.thrust_coefficient, 1.5)
        return ideal / (2.0 * math.pi * self.torque[0])


def read_propeller(path: Path) -> StatedPropeller:
    """Read a propeller's TOML file.

    Raises
    ------
    PropellerFileError
        It cannot be read, is not TOML, or does not describe a propeller; all faults in one message.
    """
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise PropellerFileError(str(path), ("it is too large; a description takes twenty lines",))
        tables = tomllib.loads(path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n"))
    except OSError as error:
        raise PropellerFileError(
            str(path), (f"it cannot be read ({error.strerror}); name a TOML file that exists",)
        ) from None
    except UnicodeDecodeError:
        raise PropellerFileError(str(path), ("it is not UTF-8; save it as UTF-8 text",)) from None
    except tomllib.TOMLDecodeError as error:
        raise PropellerFileError(
            str(path), (f"it is not TOML ({error}); write one `key = value` a line",)
        ) from None
    return stated_propeller({"name": path.stem, **tables}, str(path))


def stated_propeller(values: dict[str, object], where: str = "propeller") -> StatedPropeller:
    """Return a described propeller, or raise PropellerFileError with every fault."""
    try:
        return StatedPropeller.model_validate(values)
    except ValidationError as error:
        faults = []
        for item in error.errors():
            key = ".".join(str(part) for part in item["loc"])
            text = item["msg"].removeprefix("Value error, ")
            if item["type"] == "extra_forbidden":
                text = f"no such key; allowed: {', '.join(sorted(StatedPropeller.model_fields))}"
            faults += [text] if not key else [f"{key} = {item['input']!r}: {text}"]
        raise PropellerFileError(where, tuple(faults)) from None
