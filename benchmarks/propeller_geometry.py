"""Fit what propellers have in common to published static tests; write the shipped numbers and a table.

    python -m benchmarks.propeller_geometry [--check]

Reads `propeller_facts.csv` (its sources are named in docs/propellers.md). Writes
`motorfit/answers/propeller_numbers.py` and the table of held-out errors in `docs/propellers.md`; with
--check it writes nothing, and the exit code is 1 where they differ. Takes a few seconds.
"""

from __future__ import annotations

import argparse
import csv
import math
import sys
import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from motorfit.answers.propeller_kin import COMPONENTS, LIKENESS, Geometry, Model, design
from motorfit.inference.priors import BELIEFS

Array = npt.NDArray[np.float64]

ROOT = Path(__file__).resolve().parent.parent
FACTS = Path(__file__).with_name("propeller_facts.csv")
NUMBERS = ROOT / "motorfit" / "answers" / "propeller_numbers.py"
PAGE = ROOT / "docs" / "propellers.md"
EACH = ROOT / "docs" / "propellers-held-out.md"
BEGIN = "<!-- Made by benchmarks/propeller_geometry.py: change it there, not here. -->\n"
END = "<!-- End of what benchmarks/propeller_geometry.py makes. -->\n"

# One reading of C_T and C_P, and how far a power law of speed misses between readings.
READING_SD = (0.02, 0.025)
# Coefficients: 14 of the design, then what slow-flight families add to log C_T and logit FM. Weak normals,
# but for blades, of which the tests hold one type with two, three and four: there the belief every fit
# starts from.
WEAK_MEAN = np.array([math.log(0.09), 0.6, 0, 0.6, 0, 0.4, 0, -0.5, 0, 0, 0.08, 0, -0.02, 0, 0.2, 0.1])
WEAK_SD = np.array([0.5, 0.6, 0.6, 0.1, 0.2, 1.0, 0.6, 1.0, 0.3, 0.3, 0.1, 0.1, 0.1, 0.1, 0.3, 0.4])
# Where log-scales of the covariances start, and are held by a weak normal: family, own; for both pairs.
START = np.array([-1.8, 0.0, -1.6, -2.3, 0.0, -1.6, -3.0, 0.0, -3.0, -3.0, 0.0, -3.0])
# Propellers of hovering aircraft are half-way, and may be of either kind.
SLOW_FLIGHT = (0.5, 0.5)


@dataclass(frozen=True)
class Tests:
    """Components (n, 4), their covariances (n, 4, 4), rows of the design (n, 4, 16), families, names."""

    names: tuple[str, ...]
    families: npt.NDArray[np.str_]
    rows: Array
    values: Array
    doubt: Array
    diameters: Array
    ratios: Array
    blades: Array


def read() -> Tests:
    """Reduce each propeller's readings to its four components where n D² is LIKENESS."""
    with FACTS.open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    names = tuple(dict.fromkeys(line["propeller"] for line in lines))
    found: dict[str, list[Any]] = {k: [] for k in ("family", "row", "value", "doubt", "d", "r", "b")}
    for name in names:
        own = [line for line in lines if line["propeller"] == name]
        first = own[0]
        diameter, pitch = (0.0254 * float(first[k]) for k in ("diameter_in", "pitch_in"))
        blades = int(first["blades"])
        speed = np.array([float(line["speed_rpm"]) / 60.0 for line in own])
        power = np.log(
            [[float(line[k]) for k in ("thrust_coefficient", "power_coefficient")] for line in own]
        )
        basis = np.stack([np.ones(len(own)), np.log(speed * diameter**2 / LIKENESS)], axis=1)
        shape = np.linalg.inv(basis.T @ basis)
        (log_ct, log_cp), (slope_t, slope_q) = shape @ basis.T @ power
        merit = min(math.exp(0.5 * math.log(2 / math.pi) + 1.5 * log_ct - log_cp), 0.9)
        steep = 1.0 / (1.0 - merit)
        turn = np.array([[1, 0, 0, 0], [1.5 * steep, 0, -steep, 0], [0, 1, 0, 0], [0, 0, 0, 1.0]])
        raw = np.zeros((4, 4))
        raw[:2, :2], raw[2:, 2:] = READING_SD[0] ** 2 * shape, READING_SD[1] ** 2 * shape
        row = np.zeros((COMPONENTS, 16))
        row[:, :14] = design(Geometry(diameter, pitch, blades))
        row[0, 14] = row[1, 15] = float(first["slow_flight"])
        made = (first["family"], row, [log_ct, math.log(merit / (1 - merit)), slope_t, slope_q])
        for key, item in zip(
            found, (*made, turn @ raw @ turn.T, diameter, pitch / diameter, blades), strict=True
        ):
            found[key].append(item)
    return Tests(
        names, np.array(found["family"]), np.array(found["row"]), np.array(found["value"]),
        np.array(found["doubt"]), np.array(found["d"]), np.array(found["r"]), np.array(found["b"]),
    )  # fmt: skip


