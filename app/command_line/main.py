"""`hazefall`: runs the subcommands. Messages go to standard error; the result sets the exit status."""

import argparse
import io
import os
import signal
import sys
from collections.abc import Sequence
from importlib import import_module

from app.errors import HazefallError, InvalidValue, NoDecayFound, NotFound, TooLarge, UnreadableLog

# Each command is a file of this folder with `add_arguments(parser)` and `run(arguments) -> exit status`.
COMMANDS = {
    "demo": ("demo", "create (once) and serve the demonstration bench with invented data"),
    "serve": ("serve", "serve the bench in a folder; creates or migrates it first if needed"),
    "analyse": ("analyse", "analyse one log file without a store and print a report"),
    "import": ("import_logs", "add many logs at once, from a folder or a list"),
    "watch": ("watch.command", "follow a growing log file or folder, or an MQTT topic, as a live run"),
    "recompute": ("recompute", "re-analyse every trial and show which results would change"),
    "backup": ("store.backup", "copy the store while it is in use, and verify the copy"),
    "restore": ("store.restore", "restore a copy of the store"),
    "copy-store": ("store.copy_store", "copy a bench between a SQLite file and a PostgreSQL database"),
    "link": ("access.link", "print another link that lets a browser into a bench without accounts"),
    "account": ("access.account", "add, list and change the accounts of the people who use the bench"),
    "token": ("access.api_token", "create, list and revoke API tokens for scripts"),
    "check": ("store.check", "check the store, a published folder or the network, or recompute a data package"),
    "package": ("package", "pack raw logs, readings and results into one ZIP file that anyone can check"),
    "publish": ("publish", "export the bench as static pages for any web host"),
}
# Work through whole folders or benches, perhaps beside a server: its readers come first. Not too far behind, because
# others wait while one of them stores.
_GIVE_WAY = frozenset({"import", "recompute", "package", "publish", "check"})
_NICER_BY = 5
WRONG_ARGUMENTS = 2
NOT_A_LOG = 3
NO_DECAY = 4
_STATUS_OF = (
    (UnreadableLog, NOT_A_LOG),
    (NoDecayFound, NO_DECAY),
    (TooLarge, NOT_A_LOG),
    (InvalidValue, WRONG_ARGUMENTS),
    (NotFound, WRONG_ARGUMENTS),
)


def run(arguments: Sequence[str] | None = None) -> int:
    """Runs one command; 0 done, 2 wrong arguments, 3 no log, 4 no decay, 1 anything else."""
    if arguments is not None:
        return _run(arguments)
    terminated = False

    def stop(_number: int, _frame: object) -> None:
        nonlocal terminated
        terminated = True
        signal.signal(signal.SIGTERM, signal.SIG_DFL)  # a second one ends it at once
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)  # as Ctrl-C does: temporary files and worker processes go
    status = _run(None)
    if terminated:  # by that signal, which is what whoever sent it expects
        sys.stdout.flush()
        signal.raise_signal(signal.SIGTERM)
    return status


def _run(arguments: Sequence[str] | None) -> int:
    if isinstance(sys.stdout, io.TextIOWrapper):  # a code page may lack ³ or a letter of a name; it is then escaped
        sys.stdout.reconfigure(errors="backslashreplace")
    parser = _parser(_named(arguments))
    parsed = parser.parse_args(arguments)
    # only as a process of its own; Windows has no such priority
    if arguments is None and parsed.command in _GIVE_WAY and hasattr(os, "nice"):
        os.nice(_NICER_BY)
    try:
        status = int(parsed.run(parsed))
        sys.stdout.flush()
        return status
    except BrokenPipeError:
        if not _reader_has_left():
            raise
        return 1
    except HazefallError as error:
        print(f"hazefall {parsed.command}: {error.message}", file=sys.stderr)
        return next((status for kind, status in _STATUS_OF if isinstance(error, kind)), 1)
    except KeyboardInterrupt:
        print(f"hazefall {parsed.command}: stopped.", file=sys.stderr)
        return 130
    except Exception as error:  # a failing store or disk gets a message; everything else is a bug
        if (words := _failure_message(error)) is None:
            raise
        print(f"hazefall {parsed.command}: {words}", file=sys.stderr)
        return 1


def _reader_has_left() -> bool:
    """Whether the program that read the output has read enough, as `head` does; the rest of the output is dropped."""
    try:
        print(flush=True)  # what was refused before may not be in the buffer any more
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return True
    return False


def _failure_message(error: Exception) -> str | None:
    """Message for a store or file that could not be read or written; None for a bug."""
    import sqlite3  # loaded when used: only a failed command needs it

    from sqlalchemy.exc import DBAPIError

    from app.services.store.problems import file_problem_from, store_problem_from

    if not isinstance(error, OSError):
        problem = store_problem_from(error) if isinstance(error, sqlite3.Error | DBAPIError) else None
        return None if problem is None else problem.message
    if (problem := file_problem_from(error)) is not None:
        return problem.message
    if not isinstance(error.filename, str):
        return None
    return (
        f"{error.filename}: {error.strerror}. Choose another location, or give the program permission to use this one."
    )


def _named(arguments: Sequence[str] | None) -> str | None:
    """Loads only the requested command's file, so that every command starts fast."""
    given = sys.argv[1:] if arguments is None else arguments
    return next((word for word in given if word in COMMANDS), None)


def _parser(command: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="hazefall", description="Test bench for reviewers of room air cleaners.")
    parser.add_argument("--version", action="version", version=f"hazefall {_version()}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, (module_name, what) in COMMANDS.items():
        of_command = commands.add_parser(name, help=what, description=what[0].upper() + what[1:] + ".")
        if name == command:
            module = import_module(f"app.command_line.{module_name}")
            module.add_arguments(of_command)
            of_command.set_defaults(run=module.run)
    return parser


def _version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("hazefall")
    except PackageNotFoundError:
        return "0"


if __name__ == "__main__":
    sys.exit(run())
