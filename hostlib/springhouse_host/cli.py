"""The command line: `springhouse COMMAND ...`.

Each module in ``commands`` adds its command by a function ``register(app)``; a new file there is
all it takes. Their heavy imports belong inside the functions, so that `--help` answers at once.
"""

import contextlib
import inspect
import os
import re
import signal
import sys
from collections.abc import Sequence
from importlib import import_module
from pkgutil import iter_modules

import typer
from typer.core import TyperOption

from . import commands
from .errors import (
    EXIT_BAD_INPUT,
    EXIT_INTERNAL,
    EXIT_INTERRUPTED,
    EXIT_NOT_KEPT,
    EXIT_SIGNAL,
    KnownError,
)

ABOUT = """Prove, size and run a home-built chilled-water cold store.

A sealed chest freezer full of water is chilled when power is cheap; its cold is pumped through a
small coil into a room that is too warm. SITE is a site file (TOML), or the word of a built-in one:
demo, demo-hard, bedroom-night, round-the-clock, power-cut, rented-room, humid-coast, cold-cellar,
den-120v.

First steps:  springhouse new my-store  |  springhouse size my-store/site.toml

Completion by the Tab key:  springhouse --install-completion
"""

# In the order of the work; a command named nowhere stands behind them.
GROUPS = {
    "Decide": ("new", "size", "desk", "compare", "worth", "sweep", "tune"),
    "Build": ("wiring", "commission", "measure"),
    "Prove": ("run", "prove", "flash"),
    "Live with it": ("watch", "history", "set", "plan", "fit", "season"),
}
COMPLETION = ("install_completion", "show_completion")


def build_app() -> typer.Typer:
    """Return the application with every command in ``commands``."""
    app = typer.Typer(
        name="springhouse",
        help=_paragraphs(ABOUT),
        no_args_is_help=True,
        pretty_exceptions_enable=False,
        rich_markup_mode="rich",
        context_settings={"help_option_names": ["-h", "--help"]},
    )

    @app.callback()
    def _root() -> None:
        pass

    for module in iter_modules(commands.__path__):
        import_module(f"{commands.__name__}.{module.name}").register(app)
    order = [name for names in GROUPS.values() for name in names]
    groups = {name: group for group, names in GROUPS.items() for name in names}
    for command in app.registered_commands:
        command.help = _paragraphs(inspect.getdoc(command.callback) or "")
        command.rich_help_panel = groups.get(str(command.name), "More")
    app.registered_commands.sort(
        key=lambda c: order.index(c.name) if c.name in groups else len(order)
    )
    return app


def _paragraphs(text: str) -> str:
    """Return text for a terminal of any width: lines of a paragraph joined, examples apart."""
    joined = re.sub(r"(?<!\n)\n(?!\n)(?!Example)", " ", text)
    return re.sub(r"\n+(?=Example)", "\n\n", joined)


class Ended(BaseException):
    """A signal that ends the program; it unwinds like ctrl-C, so that nothing is left half done."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command and leave with its exit code: 0 done, 1 not kept, 2 bad input."""
    ends = [s for s in (signal.SIGTERM, signal.SIGHUP) if signal.getsignal(s) != signal.SIG_IGN]
    for number in ends:
        signal.signal(number, _end)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    code = run(arguments)
    for number in (signal.SIGINT, *ends):
        signal.signal(number, signal.SIG_DFL)  # what is left to do needs no unwinding
    sys.exit(code)


def _end(number: int, frame: object) -> None:
    signal.signal(number, signal.SIG_DFL)  # a second one does not wait
    raise Ended(number)


def run(arguments: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code.

    A known error becomes one line a fault on stderr. A defect of ours is one line too, for nobody
    at a freezer can use a traceback; SPRINGHOUSE_TRACEBACK=1 lets it through.
    """
    try:
        command = typer.main.get_command(build_app())
        for option in command.params:
            if (
                isinstance(option, TyperOption) and option.name in COMPLETION
            ):  # said in one line, not among the options
                option.hidden = True
        result = command.main(
            args=list(arguments) if arguments is not None else None,
            standalone_mode=False,
            prog_name="springhouse",
        )
    except KnownError as error:
        return _refuse(error.lines)
    except typer.TyperException as error:
        return _refuse([f"springhouse: {error.format_message()} (see springhouse --help)"])
    except (typer.Abort, KeyboardInterrupt):
        result = EXIT_INTERRUPTED
    except Ended as ended:
        with contextlib.suppress(OSError):  # a closed terminal takes no words
            print(f"springhouse: ended by {signal.Signals(ended.number).name}", file=sys.stderr)
        return EXIT_SIGNAL + ended.number
    except BrokenPipeError:  # the reader of our output has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_NOT_KEPT
    except Exception as error:
        if os.environ.get("SPRINGHOUSE_TRACEBACK"):
            raise
        print(
            f"springhouse: internal error, please report it: {type(error).__name__}: "
            f"{_one_line(str(error))} (SPRINGHOUSE_TRACEBACK=1 shows where)",
            file=sys.stderr,
        )
        return EXIT_INTERNAL
    if result == EXIT_INTERRUPTED:  # typer's own word for ctrl-C
        print("springhouse: interrupted", file=sys.stderr)
    return result if isinstance(result, int) else 0


def _refuse(lines: Sequence[str]) -> int:
    for line in lines:
        print(_one_line(line), file=sys.stderr)
    return EXIT_BAD_INPUT


def _one_line(text: str) -> str:
    return " ".join(text.split())


if __name__ == "__main__":
    main()
