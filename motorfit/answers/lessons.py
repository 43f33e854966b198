"""Which run would teach a parameter that the runs of a campaign did not teach."""

from __future__ import annotations

_TORQUE = "a ramp with torque logged, or a flywheel's spin-up together with its coast-down or a no-load run"

# Plain sentences for the reader: which run teaches this parameter. `{propeller}` is filled in where
# the parameter belongs to one.
_TEACHERS: dict[str, str] = {
    "kv": "a no-load run with voltage and speed logged, at full throttle",
    "kt": _TORQUE,
    "kt_kv_ratio": _TORQUE,
    "winding_resistance": "a loaded ramp or spin-up with voltage, current and speed logged, "
    "or a measured resistance under [[measurements]]",
    "drag_current_static": "a no-load run at several voltages, or a coast-down",
    "drag_current_slope": "a no-load run at several voltages, or a coast-down",
    "drag_current_windage": "a no-load run at several voltages up to the highest speed, or a coast-down",
    "no_load_current": "a no-load run with current logged, or a coast-down",
    "rotor_inertia": "a no-load run with the start logged at 500 samples a second or more, or throttle steps",
    "saturation_current": "a ramp or spin-up to a much higher current, with thrust or torque logged",
    "braking_share": "a steps run with the throttle stepped down, with current logged",
    "winding_heat_capacity": "a long hold at high current, with winding temperature logged",
    "winding_time_constant": "a long hold at high current, with winding temperature logged",
    "body_heat_capacity": "a hold of several minutes at high current, with winding temperature logged",
    "body_time_constant": "a hold of several minutes at high current, with winding temperature logged",
    "magnet_temperature_coefficient": "no-load runs of the motor cold and hot, with temperature logged",
    "thrust_coefficient": "a ramp or table with propeller {propeller}, with thrust and speed logged",
    "torque_coefficient": "a ramp or table with propeller {propeller}, with torque and speed logged",
    "figure_of_merit": "a ramp or table with propeller {propeller}, with thrust, torque and speed logged",
    "thrust_reynolds_exponent": "a ramp with propeller {propeller} from slow to fast, with thrust logged",
    "torque_reynolds_exponent": "a ramp with propeller {propeller} from slow to fast, with torque logged",
    "prop_inertia": "a steps run with propeller {propeller}, or inertia_kg_m2 in its entry of the campaign",
    "flywheel_inertia": "a weighed and measured flywheel, as inertia_kg_m2 in the campaign",
    "controller_resistance": "its measured resistance with leads, as resistance_ohm under [bench.controller]",
    "duty_slope": "a ramp over the whole throttle range, with throttle, voltage and speed logged",
    "duty_curvature": "a ramp over the whole throttle range, with throttle, voltage and speed logged",
    "duty_cubic": "a ramp over the whole throttle range, with throttle, voltage and speed logged",
    "controller_idle_current": "a run at low throttle with bus current logged",
    "current_limit": "a spin-up or ramp hard enough to reach the controller's limit",
}

# Of a ratio or a calibration nobody can learn more from the same sensors.
_PREFIXES: dict[str, str] = {
    "gain_": "a calibration of the {channel} sensor, as gain_sd under [bench.channels.{channel}]",
    "offset_": "a reading of the {channel} sensor at rest, as offset_sd under [bench.channels.{channel}]",
    "delay_": "a steps run with {channel} logged",
    "lag_": "a steps run with {channel} logged",
    "jump_": "a steps run with {channel} logged",
}


def teacher(name: str, propeller: str | None = None) -> str:
    """Return the run (or measurement) that would teach a parameter, as a noun phrase."""
    phrase = _TEACHERS.get(name)
    if phrase is not None:
        return phrase.format(propeller=propeller or "it")
    for prefix, text in _PREFIXES.items():
        if name.startswith(prefix):
            return text.format(channel=name.removeprefix(prefix))
    return "a direct measurement of it, under [[measurements]]"


def advice(name: str, propeller: str | None = None) -> str:
    """Return the sentence shown beside a parameter that was not learned."""
    return f"Not learned from these runs; what would teach it: {teacher(name, propeller)}."
