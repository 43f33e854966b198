"""The benches on which intervals are tried, from what the model assumes to what it does not know."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from motorfit.errors import MotorfitError
from motorfit.synthetic.options import BenchOptions

__all__ = ["SCENARIOS", "CalibrationError", "Kind", "chosen"]


class CalibrationError(MotorfitError):
    """A calibration that cannot be made, or records that cannot be read or written."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A scenario.

    ``about`` says what is special about it; ``ranks`` whether truths follow the model's priors, so that ranks
    of the truth among the draws must be uniform.
    """

    name: str
    about: str
    options: BenchOptions
    ranks: bool = False


_ONE: Mapping[str, Any] = {"motors": 1, "propellers": 1}
_ROUGH: Mapping[str, Any] = {
    "load_cell_lag_s": 0.02,
    "late_by_s": 0.006,
    "tones": 0.01,
    "drift_n_per_min": 0.04,
    "speed_quantum_rpm": 20.0,
}
_BEYOND: Mapping[str, Any] = {
    "excess_loss": 0.3,
    "magnet_share": 0.5,
    "crosstalk": 0.005,
    "fold_back_a": 30.0,
}


def _rich(**changes: Any) -> BenchOptions:
    return BenchOptions.rich(**{**_ONE, **changes})


_KINDS = (
    Kind("nominal", "nominal physics; sensors off by their declared doubts", BenchOptions(**_ONE)),
    Kind("rich", "heating, saturation, a curved duty map, idle draw, Reynolds exponents, windage", _rich()),
    Kind(
        "rough-stand",
        "rich, with slow load cells, late channels, vibration, a drifting zero, speed in steps of 20 rpm",
        _rich(**_ROUGH),
    ),
    Kind(
        "no-torque-cell",
        "rich, without a torque cell",
        _rich(channels=("voltage", "current", "speed", "thrust")),
    ),
    Kind("no-flywheel", "rich, without a spin-up of a flywheel", _rich(runs=("no-load", "ramp", "steps"))),
    Kind("one-run", "rich, a single ramp with a propeller", _rich(runs=("ramp",))),
    Kind("slow-log", "rich, logged at 10 Hz", _rich(sample_rate_hz=10.0)),
    Kind("fast-log", "rich, logged at 5 kHz", _rich(sample_rate_hz=5000.0)),
    Kind(
        "two-motors",
        "rich, two motors and two propellers: differences, and propellers met by the other motor only",
        _rich(motors=2, propellers=2),
    ),
    Kind(
        "beyond",
        "rough-stand, and physics that the model lacks: iron loss with the root of speed, magnets cooler "
        "than the body, crosstalk of load cells, a supply that folds back",
        _rich(**_ROUGH, **_BEYOND),
    ),
    Kind(
        "sbc",
        "truths drawn from the model's priors, all effects present, motors a little warm at each start",
        _rich(spread="prior", warmth_k=1.0),
        ranks=True,
    ),
)

SCENARIOS: Mapping[str, Kind] = MappingProxyType({kind.name: kind for kind in _KINDS})
"""By name, in the order in which they are made and shown."""


def chosen(names: Iterable[str]) -> tuple[Kind, ...]:
    """Scenarios by name, in the table's order; all where none is named.

    Raises
    ------
    CalibrationError : a name that there is not
    """
    wanted = set(names)
    for name in wanted:
        if name not in SCENARIOS:
            raise CalibrationError(f"no scenario {name!r}; allowed are {', '.join(SCENARIOS)}.")
    return tuple(kind for kind in _KINDS if not wanted or kind.name in wanted)
