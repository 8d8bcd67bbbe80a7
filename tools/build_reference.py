"""Writes docs/reference from the program itself: commands, files, the book, data tables, and the Python interface.

Run by `make docs`. Nothing of it is kept in the repository, so it cannot fall behind the program.
"""

from __future__ import annotations

import dataclasses
import inspect
import pkgutil
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from importlib import import_module, resources
from pathlib import Path
from types import ModuleType
from typing import Any

import typer
from pydantic import BaseModel

import truekev
from truekev import errors
from truekev.cli.app import app

ROOT = Path(__file__).resolve().parent.parent
TARGET = ROOT / "docs" / "reference"
# Rooms without an interface for Python code: one prints, one serves pages.
_NO_INTERFACE = ("cli", "web")
_SECTION = re.compile(
    r"^(Parameters|Returns|Yields|Raises|Notes|References|Attributes|Examples)\n-+\n", flags=re.MULTILINE
)


def _table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    lines = [list(head), *([cell.replace("|", "\\|").replace("\n", " ") for cell in row] for row in rows)]
    body = ["| " + " | ".join(line) + " |" for line in lines]
    return "\n".join([body[0], "|" + " --- |" * len(lines[0]), *body[1:]])


def _plain(text: str) -> str:
    """Prose of the program as Markdown: nothing in it is markup but backticks."""
    parts = re.split(r"(`[^`]*`)", text)
    return "".join(part if part.startswith("`") else re.sub(r"([<*\[\]])", r"\\\1", part) for part in parts)


# Commands


