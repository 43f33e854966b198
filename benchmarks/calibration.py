"""The page docs/calibration.md: benches that it lacks are made, then tables and figures are written anew.

Usage: python -m benchmarks.calibration [--benches N] [--rank-benches N] [--jobs N] [--seed N] [--draws N]
                                        [--scenario NAME]... [--page-only | --check]
"""

from __future__ import annotations

import argparse
from pathlib import Path

from benchmarks.common import note
from motorfit.calibration.records import read_all
from motorfit.calibration.scenarios import chosen
from motorfit.calibration.study import study
from motorfit.report.calibration_page import calibration_files, write_files

DOCS = Path(__file__).resolve().parent.parent / "docs"
RECORDS = DOCS / "calibration"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--benches", type=int, default=25, help="of each scenario")
    parser.add_argument("--rank-benches", type=int, default=50, help="where truths follow the priors")
    parser.add_argument("--jobs", type=int, default=2, help="processes")
    parser.add_argument("--seed", type=int, default=3000, help="of the first bench; the others follow")
    parser.add_argument("--draws", type=int, default=1600)
    parser.add_argument("--scenario", action="append", default=[], help="all unless told otherwise")
    parser.add_argument("--page-only", action="store_true", help="make no bench")
    parser.add_argument(
        "--check", action="store_true", help="make nothing; say whether the page is up to date"
    )
    options = parser.parse_args()
    if not (options.page_only or options.check):
        # a scenario at a time, those counted by ranks last: what is broken off is whole up to there
        for kind in chosen(options.scenario):
            study(
                [kind],
                RECORDS,
                benches=options.rank_benches if kind.ranks else options.benches,
                seed=options.seed,
                draws=options.draws,
                jobs=options.jobs,
                progress=lambda done, share: note(done),
            )
    files = calibration_files(read_all(RECORDS))
    if options.check:
        old = [name for name, text in files.items() if (DOCS / name).read_text(encoding="utf-8") != text]
        note(f"not what the records say: {', '.join(old)}" if old else "up to date")
        return 1 if old else 0
    write_files(files, DOCS)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
