"""What a simulated bench is like: how many runs, which physics beyond the nominal, which sensor errors."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any, Literal

from motorfit.errors import MotorfitError

KINDS = ("no-load", "ramp", "spin-up", "steps", "hold", "coast-down", "table")
"""Kinds of run a simulated bench can make, in the order they are made."""


CHANNELS = ("voltage", "current", "speed", "thrust", "torque")
"""Channels a simulated stand can log, in the order of the columns."""


class SyntheticError(MotorfitError):
    """An option of a simulated bench that makes no sense, or a folder that cannot take it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchOptions:
    """Options of a simulated bench; by default nominal physics, correlated noise and sensor gains.

    Attributes
    ----------
    motors, propellers : how many are tested, 1 to 6; the first motor meets every propeller, the others
        the first only
    runs : kinds of run made with every motor, see `KINDS`
    sample_rate_hz : of the logs [Hz], 5 to 10000
    channels : that the stand logs, of `CHANNELS`
    spread : "usual" draws parameters near common values; "prior" from the model's table of priors, for rank
        statistics
    heating, saturation, curved_duty, idle_draw, reynolds, windage : physics beyond the nominal
    noise : factor on the usual sensor noise [1]; 0 for none
    calibrated : False draws gains and offsets from the declared doubts, True makes every sensor exact
    load_cell_lag_s : first-order time constant of thrust and torque [s]
    late_by_s : every channel but speed is late by its own delay, drawn up to this [s]
    drift_n_per_min : one-sigma drift of the thrust's zero [N/min]; torque drifts with it
    tones : relative size of the vibration at one and at B turns a revolution [1]
    speed_quantum_rpm : step of the speed reading [rpm]
    tare_s : rest before each timed run [s]
    warmth_k : scale of the motor's warmth above the air at the start of each run, a Student's t of 4 degrees
        of freedom [K]
    excess_loss : share of the no-load current at 10 V that grows with the root of speed [1], an iron loss
        that the fitted model does not have (G. Bertotti, IEEE Trans. Magn. 24 (1988) 621)
    magnet_share : the magnets' warming relative to the body's [1]; the fitted model has 1
    crosstalk : one sigma of what each load cell reads of the other, 1 N as 20 mN m [1]; the model has 0
    fold_back_a : bus current that the supply holds, its voltage giving way [A]; inf for a stiff supply
    """

    motors: int = 2
    propellers: int = 2
    runs: tuple[str, ...] = ("no-load", "ramp", "spin-up", "steps")
    sample_rate_hz: float = 500.0
    spread: Literal["usual", "prior"] = "usual"
    heating: bool = False
    saturation: bool = False
    curved_duty: bool = False
    idle_draw: bool = False
    reynolds: bool = False
    windage: bool = False
    noise: float = 1.0
    calibrated: bool = False
    load_cell_lag_s: float = 0.0
    late_by_s: float = 0.0
    drift_n_per_min: float = 0.0
    tones: float = 0.0
    speed_quantum_rpm: float = 1.0
    tare_s: float = 0.3
    channels: tuple[str, ...] = CHANNELS
    warmth_k: float = 0.0
    excess_loss: float = 0.0
    magnet_share: float = 1.0
    crosstalk: float = 0.0
    fold_back_a: float = math.inf

    def __post_init__(self) -> None:
        """Refuse what no bench can be."""
        for name, low, high in (
            ("motors", 1, 6),
            ("propellers", 1, 6),
            ("sample_rate_hz", 5.0, 10_000.0),
            ("noise", 0.0, 100.0),
            ("load_cell_lag_s", 0.0, 1.0),
            ("late_by_s", 0.0, 0.2),
            ("drift_n_per_min", 0.0, 10.0),
            ("tones", 0.0, 1.0),
            ("speed_quantum_rpm", 0.0, 1000.0),
            ("tare_s", 0.0, 30.0),
            ("warmth_k", 0.0, 50.0),
            ("excess_loss", 0.0, 0.9),
            ("magnet_share", 0.0, 2.0),
            ("crosstalk", 0.0, 0.5),
            ("fold_back_a", 1.0, math.inf),
        ):
            value = getattr(self, name)
            if not low <= value <= high:  # NaN is neither
                raise SyntheticError(f"{name} is {value!r}; allowed are {low} to {high}.")
        unknown = [kind for kind in self.runs if kind not in KINDS]
        if unknown or not self.runs:
            raise SyntheticError(
                f"runs holds {', '.join(unknown) or 'nothing'}; allowed are {', '.join(KINDS)}."
            )
        strange = [c for c in self.channels if c not in CHANNELS]
        if strange or not self.channels:
            raise SyntheticError(
                f"channels holds {', '.join(strange) or 'nothing'}; allowed are {', '.join(CHANNELS)}."
            )
        if self.spread not in ("usual", "prior"):
            raise SyntheticError(f"spread is {self.spread!r}; allowed are 'usual' and 'prior'.")

    @classmethod
    def rich(cls, **changes: Any) -> BenchOptions:
        """A bench with all the physics that a simple model lacks; ``changes`` are options of this class."""
        everything: dict[str, Any] = dict.fromkeys(
            ("heating", "saturation", "curved_duty", "idle_draw", "reynolds", "windage"), True
        )
        return cls(**(everything | changes))

    def to_json(self) -> dict[str, Any]:
        """Plain values by name; what is infinite, which JSON has not, as null."""
        out: dict[str, Any] = {}
        for f in fields(self):
            value = getattr(self, f.name)
            out[f.name] = list(value) if isinstance(value, tuple) else None if value == math.inf else value
        return out
