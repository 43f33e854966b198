"""Fit what propellers have in common to published static tests; write the shipped numbers and a table.

    python -m benchmarks.propeller_geometry [--check]

Reads `propeller_facts.csv` (its sources are named in docs/propellers.md). Writes
`motorfit/answers/propeller_numbers.py` and the table of held-out errors in `docs/propellers.md`; with
--check it writes nothing, and the exit code is 1 where they differ. Takes two minutes.
"""

from __future__ import annotations

import argparse
import math
import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from benchmarks.propeller_readings import SMALL_M, Array, Noise, Tests, read
from motorfit.answers.propeller_kin import Geometry, Model, design
from motorfit.inference.priors import BELIEFS

ROOT = Path(__file__).resolve().parent.parent
NUMBERS = ROOT / "motorfit" / "answers" / "propeller_numbers.py"
PAGE = ROOT / "docs" / "propellers.md"
EACH = ROOT / "docs" / "propellers-held-out.md"
BEGIN = "<!-- Made by benchmarks/propeller_geometry.py: change it there, not here. -->\n"
END = "<!-- End of what benchmarks/propeller_geometry.py makes. -->\n"

# Where log-scales of the readings' noise start, and are held by a weak normal: of large propellers, of small
# ones, and the bend of the power law; each for C_T and C_P.
START_NOISE = np.log([0.015, 0.015, 0.03, 0.05, 0.03, 0.05])
# Coefficients: 14 of the design, then what slow-flight families add to log C_T and logit FM. Weak normals,
# but for blades, of which the tests hold one type with two, three and four: there the belief every fit
# starts from.
WEAK_MEAN = np.array([math.log(0.09), 0.6, 0, 0.6, 0, 0.4, 0, -0.5, 0, 0, 0.08, 0, -0.02, 0, 0.2, 0.1])
WEAK_SD = np.array([0.5, 0.6, 0.6, 0.1, 0.2, 1.0, 0.6, 1.0, 0.3, 0.3, 0.1, 0.1, 0.1, 0.1, 0.3, 0.4])
# Where log-scales of the covariances start, and are held by a weak normal: family, own; for both pairs.
START = np.array([-1.8, 0.0, -1.6, -2.3, 0.0, -1.6, -3.0, 0.0, -3.0, -3.0, 0.0, -3.0])
# Propellers of hovering aircraft are half-way, and may be of either kind.
SLOW_FLIGHT = (0.5, 0.5)


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


def fitted() -> tuple[Tests, Array]:
    """The tests with their readings' noise, and log-scales of families and propellers: all of largest
    marginal posterior, coefficients integrated out.

    One search for both: what a propeller scatters by and what its readings do make up one miss, and how
    readings lie about their power law tells them apart.
    """
    tests = read(Noise.of(START_NOISE))
    keep = np.arange(len(tests.names))
    start = np.concatenate([START, START_NOISE])

    def noisy(logs: Array) -> Tests:
        noise = Noise.of(logs)
        return replace(tests, doubt=np.array([r.doubt(noise) for r in tests.readings]), noise=noise)

    def objective(scales: Array) -> float:
        logs = scales[len(START) :]
        covariance, rows, miss = joint(noisy(logs), keep, scales[: len(START)])
        factor = cho_factor(covariance + rows @ (WEAK_SD[:, None] ** 2 * rows.T), lower=True)
        told = float(0.5 * miss @ cho_solve(factor, miss) + np.log(np.diag(factor[0])).sum())
        noise = Noise.of(logs)
        scatter = sum(r.misfit(noise) for r in tests.readings)
        return told + scatter + 0.02 * float(np.sum((scales - start) ** 2))

    end = minimize(objective, start, method="L-BFGS-B", options={"maxiter": 400, "maxfun": 100_000})
    if not end.success:
        raise SystemExit(f"the search of noise and scatter did not end: {end.message}")
    found = np.asarray(end.x)
    return noisy(found[len(START) :]), found[: len(START)]


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
    noise = tests.noise
    lines += ["", "| one sigma of | log C_T | log C_P |", "|---|---|---|"]
    for name, pair in (
        ("one reading", noise.large), (f"one reading, below {SMALL_M / 0.0254:.0f} inch", noise.small),
        ("the bend of the power law of speed", noise.bend),
    ):  # fmt: skip
        lines.append(f"| {name} | {pair[0]:.3f} | {pair[1]:.3f} |")
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
    tests, scales = fitted()
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