def covariances(scales: Array) -> tuple[Array, Array]:
    """Family's and own covariance (4, 4), each in two blocks: coefficients, exponents."""
    both = np.zeros((2, 4, 4))
    for pair in range(2):
        for kind in range(2):
            a, b, c = scales[6 * pair + 3 * kind : 6 * pair + 3 * kind + 3]
            root = np.array([[math.exp(a), 0.0], [b, math.exp(c)]])
            both[kind, 2 * pair : 2 * pair + 2, 2 * pair : 2 * pair + 2] = root @ root.T
    return both[0], both[1]


def joint(tests: Tests, keep: npt.NDArray[np.intp], scales: Array) -> tuple[Array, Array, Array]:
    """Covariance of the kept values, their design, their misses from the weak mean."""
    family, own = covariances(scales)
    names = tests.families[keep]
    covariance = np.kron((names[:, None] == names[None, :]).astype(float), family)
    for place, index in enumerate(keep):
        part = slice(4 * place, 4 * place + 4)
        covariance[part, part] += own + tests.doubt[index]
    rows = tests.rows[keep].reshape(-1, 16)
    return covariance, rows, tests.values[keep].ravel() - rows @ WEAK_MEAN


def fitted(tests: Tests) -> Array:
    """Log-scales of largest marginal posterior, coefficients integrated out."""
    keep = np.arange(len(tests.names))

    def objective(scales: Array) -> float:
        covariance, rows, miss = joint(tests, keep, scales)
        factor = cho_factor(covariance + rows @ (WEAK_SD[:, None] ** 2 * rows.T), lower=True)
        hold = 0.02 * float(np.sum((scales - START) ** 2))
        return float(0.5 * miss @ cho_solve(factor, miss) + np.log(np.diag(factor[0])).sum()) + hold

    return np.asarray(minimize(objective, START, method="L-BFGS-B", options={"maxiter": 60}).x)


def predicted(
    tests: Tests, keep: npt.NDArray[np.intp], scales: Array, index: int, *, same_family: bool
) -> tuple[Array, Array]:
    """Mean and covariance of a propeller's components from the kept ones."""
    family, own = covariances(scales)
    covariance, rows, miss = joint(tests, keep, scales)
    spread = WEAK_SD[:, None] ** 2
    row = tests.rows[index]
    alike = (tests.families[keep] == tests.families[index]).astype(float) * float(same_family)
    cross = row @ (spread * rows.T) + np.kron(alike[None, :], family)
    gain = np.linalg.solve(covariance + rows @ (spread * rows.T), cross.T).T
    left = row @ (spread * row.T) + family + own - gain @ cross.T + tests.doubt[index]
    return row @ WEAK_MEAN + gain @ miss, left


def coefficients(tests: Tests, scales: Array) -> tuple[Array, Array]:
    """Posterior mean (16,) and covariance of the coefficients."""
    covariance, rows, miss = joint(tests, np.arange(len(tests.names)), scales)
    solved = np.linalg.solve(covariance, np.concatenate([rows, miss[:, None]], axis=1))
    left: Array = np.asarray(
        np.linalg.inv(rows.T @ solved[:, :-1] + np.diag(WEAK_SD**-2.0)), dtype=np.float64
    )
    return WEAK_MEAN + left @ (rows.T @ solved[:, -1]), left


