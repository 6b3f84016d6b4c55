"""The command line: names the commands, and turns every error into plain words and an exit status.

Thin on purpose: what is measured and marked is in the library, and each command's module imports it only when
it runs, so that ``cutcheck --help`` answers at once.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence

import click

import cutcheck
from cutcheck.commands.accuracy import accuracy
from cutcheck.commands.card import card
from cutcheck.commands.check import check
from cutcheck.commands.class_ import class_
from cutcheck.commands.cuts import cuts
from cutcheck.commands.journal import journal
from cutcheck.commands.lens import lens
from cutcheck.commands.plan import plan
from cutcheck.commands.practice import practice
from cutcheck.commands.prepare import gestures, produce, safety, station
from cutcheck.commands.progress import progress
from cutcheck.commands.rubric import rubric
from cutcheck.commands.serve import serve
from cutcheck.commands.settings import settings
from cutcheck.commands.standard import standard
from cutcheck.commands.steady import steady
from cutcheck.commands.term import term
from cutcheck.errors import CutcheckError

STOPPED = 130  # the exit status of Ctrl-C, as shells report it


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Knives cut and boards carry germs: follow your instructor and your local food-safety code.",
)
@click.version_option(cutcheck.__version__, prog_name="cutcheck")
def group() -> None:
    """Measure cut vegetables from a photo, and mark them against a standard."""


for command in (
    check,
    class_,
    term,
    steady,
    serve,
    cuts,
    card,
    standard,
    rubric,
    plan,
    gestures,
    station,
    safety,
    produce,
    accuracy,
    lens,
    settings,
    journal,
    progress,
    practice,
):
    group.add_command(command)


def main() -> None:
    """The command ``cutcheck``."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: Sequence[str]) -> int:
    """Run one command; the exit status. No exception leaves here, whatever happens."""
    as_json = "--json" in arguments
    try:
        status = group.main(list(arguments), prog_name="cutcheck", standalone_mode=False)
        return status if isinstance(status, int) else 0
    except click.UsageError as error:
        return _tell(_wrong_command(error), as_json)
    except CutcheckError as error:
        return _tell(error, as_json)
    except (KeyboardInterrupt, click.Abort):
        click.echo("\nStopped.", err=True)
        return STOPPED
    except BrokenPipeError:
        # Whoever read the output has closed it (`| head`): nothing to say, and nothing more to write.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (
        Exception
    ) as error:  # a fault of the program's own: say so in one line, keep the details to ask for
        if os.environ.get("CUTCHECK_DEBUG"):
            raise
        return _tell(CutcheckError("internal", what=f"{type(error).__name__}: {error}"), as_json)


def _tell(error: CutcheckError, as_json: bool) -> int:
    if as_json:
        click.echo(json.dumps(error.to_dict(), ensure_ascii=False))
    else:
        click.echo(f"{error.message}\n{error.remedy}", err=True)
    return error.exit_status


def _wrong_command(error: click.UsageError) -> CutcheckError:
    path = error.ctx.command_path if error.ctx else "cutcheck"
    return CutcheckError(
        "bad-option", problem=error.format_message(), remedy=f"'{path} --help' shows what it takes."
    )
