"""Loading a campaign file: every fault of it is collected before any is reported."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from motorfit.bench.crosscheck import (
    check_controller,
    check_inertias,
    check_repeats,
    check_run,
    check_unique,
    convert_channel_doubts,
)
from motorfit.bench.faults import MISSING, CampaignError, Fault, join, listed, shown, suggestion
from motorfit.bench.models import (
    Air,
    AirOverride,
    Bench,
    Campaign,
    ChannelDoubt,
    Column,
    Controller,
    Flywheel,
    Measurement,
    Motor,
    PriorOverride,
    Propeller,
    Run,
)
from motorfit.bench.quantitycheck import check_measurement, check_prior, convert_measurement, convert_prior
from motorfit.bench.tomlfile import content_of, parse_toml
from motorfit.bench.translate import faults_of

__all__ = [
    "Air",
    "Bench",
    "Campaign",
    "CampaignError",
    "ChannelDoubt",
    "Column",
    "Controller",
    "Fault",
    "Flywheel",
    "Measurement",
    "Motor",
    "PriorOverride",
    "Propeller",
    "Run",
    "load_campaign",
]

_SECTIONS = (
    "format",
    "title",
    "air",
    "bench",
    "motors",
    "propellers",
    "flywheels",
    "runs",
    "measurements",
    "priors",
)
_Part = TypeVar("_Part", bound=BaseModel)


def load_campaign(path: Path | str) -> Campaign:
    """Read and check a campaign file.

    Raises `CampaignError` with every fault of the file: unknown keys, wrong types and units, missing log
    files, references to ids that are not declared. Logs are not read here.
    """
    path = Path(path)
    content = content_of(path)
    raw = parse_toml(path, content)
    faults: list[Fault] = []
    campaign = _Loader(path, faults).campaign(raw, hashlib.sha256(content).hexdigest())
    if faults or campaign is None:
        raise CampaignError(path, faults)
    return campaign


class _Loader:
    """Builds each part of the campaign on its own, so that one fault does not hide the others."""

    def __init__(self, path: Path, faults: list[Fault]) -> None:
        self.folder = path.parent
        self.path = path
        self.faults = faults
        self.assumptions: list[str] = []

    def campaign(self, raw: Mapping[str, Any], sha256: str) -> Campaign | None:
        self._top(raw)
        motors = self._parts(raw, "motors", Motor)
        propellers = self._parts(raw, "propellers", Propeller)
        flywheels = self._parts(raw, "flywheels", Flywheel)
        ids = {
            "motor": _declared(raw, "motors"),
            "propeller": _declared(raw, "propellers"),
            "flywheel": _declared(raw, "flywheels"),
        }
        for section in ("motors", "propellers", "flywheels", "runs"):
            self.faults += check_unique(_tables(raw, section), section)
        for i, part in enumerate(_tables(raw, "propellers")):
            self.faults += check_inertias(part, join("propellers", i))
            if "blades" not in part:
                self.assumptions.append(f"propeller {part.get('id', i)}: blades is not given: 2 assumed")
        bench = self._bench(raw.get("bench", {}))
        air = self._air(raw)
        runs = self._runs(raw, ids, {m.id: m for m in motors}, air)
        measurements = self._measurements(raw, ids)
        priors = self._priors(raw.get("priors", {}))
        if not motors and not any(f.path.startswith("motors") for f in self.faults):
            self.faults.append(
                Fault("motors", MISSING, "one [[motors]] table or more", "Declare the motor tested.")
            )
        if not _tables(raw, "runs") and not _tables(raw, "measurements") and "runs" not in raw:
            self.faults.append(
                Fault(
                    "runs",
                    MISSING,
                    "one [[runs]] or [[measurements]] table or more",
                    "Add the runs of the day.",
                )
            )
        if self.faults or air is None or bench is None:
            return None
        return Campaign(
            format=1,
            title=raw.get("title", self.path.stem),
            air=air,
            bench=bench,
            motors=tuple(motors),
            propellers=tuple(propellers),
            flywheels=tuple(flywheels),
            runs=tuple(runs),
            measurements=tuple(measurements),
            priors=priors,
            path=self.path,
            sha256=sha256,
            assumptions=tuple(self.assumptions),
        )

    def _top(self, raw: Mapping[str, Any]) -> None:
        for key, value in raw.items():
            if key not in _SECTIONS:
                self.faults.append(
                    Fault(
                        key,
                        shown(value),
                        listed(_SECTIONS),
                        suggestion(key, _SECTIONS, "Remove this key; it is not known."),
                    )
                )
        version = raw.get("format", MISSING)
        if version != 1 or isinstance(version, bool):
            value = MISSING if version is MISSING else shown(version)
            self.faults.append(Fault("format", value, "1", "Write format = 1; this version reads no other."))
        if not isinstance(raw.get("title", ""), str):
            self.faults.append(
                Fault("title", shown(raw["title"]), "text in quotes", "Put the title in quotes.")
            )

    def _build(self, model: type[_Part], raw: object, path: str) -> _Part | None:
        try:
            return model.model_validate(raw)
        except ValidationError as error:
            self.faults += faults_of(error, model, path)
            return None

    def _parts(self, raw: Mapping[str, Any], section: str, model: type[_Part]) -> list[_Part]:
        value = raw.get(section, [])
        if not isinstance(value, list):
            self.faults.append(
                Fault(
                    section,
                    shown(value),
                    f"a list of tables: [[{section}]]",
                    f"Write [[{section}]] with two brackets.",
                )
            )
            return []
        built = [self._build(model, item, join(section, i)) for i, item in enumerate(value)]
        return [part for part in built if part is not None]

    def _bench(self, raw: object) -> Bench | None:
        bench = self._build(Bench, raw, "bench")
        if isinstance(raw, Mapping):
            self.faults += check_controller(raw.get("controller"))
        if bench is None:
            return None
        channels, faults = convert_channel_doubts(bench.channels)
        self.faults += faults
        return bench.model_copy(update={"channels": channels})

    def _air(self, raw: Mapping[str, Any]) -> Air | None:
        if "air" in raw:
            air = self._build(Air, raw["air"], "air")
            if isinstance(raw["air"], Mapping) and "humidity_pct" not in raw["air"]:
                self.assumptions.append("air.humidity_pct is not given: 50 % assumed")
            return air
        if any(run.get("propeller") is not None for run in _tables(raw, "runs")):
            self.faults.append(
                Fault(
                    "air",
                    MISSING,
                    "a table with temperature_c, pressure_hpa, humidity_pct",
                    "Add [air]: thrust is proportional to the density of the air.",
                )
            )
            return None
        self.assumptions.append(
            "[air] is not given: 20 °C, 1013.25 hPa, 50 % assumed; no run has a propeller"
        )
        return Air(temperature_c=20.0, pressure_hpa=1013.25, humidity_pct=50.0)

    def _runs(
        self,
        raw: Mapping[str, Any],
        ids: Mapping[str, list[str]],
        motors: Mapping[str, Motor],
        air: Air | None,
    ) -> list[Run]:
        runs: list[Run] = []
        if not isinstance(raw.get("runs", []), list):
            return self._parts(raw, "runs", Run)
        for i, item in enumerate(raw.get("runs", [])):
            path = join("runs", i)
            if not isinstance(item, Mapping):
                self._build(Run, item, path)
                continue
            values = dict(item)
            if isinstance(values.get("file"), str):
                values["file"] = self.folder / values["file"]
            own_air = values.pop("air", None)
            override = self._build(AirOverride, own_air, join(path, "air")) if own_air is not None else None
            if override is not None and air is not None:
                values["air"] = air.model_copy(update=override.model_dump(exclude_none=True))
            run = self._build(Run, values, path)
            motor = motors.get(str(item.get("motor")))
            pole_pairs = None if motor is None else motor.pole_pairs
            self.faults += check_run(item, values.get("file"), path, ids, pole_pairs)
            if run is not None:
                runs.append(run)
        self.faults += check_repeats(_tables(raw, "runs"))
        return runs

    def _measurements(self, raw: Mapping[str, Any], ids: Mapping[str, list[str]]) -> list[Measurement]:
        built: list[Measurement] = []
        if not isinstance(raw.get("measurements", []), list):
            return self._parts(raw, "measurements", Measurement)
        for i, item in enumerate(raw.get("measurements", [])):
            path = join("measurements", i)
            values = {k: v for k, v in item.items() if k != "unit"} if isinstance(item, Mapping) else item
            part = self._build(Measurement, values, path)
            if not isinstance(item, Mapping):
                continue
            faults = check_measurement(item, path, ids)
            self.faults += faults
            if part is not None and not faults:
                built.append(convert_measurement(part, item.get("unit")))
        return built

    def _priors(self, raw: object) -> dict[str, PriorOverride]:
        if not isinstance(raw, Mapping):
            self.faults.append(
                Fault("priors", shown(raw), "tables such as [priors.kv]", "Write one table per parameter.")
            )
            return {}
        priors: dict[str, PriorOverride] = {}
        for name, item in raw.items():
            path = join("priors", name)
            values = {k: v for k, v in item.items() if k != "unit"} if isinstance(item, Mapping) else item
            part = self._build(PriorOverride, values, path)
            unit = item.get("unit") if isinstance(item, Mapping) else None
            faults = check_prior(name, part, unit, path)
            self.faults += faults
            if part is not None and not faults:
                priors[name] = convert_prior(name, part, unit)
        return priors


def _tables(raw: Mapping[str, Any], section: str) -> list[Mapping[str, Any]]:
    """The tables of a section, a stand-in for whatever is not a table, so that positions keep."""
    value = raw.get(section, [])
    return [item if isinstance(item, Mapping) else {} for item in value] if isinstance(value, list) else []


def _declared(raw: Mapping[str, Any], section: str) -> list[str]:
    """Ids a section declares, also those of parts with other faults: a reference to them is not a fault."""
    return [item["id"] for item in _tables(raw, section) if isinstance(item.get("id"), str)]
