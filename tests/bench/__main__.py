"""`python -m tests.bench [NAME ...]`: every bench, or those named, each as ratios against a floor of the same run.

What follows the first word that begins with `--` is read by the bench itself.
"""

import importlib
import pkgutil
import sys
from pathlib import Path


def main(names: list[str]) -> None:
    found = sorted(module.name for module in pkgutil.iter_modules([str(Path(__file__).parent)]))
    named = names[: next((at for at, word in enumerate(names) if word.startswith("--")), len(names))]
    for name in named or [name for name in found if name not in ("__main__", "timing")]:
        print(f"== {name.replace('_', ' ')}")
        importlib.import_module(f"tests.bench.{name}").main()


main(sys.argv[1:])
