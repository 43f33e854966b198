"""The registry of what is looked for in logs.

A detector of one run takes (campaign, log), one of a whole campaign takes (campaign, logs); each returns its
findings and knows nothing of the others. To look for another thing, write a function and add it here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from motorfit.bench.campaign import Campaign
from motorfit.bench.findings import Finding
from motorfit.bench.logs import RunLog
from motorfit.bench.look_clock import leaps, time_slip
from motorfit.bench.look_limit import unstated_limit
from motorfit.bench.look_plausible import efficiency, figure_of_merit, thrust_coefficient
from motorfit.bench.look_poles import pole_count, speeds_contradict
from motorfit.bench.look_signals import channels_stop, gaps, repeated_logs, saturation, spikes
from motorfit.bench.look_starts import starts_again, supply_sags
from motorfit.bench.look_swapped import not_fitted, swapped
from motorfit.bench.look_tare import tare_drifted, tare_moved
from motorfit.bench.look_timing import late_channels, uneven_sampling
from motorfit.bench.look_units import (
    current_or_voltage,
    flywheel_energy,
    no_load_current,
    torque_coefficient,
)
from motorfit.bench.look_wiring import missing_channels, signs

RunDetector = Callable[[Campaign, RunLog], Iterable[Finding]]
CampaignDetector = Callable[[Campaign, Sequence[RunLog]], Iterable[Finding]]

RUN_DETECTORS: tuple[RunDetector, ...] = (
    missing_channels,
    time_slip,
    leaps,
    gaps,
    uneven_sampling,
    starts_again,
    supply_sags,
    tare_drifted,
    spikes,
    saturation,
    channels_stop,
    signs,
    swapped,
    efficiency,
    thrust_coefficient,
    figure_of_merit,
    torque_coefficient,
    current_or_voltage,
    flywheel_energy,
    unstated_limit,
    not_fitted,
)
CAMPAIGN_DETECTORS: tuple[CampaignDetector, ...] = (
    pole_count,
    speeds_contradict,
    no_load_current,
    repeated_logs,
    late_channels,
    tare_moved,
)
