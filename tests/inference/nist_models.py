"""The nonlinear regression problems of NIST's Statistical Reference Datasets: data, models, certified values.

https://www.itl.nist.gov/div898/strd/nls/nls_main.shtml; the files in `nist/` are NIST's own, public domain.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Model = Callable[[Array, Array], Array]


@dataclass(frozen=True)
class Problem:
    """One problem.

    `model(b, x)` takes parameters (..., p) and gives (..., n); `y` is the logarithm for Nelson.
    """

    name: str
    level: str
    model: Model
    x: Array
    y: Array
    starts: tuple[Array, Array]
    value: Array
    error: Array
    residual_sd: float
    freedom: int


def _parts(b: Array) -> tuple[Array, ...]:
    return tuple(b[..., i, None] for i in range(b.shape[-1]))


def _rational(up: int, down: int) -> Model:
    def model(b: Array, x: Array) -> Array:
        c = _parts(b)
        top = sum((c[i] * x**i for i in range(up)), start=0.0 * x)
        return np.asarray(top / (1.0 + sum(c[up + i] * x ** (i + 1) for i in range(down))))

    return model


def _decays(b: Array, x: Array) -> Array:
    c = _parts(b)
    return np.asarray(sum(c[i] * np.exp(-c[i + 1] * x) for i in (0, 2, 4)))


def _gauss(b: Array, x: Array) -> Array:
    c = _parts(b)
    peaks = sum(c[i] * np.exp(-((x - c[i + 1]) ** 2) / c[i + 2] ** 2) for i in (2, 5))
    return np.asarray(c[0] * np.exp(-c[1] * x) + peaks)


def _enso(b: Array, x: Array) -> Array:
    c = _parts(b)
    year = 2.0 * np.pi * x / 12.0
    out = c[0] + c[1] * np.cos(year) + c[2] * np.sin(year)
    for i in (3, 6):
        out = out + c[i + 1] * np.cos(2.0 * np.pi * x / c[i]) + c[i + 2] * np.sin(2.0 * np.pi * x / c[i])
    return np.asarray(out)


def _of(formula: Callable[..., Array]) -> Model:
    return lambda b, x: np.asarray(formula(x, *_parts(b)))


_MODELS: dict[str, Model] = {
    "Bennett5": _of(lambda x, a, b, c: a * (b + x) ** (-1.0 / c)),
    "BoxBOD": _of(lambda x, a, b: a * (1.0 - np.exp(-b * x))),
    "Chwirut1": _of(lambda x, a, b, c: np.exp(-a * x) / (b + c * x)),
    "Chwirut2": _of(lambda x, a, b, c: np.exp(-a * x) / (b + c * x)),
    "DanWood": _of(lambda x, a, b: a * x**b),
    "ENSO": _enso,
    "Eckerle4": _of(lambda x, a, b, c: a / b * np.exp(-0.5 * ((x - c) / b) ** 2)),
    "Gauss1": _gauss,
    "Gauss2": _gauss,
    "Gauss3": _gauss,
    "Hahn1": _rational(4, 3),
    "Kirby2": _rational(3, 2),
    "Lanczos1": _decays,
    "Lanczos2": _decays,
    "Lanczos3": _decays,
    "MGH09": _of(lambda x, a, b, c, d: a * (x**2 + x * b) / (x**2 + x * c + d)),
    "MGH10": _of(lambda x, a, b, c: a * np.exp(b / (x + c))),
    "MGH17": _of(lambda x, a, b, c, d, e: a + b * np.exp(-x * d) + c * np.exp(-x * e)),
    "Misra1a": _of(lambda x, a, b: a * (1.0 - np.exp(-b * x))),
    "Misra1b": _of(lambda x, a, b: a * (1.0 - (1.0 + b * x / 2.0) ** -2.0)),
    "Misra1c": _of(lambda x, a, b: a * (1.0 - (1.0 + 2.0 * b * x) ** -0.5)),
    "Misra1d": _of(lambda x, a, b: a * b * x / (1.0 + b * x)),
    "Nelson": lambda b, x: np.asarray(
        b[..., 0, None] - b[..., 1, None] * x[:, 0] * np.exp(-b[..., 2, None] * x[:, 1])
    ),
    "Rat42": _of(lambda x, a, b, c: a / (1.0 + np.exp(b - c * x))),
    "Rat43": _of(lambda x, a, b, c, d: a / (1.0 + np.exp(b - c * x)) ** (1.0 / d)),
    "Roszman1": _of(lambda x, a, b, c, d: a - b * x - np.arctan(c / (x - d)) / np.pi),
    "Thurber": _rational(4, 3),
}
NAMES = tuple(_MODELS)


def problem(name: str) -> Problem:
    """Read one problem; in these files line numbers carry the meaning."""
    lines = (Path(__file__).parent / "nist" / f"{name}.dat").read_text(encoding="ascii").splitlines()
    rows = [line.split("=")[1].split() for line in lines[40:58] if line.strip().startswith("b")]
    table = np.array(rows, dtype=np.float64)
    stated = {k.strip(): v.strip() for k, _, v in (line.partition(":") for line in lines[40:58]) if v.strip()}
    data = np.array([line.split() for line in lines[60:] if line.strip()], dtype=np.float64)
    level = next(line for line in lines if "Level of Difficulty" in line).split()[0].lower()
    x = data[:, 1] if data.shape[1] == 2 else data[:, 1:]
    y = np.log(data[:, 0]) if name == "Nelson" else data[:, 0]
    return Problem(
        name, level, _MODELS[name], x, y, (table[:, 0], table[:, 1]), table[:, 2], table[:, 3],
        float(stated["Residual Standard Deviation"]), y.size - table.shape[0],
    )  # fmt: skip