def shipped(tests: Tests, scales: Array) -> Model:
    """Mean and covariance of 14 coefficients and a library's four common shifts, and the own covariance.

    A library's propellers may be of slow flight or not: that, the scatter of families, and the belief that
    every fit starts from make the prior of the shifts. The belief counts as one more family, tested to its
    own spread.
    """
    family, own = covariances(scales)
    centre, doubt = coefficients(tests, scales)
    mean, covariance = np.zeros(18), np.zeros((18, 18))
    mean[:14], covariance[:14, :14] = centre[:14], doubt[:14, :14]
    covariance[14:, 14:] = family
    slow = np.zeros((18, 2))
    slow[:14] = doubt[:14, 14:]
    half, spread = SLOW_FLIGHT
    mean[14:16] = half * centre[14:]
    covariance[14:16, 14:16] += (half**2 + spread**2) * doubt[14:, 14:] + spread**2 * np.outer(
        centre[14:], centre[14:]
    )
    covariance[:14, 14:16] = half * doubt[:14, 14:]
    covariance[14:16, :14] = covariance[:14, 14:16].T
    row = np.concatenate([design(Geometry(0.1778, 0.45 * 0.1778, 2)), np.eye(4)], axis=1)
    names = ("thrust_coefficient", "figure_of_merit", "thrust_reynolds_exponent", "torque_reynolds_exponent")
    beliefs = [BELIEFS[name] for name in names]
    told = np.array([b.center for b in beliefs])
    told[0], told[1] = math.log(told[0]), math.log(told[1] / (1.0 - told[1]))
    noise = np.diag([b.spread**2 for b in beliefs])
    gain = np.linalg.solve(row @ covariance @ row.T + noise, row @ covariance).T
    return Model(mean + gain @ (told - row @ mean), covariance - gain @ (row @ covariance), own)


def page(tests: Tests, scales: Array) -> str:
    """What stands between the marks on the page."""
    from benchmarks.propeller_held_out import held_out, libraries

    family, own = covariances(scales)
    centre, doubt = coefficients(tests, scales)
    widest = f"{len(tests.names)} propellers of {len(set(tests.families.tolist()))} families"
    lines = [f"{widest}, {39.37 * tests.diameters.min():.1f} to {39.37 * tests.diameters.max():.0f} inch.\n"]
    lines += [
        "| coefficient | of log C_T | of logit FM |", "|---|---|---|",
    ]  # fmt: skip
    names = ("centre", "log of pitch ratio/0.5", "its square", "log of blades/2", "log of diameter/0.2 m")
    for k, name in enumerate((*names, "slow flight")):
        a, b = (k, 5 + k) if k < 5 else (14, 15)
        text = [f"{centre[i]:.2f} ± {math.sqrt(doubt[i, i]):.2f}" for i in (a, b)]
        lines.append(f"| {name} | {text[0]} | {text[1]} |")
    for name, part in (("scatter of families", family), ("scatter within a family", own)):
        lines.append(f"| {name} | {math.sqrt(part[0, 0]):.3f} | {math.sqrt(part[1, 1]):.3f} |")
    return (
        BEGIN
        + "\n"
        + "\n".join([*lines, "", *held_out(tests, scales), "", *libraries(tests, scales)])
        + "\n\n"
        + END
    )


def numbers(tests: Tests, scales: Array) -> str:
    """The module of shipped numbers."""
    model = shipped(tests, scales)

    def text(array: Array) -> str:
        flat = ", ".join(f"{v:.5g}" for v in array.ravel())
        lines = textwrap.wrap(flat, 100, break_long_words=False, break_on_hyphens=False)
        shape = "" if array.ndim == 1 else f".reshape({array.shape[0]}, {array.shape[1]})"
        body = "".join(f"        {line}\n" for line in lines)
        return f"np.array(\n    [\n{body}    ]\n){shape}"

    head = "Numbers of what propellers have in common, fitted to published static tests: docs/propellers.md."
    made = "Made by benchmarks/propeller_geometry.py: change it there, not here."
    return f'''"""{head}

{made}
"""

from __future__ import annotations

import numpy as np

# fmt: off
# 14 coefficients of the design (`propeller_kin.design`), then the four shifts a library has in common.
PRIOR_MEAN = {text(model.mean)}
PRIOR_COVARIANCE = {text(model.covariance)}
# Scatter of one propeller about its family.
OWN_COVARIANCE = {text(model.own)}
# fmt: on
'''


def main() -> int:
    """Write, or compare."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--check", action="store_true", help="write nothing; exit code 1 where they differ")
    check = parser.parse_args().check
    tests = read()
    scales = fitted(tests)
    stands = PAGE.read_text(encoding="utf-8")
    before, rest = stands.split(BEGIN, 1)
    from benchmarks.propeller_held_out import by_propeller

    made = {
        PAGE: before + page(tests, scales) + rest.split(END, 1)[1],
        EACH: by_propeller(tests, scales),
        NUMBERS: numbers(tests, scales),
    }
    differ = [path.name for path, new in made.items() if not path.exists() or path.read_text("utf-8") != new]
    if check:
        if differ:
            print(f"{', '.join(differ)}: run python -m benchmarks.propeller_geometry", file=sys.stderr)
        return int(bool(differ))
    for path, new in made.items():
        path.write_text(new, encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