def _commands(group: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from _commands(command, (*path, name))
        else:
            yield (*path, name), command


def _parameter(parameter: Any) -> tuple[str, str]:
    """How a parameter is written, and what it says."""
    metavar = parameter.metavar or ""
    said = parameter.help or ""
    if parameter.param_type_name == "argument":
        return f"`{metavar or parameter.name.upper()}`", said
    flag = bool(getattr(parameter, "is_flag", False))
    written = ", ".join(f"`{option}`" for option in parameter.opts)
    if not flag:
        written += f" `{metavar or 'VALUE'}`"
    notes = ["required"] if parameter.required else []
    if parameter.multiple:
        notes.append("may be given several times")
    default = parameter.default
    if not flag and not parameter.required and isinstance(default, str | int | float) and default != "":
        notes.append(f"default `{default}`")
    if parameter.envvar:
        notes.append(f"or the environment variable `{parameter.envvar}`")
    return written, said + (f" ({'; '.join(notes)})" if notes else "")


def commands_page() -> str:
    """Every command with its arguments and options."""
    rows = sorted({(kind.exit_code, kind.__name__, inspect.getdoc(kind) or "") for kind in _error_kinds()})
    parts = [
        "# Commands",
        "`truekev COMMAND --help` prints the same. Every command has `--json`, which prints the figures for a "
        "program, with the names of the Python fields. Nothing is written when a command ends with 2 or 3.",
        "**Exit codes.** 0: done. Otherwise by the kind of error:",
        _table(("code", "error", "what it means"), ((str(code), f"`{name}`", _plain(doc)) for code, name, doc in rows)),
    ]
    for path, command in _commands(typer.main.get_command(app)):
        told, *examples = re.split(r"Examples?:", command.help or "")
        name = " ".join(("truekev", *path))
        arguments = [p for p in command.params if p.param_type_name == "argument"]
        parts += [f"## {name}", _plain(" ".join(told.split()))]
        usage = " ".join([name, *(p.metavar or p.name.upper() for p in arguments)])
        parts.append(f"```\n{usage} [options]\n```")
        if examples:
            lines = (" ".join(one.split()).removesuffix(".") for part in examples for one in part.split(";"))
            parts.append("For example:\n\n```\n" + "\n".join(lines) + "\n```")
        shown = [_parameter(p) for p in command.params if not getattr(p, "hidden", False)]
        if shown:
            parts.append(_table(("", "what"), ((written, _plain(said)) for written, said in shown)))
    return "\n\n".join(parts) + "\n"


def _error_kinds() -> list[type[errors.TruekevError]]:
    return [
        kind
        for kind in vars(errors).values()
        if inspect.isclass(kind) and issubclass(kind, errors.TruekevError) and kind is not errors.TruekevError
    ]


# Files and the book, from the models that check them


def _kind_of(schema: Mapping[str, Any]) -> str:
    """A field's kind in words, from its JSON schema."""
    if "enum" in schema:
        return ", ".join(f"`{value}`" for value in schema["enum"])
    if "const" in schema:
        return f"`{schema['const']}`"
    if "$ref" in schema:
        return f"table {schema['$ref'].rsplit('/', 1)[-1].strip('_')}"
    if "anyOf" in schema:
        kinds = [_kind_of(one) for one in schema["anyOf"] if one.get("type") != "null"]
        return " or ".join(dict.fromkeys(kinds))
    if schema.get("type") == "array":
        items = schema.get("items") or (schema.get("prefixItems") or [{}])[0]
        return f"list of {_kind_of(items)}"
    if schema.get("type") == "object":
        values = schema.get("additionalProperties")
        return f"table of name = {_kind_of(values)}" if isinstance(values, Mapping) else "table"
    words = {"number": "number", "integer": "whole number", "string": "text", "boolean": "true or false"}
    kind = {"date": "date", "date-time": "date and time", "time": "time"}.get(
        schema.get("format", ""), words.get(schema.get("type", ""), "value")
    )
    signs = {"minimum": "≥", "exclusiveMinimum": ">", "maximum": "≤", "exclusiveMaximum": "<"}
    limits = [f"{sign} {schema[key]:g}" for key, sign in signs.items() if key in schema]
    return kind + (f", {', '.join(limits)}" if limits else "")


def _default(field: Mapping[str, Any], name: str, required: Iterable[str]) -> str:
    if name in required:
        return "**needed**"
    default = field.get("default")
    if default is None or default == "" or isinstance(default, dict | list):
        return ""
    return f"`{str(default).lower() if isinstance(default, bool) else default}`"


def _fields_of(schema: Mapping[str, Any]) -> str:
    required = schema.get("required", ())
    return _table(
        ("field", "kind", "if left out"),
        (
            (f"`{name}`", _kind_of(field), _default(field, name, required))
            for name, field in schema.get("properties", {}).items()
        ),
    )


def _model(model: type[BaseModel], level: str) -> list[str]:
    """Tables of a model's fields, its inner tables after it."""
    schema = model.model_json_schema(by_alias=True)
    parts = [_fields_of(schema)]
    for name, inner in schema.get("$defs", {}).items():
        if inner.get("type") != "object":
            continue
        parts.append(f"{level} {name.strip('_')}")
        if inner.get("description"):
            parts.append(_plain(" ".join(inner["description"].split("\n\n")[0].split())))
        parts.append(_fields_of(inner))
    return parts


def files_page() -> str:
    """Files that a person writes, with their templates, and files that the program writes."""
    from truekev.bench.readings import READING_KEYS
    from truekev.bench.settings import BatchSettings, batch_template
    from truekev.scale.energy_scale import _ScaleModel
    from truekev.sources.settings import _SourceFile
    from truekev.sources.template import source_template
    from truekev.spectra import columns, n42
    from truekev.transport.detector import _DetectorFile, detector_template

    parts = [
        "# Files",
        "Files that a person writes are TOML; `truekev new batch`, `new source` and `new detector` print a commented "
        "template. A wrong field is named with file and line. Units stand in the names.",
    ]
    written: tuple[tuple[str, str, str, type[BaseModel]], ...] = (
        ("A batch", "batch", batch_template(), BatchSettings),
        ("A source", "source", source_template(), _SourceFile),
        ("A detector", "detector", detector_template(), _DetectorFile),
    )
    for title, word, template, model in written:
        parts += [f"## {title}", f"`truekev new {word}` prints:", f"```toml\n{template.rstrip()}\n```"]
        parts += _model(model, "###")
    parts += [
        "## Readings of a run",
        "`truekev note BATCH.toml current=1.4` appends to `BATCH.readings.csv`; a logger's file has the same columns, "
        "separated by commas, semicolons or tabs, with `time` as ISO 8601 or as seconds. Empty fields are allowed.",
        _table(
            ("word of `note`", "column", "unit", "range"),
            (
                (f"`{key}`", f"`{column}`", _plain(unit), f"{lowest:g} to {highest:g}")
                for key, (column, unit, lowest, highest) in READING_KEYS.items()
            ),
        ),
        "## Spectra in plain columns",
        docstring_markdown(columns.__doc__),
        "## Spectra in ANSI/IEEE N42.42",
        docstring_markdown(n42.__doc__),
        "## A scale",
        "`truekev calibrate --out scale.json` and `truekev relock --out` write JSON:",
        *_model(_ScaleModel, "###"),
    ]
    return "\n\n".join(parts) + "\n"


def book_page() -> str:
    """The kinds of record in the book."""
    from truekev.book.body import Body
    from truekev.book.kinds import KINDS

    common = Body.model_json_schema().get("properties", {})
    parts = [
        "# The bench book",
        "One file, SQLite. Records are appended and superseded, never overwritten. `truekev book export` writes all of "
        "it as plain files, `truekev book import` makes the same book again. `truekev book add KIND FILE.toml` takes "
        "the fields below.",
        "Every kind has: " + ", ".join(f"`{name}`" for name in common) + ".",
    ]
    for kind, model in KINDS.items():
        parts += [f"## {kind}", docstring_markdown(model.__doc__), *_model(model, "###")]
    return "\n\n".join(parts) + "\n"


def tables_page() -> str:
    """The data tables with their provenance."""
    parts = [
        "# Data tables",
        "The files of `src/truekev/tables`, from the provenance beside each. Scripts in `tools/` rebuild them.",
    ]
    for entry in sorted(resources.files("truekev.tables").iterdir(), key=lambda one: one.name):
        if not entry.name.endswith(".provenance.toml"):
            continue
        facts = tomllib.loads(entry.read_text(encoding="utf-8"))
        name = entry.name.removesuffix(".provenance.toml")
        parts += [f"## {name}", _table(("", ""), ((key, _plain(str(value))) for key, value in facts.items()))]
    return "\n\n".join(parts) + "\n"


# The Python interface


def docstring_markdown(text: str | None) -> str:
    """A docstring in the numpy style as Markdown."""
    pieces = _SECTION.split(inspect.cleandoc(text or ""))
    parts = [_plain(pieces[0].strip())]
    for name, body in zip(pieces[1::2], pieces[2::2], strict=True):
        if name in ("Parameters", "Returns", "Yields", "Raises", "Attributes"):
            parts.append(f"**{name}**\n\n{_entries(body)}")
        else:
            parts.append(f"**{name}.** {_plain(body.strip())}")
    return "\n\n".join(part for part in parts if part)


def _entries(body: str) -> str:
    entries: list[list[str]] = []
    for line in body.strip("\n").splitlines():
        if line and not line[0].isspace():
            entries.append([line.strip()])
        elif line.strip() and entries:
            entries[-1].append(line.strip())
    return "\n".join(f"- `{head}`" + (f": {_plain(' '.join(rest))}" if rest else "") for head, *rest in entries)


def public_modules() -> list[ModuleType]:
    """Modules that say what they offer, in the order of their names."""
    found = []
    for info in pkgutil.walk_packages(truekev.__path__, "truekev."):
        room = info.name.split(".")[1]
        if room in _NO_INTERFACE or info.name.endswith("__main__") or ".migrations" in info.name:
            continue
        module = import_module(info.name)
        if getattr(module, "__all__", None):
            found.append(module)
    return found


def _signature(name: str, thing: Any) -> str:
    try:
        signature = re.sub(r"ForwardRef\((.*?)\)", r"\1", str(inspect.signature(thing))).replace("'", "")
    except (TypeError, ValueError):
        return name
    text = f"{name}{signature}"
    if len(text) <= 100:
        return text
    inside, _, after = text.partition("(")[2].rpartition(")")
    return f"{name}(\n    " + re.sub(r", (?=[*\w]+:|\*,)", ",\n    ", inside) + f"\n){after}"


def _object(name: str, thing: Any) -> list[str]:
    parts = [f"### {name}"]
    if inspect.isclass(thing) and issubclass(thing, BaseModel):
        return [*parts, docstring_markdown(thing.__doc__), _fields_of(thing.model_json_schema(by_alias=True))]
    if inspect.isclass(thing) and dataclasses.is_dataclass(thing):
        rows = ((f"`{field.name}`", f"`{field.type}`") for field in dataclasses.fields(thing))
        return [*parts, docstring_markdown(thing.__doc__), _table(("field", "type"), rows)]
    if inspect.isclass(thing) or inspect.isroutine(thing) or callable(thing):
        return [*parts, f"```python\n{_signature(name, thing)}\n```", docstring_markdown(inspect.getdoc(thing))]
    shown = repr(thing)
    return [*parts, f"`{shown}`"] if len(shown) <= 200 and "\n" not in shown else [*parts, f"A {type(thing).__name__}."]


def python_pages() -> dict[str, str]:
    """One page per room, by its name."""
    rooms: dict[str, list[str]] = {}
    for module in public_modules():
        words = module.__name__.split(".")
        is_room = hasattr(module, "__path__") or len(words) > 2
        room = words[1] if is_room else "foundation"
        if room not in rooms:
            said = import_module(f"truekev.{room}").__doc__ if is_room else "What every room may use."
            rooms[room] = [f"# truekev.{room}" if is_room else "# Foundation", docstring_markdown(said)]
        rooms[room] += [f"## {module.__name__}", docstring_markdown(module.__doc__)]
        for name in sorted(module.__all__, key=str.lower):
            rooms[room] += _object(name, getattr(module, name))
    return {room: "\n\n".join(part for part in parts if part) + "\n" for room, parts in rooms.items()}


def pages() -> dict[str, str]:
    """All pages of the reference, by path below docs/reference."""
    python = python_pages()
    listed = "\n".join(f"python/{room}" for room in sorted(python))
    index = (
        "# Python interface\n\nEverything the commands and the web application do, the library does: they call "
        "functions of `truekev.job`, which joins the rooms below it.\n\n"
        f"```{{toctree}}\n:maxdepth: 1\n\n{listed}\n```\n"
    )
    return {
        "commands.md": commands_page(),
        "files.md": files_page(),
        "book.md": book_page(),
        "tables.md": tables_page(),
        "python.md": index,
        **{f"python/{room}.md": text for room, text in python.items()},
    }


def main() -> None:
    """Write all pages."""
    for name, text in pages().items():
        path = TARGET / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    print(f"written: {len(pages())} pages in {TARGET.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
