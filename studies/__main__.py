"""`python -m studies` runs every study; with names, those; with --list, says what there is."""

from __future__ import annotations

import argparse
import ast
import sys
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

from studies.frame import ONLY_DONE, WORK, StudyStopped
from studies.kept import pack
from truekev.errors import TruekevError, UnknownNameError

_NOT_STUDIES = {"__init__", "__main__", "frame", "kept"}


def studies(folder: Path | None = None) -> dict[str, str]:
    """Name and first line of every study: a module here that defines `main`."""
    found: dict[str, str] = {}
    for file in sorted((folder or Path(__file__).parent).glob("*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        has_main = any(isinstance(node, ast.FunctionDef) and node.name == "main" for node in tree.body)
        if file.stem not in _NOT_STUDIES and has_main:
            found[file.stem] = (ast.get_docstring(tree) or "").split("\n\n")[0].replace("\n", " ")
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Run studies; returns 0 done, 1 failed, 2 unknown name, 130 stopped by the person."""
    parser = argparse.ArgumentParser(prog="python -m studies", description="Long runs behind docs/validation.")
    parser.add_argument("names", nargs="*", help="studies to run; all if none is named")
    parser.add_argument("--list", action="store_true", help="list the studies and stop")
    parser.add_argument(
        "--done", action="store_true", help="run nothing: write the pages from the trials that are done"
    )
    parser.add_argument(
        "--keep", action="store_true", help="run nothing: pack the trials that are done into studies/trials"
    )
    options = parser.parse_args(arguments)
    known = studies()
    ONLY_DONE.set(options.done)
    if options.list:
        for name, what in known.items():
            print(f"{name}: {what}")
        return 0
    try:
        for name in options.names:
            if name not in known:
                raise UnknownNameError("study", name, known)
        if options.keep:
            for name in options.names:
                print(pack(WORK, name))
            return 0
        for name in options.names or known:
            print(f"{name}: {known[name]}", file=sys.stderr)
            import_module(f"studies.{name}").main()
    except StudyStopped as stopped:
        print(stopped, file=sys.stderr)
        return 130
    except TruekevError as error:
        print(f"error: {error}", file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
