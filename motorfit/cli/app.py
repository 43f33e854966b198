"""The entry point: the commands, and how their errors reach the person who typed them.

Exit codes: 0 done, 1 the input is at fault (one message on standard error), 2 wrong usage.
Command modules import nothing heavy at their top, so that `motorfit --help` answers at once.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

import motorfit
from motorfit.cli.calibrate import calibrate
from motorfit.cli.check import check
from motorfit.cli.compare import compare
from motorfit.cli.demo import demo
from motorfit.cli.fit import fit
from motorfit.cli.holdout import holdout
from motorfit.cli.hover import hover
from motorfit.cli.new import new
from motorfit.cli.next import next_
from motorfit.cli.predict import predict
from motorfit.cli.report import report
from motorfit.cli.serve import serve
from motorfit.cli.show import show
from motorfit.cli.step import step
from motorfit.cli.token import token
from motorfit.cli.torque import torque
from motorfit.errors import MotorfitError

TRACEBACK_VARIABLE = "MOTORFIT_TRACEBACK"

app = typer.Typer(
    name="motorfit",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"motorfit {motorfit.__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool,
        typer.Option(
            "--version", is_eager=True, callback=_print_version, help="Print the version and leave."
        ),
    ] = False,
) -> None:
    """Fit physical brushless-motor models to raw bench curves, with honest uncertainty.

    \b
    Start with:  motorfit demo
    Your data:   motorfit check campaign.toml
                 motorfit fit campaign.toml
    """


for command in (
    demo,
    new,
    check,
    fit,
    show,
    predict,
    step,
    hover,
    torque,
    compare,
    holdout,
    next_,
    report,
    calibrate,
    serve,
):
    app.command(command.__name__.rstrip("_"))(command)
app.add_typer(token)


def main() -> None:
    """Run the command line and leave the process with its exit code."""
    try:
        app()
    except MotorfitError as error:
        _stop(str(error), 1)
    except KeyboardInterrupt:
        _stop("Interrupted; nothing that was not complete has been kept.", 130)
    except BrokenPipeError:
        # Whoever read the output has left; what is still buffered must not raise again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(141)
    except MemoryError:
        _stop("Not enough memory for this. Ask for fewer draws (--draws) or a coarser grid.", 1)
    except Exception as error:
        if os.environ.get(TRACEBACK_VARIABLE):
            raise
        _stop(
            f"This is a fault of motorfit itself, not of your input: {type(error).__name__}: {error}. "
            f"Nothing was stored. Set {TRACEBACK_VARIABLE}=1 and run it again for a report worth sending.",
            1,
        )


def _stop(message: str, code: int) -> None:
    print(message, file=sys.stderr)
    sys.exit(code)
