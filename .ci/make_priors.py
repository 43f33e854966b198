"""Write the table of priors in docs/inference.md from `motorfit.inference.priors.BELIEFS`.

Usage: python .ci/make_priors.py [--check]

With --check nothing is written, and the exit code is 1 where the page and the table differ.
"""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path

from motorfit.inference.priors import BELIEFS, VERSION, Belief

PAGE = Path(__file__).resolve().parent.parent / "docs" / "inference.md"
BEGIN = "<!-- Made by .ci/make_priors.py from motorfit.inference.priors: change it there, not here. -->\n"
END = "<!-- End of what .ci/make_priors.py makes. -->\n"

# How a row is used where it is neither a normal nor a lognormal density of the quantity named.
FORMS = {
    "kv_labelled": "Student-t of the logarithm, 4 degrees of freedom, scale {spread:.3g}",
    "figure_of_merit": "logit-normal, one sigma {spread:.3g} of the logit",
    "row_scatter": "inverse gamma of the variance, about ×/÷ {factor:.3g}",
    "saturation_current": "half-normal of 1/I_s², scale 1/centre²",
    "winding_heat_capacity": "half-normal of what a watt warms it in 4 s, scale that of the centre",
    "body_heat_capacity": "half-normal of what a watt warms it in 10 s, scale that of the centre",
    "controller_idle_current": "half none at all, half half-normal, scale the centre",
    "start_warmth": "Student-t, 4 degrees of freedom, scale {spread:.3g}",
    "lag": "lognormal about what the logs show, ×/÷ 1.5; else exactly 0",
    "jump": "normal, one sigma {spread:.3g}, of a slow channel; else exactly 0",
    "delay": "normal about what the logs show, one sigma {spread:.3g}; else exactly 0",
}


def form(name: str, belief: Belief) -> str:
    """Density of a row in words."""
    if name in FORMS:
        return FORMS[name].format(spread=belief.spread, factor=math.exp(belief.spread))
    if belief.spread == 0.0:
        return "exact"
    if belief.log:
        return f"lognormal, ×/÷ {math.exp(belief.spread):.4g}"
    return f"normal, one sigma {belief.spread:.3g}"


def table() -> str:
    """The rows, with what stands around them."""
    lines = [
        f"Version {VERSION} of the table.\n",
        "| name | centre | unit | density | rests on |",
        "|---|---|---|---|---|",
    ]
    lines += [f"| `{n}` | {b.center:.4g} | {b.unit} | {form(n, b)} | {b.why} |" for n, b in BELIEFS.items()]
    return BEGIN + "\n" + "\n".join(lines) + "\n\n" + END


def page(text: str) -> str:
    """The page with its table made anew; `text` is the page as it stands."""
    before, rest = text.split(BEGIN, 1)
    return before + table() + rest.split(END, 1)[1]


def main() -> int:
    """Write the page, or compare."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--check", action="store_true", help="write nothing; exit code 1 where they differ")
    options = parser.parse_args()
    stands = PAGE.read_text(encoding="utf-8")
    if BEGIN not in stands or END not in stands:
        print(
            f"{PAGE.name} has lost the lines that enclose the table of priors; put them back.",
            file=sys.stderr,
        )
        return 1
    made = page(stands)
    if not options.check:
        PAGE.write_text(made, encoding="utf-8")
        return 0
    if made != stands:
        print(
            f"{PAGE.name} is not what the table of priors says; run: python .ci/make_priors.py",
            file=sys.stderr,
        )
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
