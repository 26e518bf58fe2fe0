"""``python -m beside_r [--large] [--runs N] [--only WORDS] [--statsmodels PYTHON]``, run in the folder benchmarks."""

from __future__ import annotations

import argparse

from .running import find_programs
from .telling import tell_beside_r


def main() -> None:
    """Print each figure as it comes."""
    asked = argparse.ArgumentParser(prog="beside_r", description=__doc__)
    asked.add_argument("--large", action="store_true", help="the large cases as well, half an hour more")
    asked.add_argument("--runs", type=int, default=3, help="runs of each program, in turn; the median counts")
    asked.add_argument("--only", default="", help="cases whose name holds these words")
    asked.add_argument("--statsmodels", help="a Python that has statsmodels; without, its cases are left out")
    given = asked.parse_args()
    for says, told in tell_beside_r(given.large, given.runs, find_programs(given.statsmodels), given.only):
        print(f"| {says} | {told} |", flush=True)


if __name__ == "__main__":
    main()
