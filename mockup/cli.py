"""The command line: one door to the floors below, errors in one line each.

Exit codes: 0 done, 1 ``verify`` found a difference, 2 bad input, 130 stopped
by the person at the keyboard. Nothing here or in ``commands`` imports an
imaging library before a command needs it, so that help comes at once.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Sequence
from dataclasses import replace

import click

from . import __version__
from .commands.approve import approve
from .commands.bench import bench
from .commands.board import board
from .commands.card import card
from .commands.colours import colours
from .commands.compare import compare
from .commands.demo import demo
from .commands.dossier import dossier
from .commands.new import new
from .commands.place import place
from .commands.plain import PlainGroup
from .commands.print import print_
from .commands.render import render
from .commands.share import share
from .commands.sheet import sheet
from .commands.shop import shop
from .commands.stain import stain
from .commands.verify import verify
from .commands.wood import wood
from .errors import MockupError, Problem, nearest

__all__ = ["cli", "main", "run"]


@click.group(cls=PlainGroup, example="mockup demo\nmockup new my-guitar\nmockup sheet my-guitar")
@click.version_option(__version__, message="mockup %(version)s")
def cli() -> None:
    """Colour mock-ups of an instrument, on a photo of the very board, before any wood is stained."""


for _command in (demo, new, bench, sheet, share, render, approve, dossier, verify, print_, shop, compare, colours, card, board, place, stain, wood):
    cli.add_command(_command)


def main() -> None:
    """Run the command line of this process and end it with the exit code."""
    signal.signal(signal.SIGTERM, _stop)
    code = run(sys.argv[1:])
    try:
        sys.stdout.flush()
    except OSError:
        _leave_stdout()
    sys.exit(code)


def run(arguments: Sequence[str]) -> int:
    """Run one command and give its exit code; what went wrong is on stderr, one line a problem."""
    try:
        # Not cli.main(): that ends a broken pipe with 1, which here says that verify found a difference.
        with cli.make_context("mockup", list(arguments)) as context:
            return cli.invoke(context) or 0
    except click.exceptions.Exit as done:  # after --help or --version
        return done.exit_code
    except MockupError as error:
        where = _command_named(arguments)
        return _tell([p if p.where else replace(p, where=where) for p in error.problems])
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.ctx.get_help())
        return 0
    except click.UsageError as error:
        return _tell([_usage_problem(error, _command_named(arguments))])
    except (KeyboardInterrupt, click.Abort):
        return _tell([Problem("Stopped. No file was left half-written.")], code=130)
    except BrokenPipeError:
        _leave_stdout()
        return 0
    except MemoryError:
        return _tell([Problem("The machine has not enough memory for a picture of this size.",
                              "Use a smaller --scale, or a smaller photo of the board.")])
    except OSError as error:
        from .files.whole import file_error

        return _tell(file_error(error, error.filename or "", writing=True).problems)


def _command_named(arguments: Sequence[str]) -> str:
    """The command as typed, without its options: where a mistake is that has no better place."""
    words, command = ["mockup"], cli
    for word in arguments:
        if not isinstance(command, click.Group) or word not in command.commands:
            break
        words.append(word)
        command = command.commands[word]
    return " ".join(words)


def _leave_stdout() -> None:
    """Let what is still in the buffer go nowhere: whoever read our output has left, or its disk is full."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _stop(*_) -> None:
    # As an exception, so that half-written files are taken back on the way out.
    raise SystemExit(143)


def _tell(problems: Sequence[Problem], code: int = 2) -> int:
    for problem in problems:
        # One line each, whatever a file's name or a library's message holds.
        click.echo(" ".join(str(problem).split()), err=True)
    return code


def _usage_problem(error: click.UsageError, where: str) -> Problem:
    """A mistake on the command line itself in our own words."""
    see = f"See {where} --help."
    match error:
        case click.NoSuchOption():
            known = [name for p in error.ctx.command.params for name in p.opts] + ["--help"] if error.ctx else []
            return Problem(f'There is no option "{error.option_name}".', _offer(error.option_name, known, see), where)
        case click.exceptions.NoSuchCommand():
            known = error.ctx.command.list_commands(error.ctx)
            return Problem(f'There is no command "{error.command_name}".', _offer(error.command_name, known, see), where)
        case click.MissingParameter() if error.param is not None:
            name = error.param.make_metavar(error.ctx) if error.param.param_type_name == "argument" else error.param.opts[0]
            return Problem(f"{name} is missing.", see, where)
        case click.BadParameter() if error.param is not None:
            name = error.param.opts[0] if error.param.param_type_name == "option" else error.param.human_readable_name
            return Problem(_sentence(error.message), see, f"{where} {name}")
    return Problem(_sentence(error.format_message()), see, where)


def _offer(name: str, known: list[str], see: str) -> str:
    told = nearest(name, known)
    return told if told.startswith("Did you mean") else see


def _sentence(text: str) -> str:
    text = text.strip().replace("'", '"').replace("a valid float", "a number").replace("a valid integer", "a whole number")
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "?")) else f"{text}."
