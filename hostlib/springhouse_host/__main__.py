"""Where the program begins: ctrl-C while its commands are being imported ends it without words."""

import signal


def main() -> None:
    """Run the command line."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    from .cli import main as run_commands  # half a second

    run_commands()


if __name__ == "__main__":
    main()
