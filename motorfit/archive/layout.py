"""A motor's posterior as the groups of a netCDF file, in the layout of ArviZ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

import motorfit
from motorfit.archive.errors import ArchiveError
from motorfit.archive.netcdf import Attribute, Group, Variable
from motorfit.archive.text import to_attributes
from motorfit.quantities import CHANNELS, PARAMETERS

if TYPE_CHECKING:
    from motorfit.inference.result import MotorPosterior

FORMAT = 1
"""Version of the layout, raised when older files can no longer be read the same way."""

_SAMPLE_DIMS = ("chain", "draw")
_BLOCK_TEXT = {"block_run": "run the block belongs to"}
_BLOCK_TIMES = {
    "block_start_s": "start of the block in its run",
    "block_end_s": "end of the block in its run",
}
# Replicas are kept to a sixteenth of a block's own doubt: below what any check can see, and half the size.
_STEPS_PER_SD = 16.0


def groups_of(posterior: MotorPosterior) -> tuple[Group, ...]:
    """Return the groups of one motor's file.

    Raises
    ------
    ArchiveError
        A parameter is not in the quantities table, has a shape that fits no layout, or holds NaN.
    """
    return (
        _draws_group("posterior", posterior.draws, posterior.propellers),
        _draws_group("prior", posterior.prior, posterior.propellers),
        _statistics_group(posterior.sample_stats),
        _observed_group(posterior.observed),
        _predictive_group(posterior.predictive, posterior.observed),
        _constant_group(posterior.constant),
    )


def _group(
    name: str, variables: tuple[Variable, ...], attributes: Mapping[str, Attribute] | None = None
) -> Group:
    library: dict[str, Attribute] = {
        "inference_library": "motorfit",
        "inference_library_version": motorfit.__version__,
        **(attributes or {}),
    }
    return Group(name, variables, library)


def _index(dim: str, length: int) -> Variable:
    return Variable(dim, (dim,), np.arange(length, dtype=np.int64))


def _sample_indices(first: NDArray[Any]) -> tuple[Variable, Variable]:
    return _index("chain", first.shape[0]), _index("draw", first.shape[1])


def _propeller_index(propellers: tuple[str, ...]) -> Variable:
    return Variable(
        "propeller", ("propeller",), np.array(propellers, dtype=object), {"long_name": "propeller id"}
    )


def _draws_group(name: str, draws: Mapping[str, NDArray[np.float64]], propellers: tuple[str, ...]) -> Group:
    if not draws:
        return _group(name, ())
    first = next(iter(draws.values()))
    coordinates: tuple[Variable, ...] = _sample_indices(first)
    if propellers:
        coordinates += (_propeller_index(propellers),)
    variables = tuple(_parameter(name, key, draws[key], first.shape[:2], propellers) for key in draws)
    return _group(name, coordinates + variables)


def _parameter(
    group: str,
    name: str,
    values: NDArray[np.float64],
    sample_shape: tuple[int, ...],
    propellers: tuple[str, ...],
) -> Variable:
    quantity = PARAMETERS.get(name)
    if quantity is None:
        raise ArchiveError(
            f"{group}: parameter {name!r} is not in the table of quantities, so it has no unit to store."
        )
    dims: tuple[str, ...] = _SAMPLE_DIMS
    expected = tuple(sample_shape)
    if values.ndim == 3:
        dims += ("propeller",)
        expected += (len(propellers),)
    if values.shape != expected:
        raise ArchiveError(
            f"{group}: {name} has shape {values.shape}; {expected} ({', '.join(dims)}) was expected."
        )
    if np.isnan(values).any():
        raise ArchiveError(
            f"{group}: {name} holds {int(np.isnan(values).sum())} draws that are not numbers; not stored."
        )
    # Single precision resolves 6e-8 of a value, a thousandth of the narrowest interval a bench can give.
    attributes = {"units": quantity.unit, "long_name": quantity.meaning, "symbol": quantity.symbol}
    return Variable(name, dims, values.astype(np.float32), attributes)


def _statistics_group(statistics: Mapping[str, NDArray[Any]]) -> Group:
    if not statistics:
        return _group("sample_stats", ())
    first = next(iter(statistics.values()))
    variables = tuple(Variable(name, _SAMPLE_DIMS, _storable(values)) for name, values in statistics.items())
    return _group("sample_stats", _sample_indices(first) + variables)


def _storable(values: NDArray[Any]) -> NDArray[Any]:
    """NetCDF has no truth values; they become bytes of 0 and 1."""
    return values.astype(np.int8) if values.dtype == np.bool_ else values


def _observed_group(observed: Mapping[str, NDArray[Any]]) -> Group:
    if not observed:
        return _group("observed_data", ())
    length = len(next(iter(observed.values())))
    variables = tuple(_block_variable(name, values) for name, values in observed.items())
    return _group("observed_data", (_index("block", length), *variables))


def _block_variable(name: str, values: NDArray[Any]) -> Variable:
    if name in _BLOCK_TEXT:
        return Variable(name, ("block",), values.astype(object), {"long_name": _BLOCK_TEXT[name]})
    if name in _BLOCK_TIMES:
        return Variable(name, ("block",), values, {"units": "s", "long_name": _BLOCK_TIMES[name]})
    channel = CHANNELS.get(name)
    if channel is not None:
        return Variable(
            name, ("block",), values, {"units": channel.unit, "long_name": f"block mean of {name}"}
        )
    channel = CHANNELS.get(name.removesuffix("_sd"))
    if channel is not None:
        meaning = f"one-sigma doubt of the block mean of {channel.name}"
        return Variable(name, ("block",), values, {"units": channel.unit, "long_name": meaning})
    return Variable(name, ("block",), _storable(values))


def _predictive_group(
    predictive: Mapping[str, NDArray[np.float32]], observed: Mapping[str, NDArray[Any]]
) -> Group:
    if not predictive:
        return _group("posterior_predictive", ())
    draws, blocks = next(iter(predictive.values())).shape
    variables = tuple(
        Variable(
            channel,
            ("chain", "draw", "block"),
            _rounded(values, observed.get(f"{channel}_sd"))[np.newaxis],
            {"units": CHANNELS[channel].unit, "long_name": f"replica of the block mean of {channel}"},
        )
        for channel, values in predictive.items()
    )
    return _group(
        "posterior_predictive",
        (_index("chain", 1), _index("draw", draws), _index("block", blocks), *variables),
    )


def _rounded(values: NDArray[np.float32], doubt: NDArray[np.float64] | None) -> NDArray[np.float32]:
    """Round replicas (draw, block) to a power of two near 1/16 of each block's doubt: so they compress."""
    if doubt is None:
        return values.astype(np.float32)
    usable = np.isfinite(doubt) & (doubt > 0.0)
    step = np.exp2(np.floor(np.log2(np.where(usable, doubt, 1.0) / _STEPS_PER_SD)))
    rounded = np.where(usable, np.round(values / step) * step, values)
    return rounded.astype(np.float32)


def _constant_group(constant: Mapping[str, Any]) -> Group:
    """Facts as variables where they are numbers, and all of them once more as one JSON text, `facts`."""
    variables: list[Variable] = []
    for name, value in constant.items():
        if _is_number(value):
            variables.append(Variable(name, (), np.array(float(value))))
    propellers = constant.get("propellers")
    if isinstance(propellers, Mapping) and propellers:
        variables.append(_propeller_index(tuple(propellers)))
        variables += _propeller_columns(propellers)
    return _group("constant_data", tuple(variables), to_attributes({"facts": dict(constant)}))


def _propeller_columns(propellers: Mapping[str, Mapping[str, Any]]) -> Iterator[Variable]:
    units = {"diameter_m": "m", "pitch_m": "m", "blades": "1", "reference_rev_per_s": "1/s", "mass_g": "g"}
    for name, unit in units.items():
        column = [facts.get(name) for facts in propellers.values()]
        if all(_is_number(value) or value is None for value in column):
            values = np.array([np.nan if value is None else float(value) for value in column])
            yield Variable(f"propeller_{name}", ("propeller",), values, {"units": unit})


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float, np.integer, np.floating)) and not isinstance(value, bool)
