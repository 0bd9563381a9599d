"""All benches: `python tests/bench/run.py [--short] [--json FILE] [--picture FILE] [name …]`.

Figures that hang on the machine's speed are ratios against a reference measured in the same run.
`--picture` draws how `growth` and `store_age` grow, as far as they ran.
`--short` only shows that every bench works; its figures mean nothing.
"""

import argparse
import importlib
import json
import os
import platform
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
NAMES = sorted(path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py"))


def machine() -> str:
    """Describe the machine in one line."""
    model = platform.processor() or platform.machine()
    return (
        f"{os.cpu_count()} cores, {model}, {platform.system()}, Python {platform.python_version()}"
    )


def number(value: float) -> str:
    """Write a figure with three digits that count."""
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def line(figure: dict[str, Any]) -> str:
    """Write one figure as a row of a Markdown table."""
    sign = "≥" if figure.get("at_least") else "≤"
    goal = "" if figure["goal"] is None else f"{sign} {number(figure['goal'])}"
    met = {None: "", True: "yes", False: "**no**"}[figure["met"]]
    return f"| {figure['name']} | {number(figure['value'])} {figure['unit']} | {goal} | {met} |"


def main() -> int:
    """Run the benches named, or all; exit code 0 whenever they worked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="name", help=", ".join(NAMES))
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--picture", type=Path)
    words = parser.parse_args()
    if unknown := set(words.names) - set(NAMES):
        parser.error(f"no bench {min(unknown)}: there are {', '.join(NAMES)}")
    sys.path[:0] = [str(HERE), str(HERE.parent)]
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # a start that compiles anew is nobody's start
    sys.stdout.write(f"{machine()}\n\n| what | figure | goal | met |\n| --- | --- | --- | --- |\n")
    figures: list[dict[str, Any]] = []
    for name in words.names or NAMES:
        found = importlib.import_module(f"bench_{name}").main(words.short)
        sys.stdout.write("".join(f"{line(row)}\n" for row in found))
        sys.stdout.flush()
        figures += found
    if words.json:
        report = {"machine": machine(), "short": words.short, "figures": figures}
        words.json.write_text(json.dumps(report, indent=1), "utf-8")
    if words.picture:
        drawn = importlib.import_module("bench.growth_picture").picture(figures)
        words.picture.write_text(drawn, "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
