"""What motors can be compared on: names, units, which way is better, what difference matters."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Literal

from motorfit.answers.errors import AnswerError
from motorfit.quantities import PARAMETERS

Need = Literal["none", "voltage", "propeller"]
PER_GRAM = "_per_gram"
MARGIN = 0.02
"""Relative difference below which a metric without a margin of its own is taken as equal in practice."""


@dataclass(frozen=True)
class Metric:
    """One figure of a motor.

    Attributes
    ----------
    name : as asked for, such as ``max_thrust_n_per_gram`` or ``thrust_n@throttle=0.5``
    base : without ``_per_gram``, propeller and point
    unit : of its values
    better : 1 where more is better, -1 where less is, 0 where neither is
    margin : relative difference of practical importance
    need : what must be stated beside the motor
    per_gram : True where it is divided by the motor's mass
    propeller : of a propeller's coefficient, where the name states one
    axis, at : the point of a curve: "throttle" [1], "thrust_n" [N] or "electrical_power_w" [W], and its value
    """

    name: str
    base: str
    unit: str
    better: Literal[-1, 0, 1] = 0
    margin: float = MARGIN
    need: Need = "none"
    per_gram: bool = False
    propeller: str | None = None
    axis: str | None = None
    at: float | None = None


_ANSWERS = (
    Metric("max_thrust_n", "max_thrust_n", "N", 1, 0.02, "propeller"),
    Metric("max_current_a", "max_current_a", "A", 0, 0.03, "propeller"),
    Metric("peak_torque_nm", "peak_torque_nm", "N m", 1, 0.02, "voltage"),
    Metric("peak_efficiency", "peak_efficiency", "1", 1, 0.01, "propeller"),
    Metric("rise_time_s", "rise_time_s", "s", -1, 0.05, "propeller"),
    Metric("fall_time_s", "fall_time_s", "s", -1, 0.05, "propeller"),
    Metric("hover_power_w", "hover_power_w", "W", -1, 0.02, "propeller"),
    Metric("kv_over_label", "kv_over_label", "1", 0, 0.01),
)
ANSWERS = {metric.name: metric for metric in _ANSWERS}
"""Metrics that are not parameters."""

DEFAULT_PARAMETERS = ("kv", "kt", "winding_resistance", "no_load_current", "rotor_inertia")
DEFAULT_ANSWERS = (
    "max_thrust_n",
    "max_thrust_n_per_gram",
    "max_current_a",
    "peak_torque_nm",
    "peak_efficiency",
    "rise_time_s",
    "fall_time_s",
    "hover_power_w",
)

_PARAMETER_MARGINS = {
    "kv": 0.01, "kt": 0.02, "kt_kv_ratio": 0.01, "winding_resistance": 0.05, "no_load_current": 0.10,
    "rotor_inertia": 0.05, "drag_current_static": 0.10, "drag_current_slope": 0.10, "prop_inertia": 0.05,
}  # fmt: skip
_BETTER: dict[str, Literal[-1, 0, 1]] = {
    "winding_resistance": -1,
    "no_load_current": -1,
    "rotor_inertia": -1,
    "kt_kv_ratio": 1,
    "braking_share": 1,
    "figure_of_merit": 1,
}
# What grows with the size of a motor, so that its share of a gram says something.
_BY_MASS = frozenset(
    {"max_thrust_n", "max_current_a", "peak_torque_nm", "kt", "rotor_inertia", "saturation_current"}
    | {"hover_power_w", "winding_heat_capacity", "body_heat_capacity", "no_load_current"}
)
# Curves of `predict`: unit, which way is better.
CURVES: dict[str, tuple[str, Literal[-1, 0, 1]]] = {
    "speed_rpm": ("rpm", 0),
    "thrust_n": ("N", 1),
    "torque_nm": ("N m", 0),
    "current_a": ("A", -1),
    "motor_current_a": ("A", -1),
    "electrical_power_w": ("W", -1),
    "mechanical_power_w": ("W", 0),
    "motor_efficiency": ("1", 1),
    "thrust_per_watt_g": ("g/W", 1),
}
AXES = ("throttle", "thrust_n", "electrical_power_w")
_CURVE = re.compile(r"([a-z_]+)@([a-z_]+)=([0-9.eE+-]+)")
_OF_PROPELLER = re.compile(r"([a-z_]+)\[([^\]]+)\]")


def metric_of(name: str) -> Metric:
    """Return the metric of a name.

    Known are every parameter of the table of quantities (a propeller's also as ``name[propeller]``), the
    figures of `ANSWERS`, a point of a predicted curve such as ``motor_efficiency@electrical_power_w=120``,
    and what grows with the motor's size also with ``_per_gram``.

    Raises
    ------
    AnswerError
        No such metric, or one that makes no sense per gram.
    """
    text = name.strip()
    if text.endswith(PER_GRAM):
        whole = metric_of(text.removesuffix(PER_GRAM))
        if whole.base not in _BY_MASS and whole.base != "thrust_n":
            raise AnswerError(
                "metric",
                name,
                f"per gram: {', '.join(sorted(_BY_MASS))}",
                f"{whole.base} does not grow with a motor's mass; compare {whole.name} itself.",
            )
        better = whole.better if whole.better > 0 else 0
        return replace(whole, name=text, unit=_per_gram(whole.unit), better=better, per_gram=True)
    if text in ANSWERS:
        return ANSWERS[text]
    if match := _CURVE.fullmatch(text):
        return _curve_point(text, match[1], match[2], match[3])
    match = _OF_PROPELLER.fullmatch(text)
    base, propeller = (match[1], match[2]) if match else (text, None)
    quantity = PARAMETERS.get(base)
    if quantity is None or (propeller is not None and quantity.per != "propeller"):
        raise _unknown(name)
    return Metric(
        name=text,
        base=base,
        unit=quantity.unit,
        better=_BETTER.get(base, 0),
        margin=_PARAMETER_MARGINS.get(base, MARGIN),
        need="propeller" if quantity.per == "propeller" and propeller is None else "none",
        propeller=propeller,
    )


def _curve_point(text: str, curve: str, axis: str, at: str) -> Metric:
    if curve not in CURVES or axis not in AXES or curve == axis:
        raise AnswerError(
            "metric",
            text,
            f"CURVE@AXIS=VALUE with CURVE of {', '.join(CURVES)}, AXIS of {', '.join(AXES)}",
            "Give, for example, motor_efficiency@electrical_power_w=120.",
        )
    try:
        value = float(at)
    except ValueError:
        value = -1.0
    if not 0.0 < value <= (1.0 if axis == "throttle" else 1e6):
        raise AnswerError("metric", text, f"a {axis} above 0", "Throttle goes up to 1, which is full.")
    unit, better = CURVES[curve]
    if better < 0 and axis != "thrust_n":
        better = 0  # less current for the same throttle is no merit
    return Metric(text, curve, unit, better, MARGIN, "propeller", axis=axis, at=value)


def _per_gram(unit: str) -> str:
    return "1/g" if unit == "1" else f"{unit}/g"


def _unknown(name: str) -> AnswerError:
    known = [*ANSWERS, *PARAMETERS]
    near = get_close_matches(name, known, n=1)
    hint = f"Did you mean {near[0]!r}? " if near else ""
    return AnswerError(
        "metric",
        name,
        f"{', '.join(ANSWERS)}, any parameter's name, CURVE@AXIS=VALUE, some of them with {PER_GRAM}",
        f"{hint}The parameters are in the nomenclature.",
    )


def chosen_metrics(names: tuple[str, ...], *, propeller: bool, voltage: bool) -> tuple[Metric, ...]:
    """Return the metrics asked for, each once; none asked: the parameters, and what can be answered besides.

    Parameters
    ----------
    names :
        As the user wrote them.
    propeller, voltage :
        Whether these were stated.

    Raises
    ------
    AnswerError
        An unknown metric, or one that needs a propeller or a voltage that was not stated.
    """
    if not names:
        can: tuple[str, ...] = DEFAULT_PARAMETERS
        can += DEFAULT_ANSWERS if propeller and voltage else ("peak_torque_nm",) if voltage else ()
        names = can
    found = tuple(metric_of(name) for name in dict.fromkeys(n.strip() for n in names))
    for metric in found:
        needs_voltage = metric.need == "voltage" or (
            metric.need == "propeller" and metric.base not in PARAMETERS
        )
        if metric.need == "propeller" and not propeller:
            raise AnswerError(
                "metric",
                metric.name,
                "with a propeller stated",
                "Say with which one: --propeller ID --voltage V.",
            )
        if needs_voltage and not voltage:
            raise AnswerError(
                "metric", metric.name, "with a voltage stated", "Say from how many volts: --voltage V."
            )
    return found
