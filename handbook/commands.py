"""A page a command, from the command line's own help."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer
from springhouse_host import cli

INDEX = "README.md"


def write(folder: Path) -> list[tuple[str, list[str]]]:
    """Write the pages and return the commands' names by group, in the order of the work."""
    commands = typer.main.get_command(cli.build_app()).commands  # type: ignore[attr-defined]
    groups: dict[str, list[str]] = {}
    for name, command in commands.items():
        groups.setdefault(command.rich_help_panel, []).append(name)
        (folder / f"{name}.md").write_text(page(name, command), "utf-8")
    lines = ["# Commands\n"]
    for group, names in groups.items():
        lines += [f"\n## {group}\n", "| command | does |", "|---|---|"]
        lines += [
            f"| [{name}]({name}.md) | {_cell(_first(commands[name].help))} |" for name in names
        ]
    (folder / INDEX).write_text("\n".join(lines) + "\n", "utf-8")
    return list(groups.items())


def page(name: str, command: Any) -> str:
    """Return a command's page: what it does, its examples, arguments and options."""
    told: list[str] = []
    examples: list[str] = []
    for part in command.help.split("\n\n"):
        begin = re.match(r"Example:\s+(.*)", part, re.S)
        (examples if begin else told).append(begin[1] if begin else _plain(part))
    shown = [param for param in command.params if not param.hidden]
    arguments = [param for param in shown if param.param_type_name == "argument"]
    options = [param for param in shown if param.param_type_name == "option"]
    words = [_word(param) for param in arguments] + (["[OPTIONS]"] if options else [])
    lines = [f"# springhouse {name}\n", *(f"{part}\n" for part in told)]
    lines += ["```text", " ".join(["springhouse", name, *words]), "```\n"]
    if examples:
        lines += ["```text", *(" ".join(example.split()) for example in examples), "```\n"]
    lines += _table("Arguments", arguments)
    lines += _table("Options", options)
    return "\n".join(lines)


def name(param: Any) -> str:
    """Return an argument or option as its page names it."""
    if param.param_type_name == "argument":
        return f"`{_word(param)}`"
    names = ", ".join(f"`{text}`" for text in (*param.opts, *param.secondary_opts))
    return names if param.is_flag or not param.metavar else f"{names} `{param.metavar}`"


def _word(param: Any) -> str:
    word = param.metavar or param.name.upper()
    word = word.strip("[]")
    return (word if param.required else f"[{word}]") + ("..." if param.nargs == -1 else "")


def _table(title: str, params: list[Any]) -> Iterator[str]:
    if not params:
        return
    yield f"## {title}\n"
    yield f"| {title[:-1].lower()} | means |"
    yield "|---|---|"
    for param in params:
        yield f"| {_cell(name(param))} | {_cell(_plain(param.help or ''))}{_default(param)} |"
    yield ""


def _default(param: Any) -> str:
    value = getattr(param.default, "value", param.default)
    if value is None or isinstance(value, bool) or value in ("", [], ()) or callable(value):
        return ""
    return f" Default: `{value}`."


def _first(text: str) -> str:
    return text.partition("\n")[0]


def _plain(text: str) -> str:
    """Return text of the terminal's markup as Markdown: nothing in it is a tag or emphasis."""
    text = re.sub(r"\\\[", "[", text)
    return re.sub(r"([*_<\[\]])", r"\\\1", text)


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")
