"""`motorfit token`: who may ask a service that others can reach."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from motorfit.cli.options import AsJson, Library, library_folder
from motorfit.cli.output import print_json, say
from motorfit.cli.serve import State

if TYPE_CHECKING:
    from motorfit_api.tokens import TokenStore

token = typer.Typer(
    name="token",
    help="Make, list and revoke the tokens of a service.\n\n"
    "\b\nExample:  motorfit token create --scope write",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class Scope(StrEnum):
    """What a token allows."""

    read = "read"
    write = "write"


@token.command()
def create(
    scope: Annotated[
        Scope, typer.Option("--scope", help="write allows uploads and all reading.")
    ] = Scope.read,
    label: Annotated[str, typer.Option("--label", metavar="TEXT", help="What it is for.")] = "",
    library: Library = None,
    state: State = None,
    as_json: AsJson = False,
) -> None:
    """Make a token and print it, this once; only its hash is kept.

    \b
    Example:  motorfit token create --scope write --label "bench laptop"
    """
    text, made = _store(library, state).create(scope.value, label)
    if as_json:
        print_json({"token": text, "id": made.id, "scope": made.scope, "label": made.label})
        return
    say(f"Token {made.id}, scope {made.scope}. Keep it now: it cannot be shown again.")
    print(text)


@token.command(name="list")
def list_(library: Library = None, state: State = None, as_json: AsJson = False) -> None:
    """List tokens, without the secrets.

    \b
    Example:  motorfit token list
    """
    held = _store(library, state).list()
    if as_json:
        print_json(
            {"tokens": [{"id": t.id, "scope": t.scope, "label": t.label, "created": t.created} for t in held]}
        )
        return
    for one in held:
        print(f"{one.id}  {one.scope:<5}  {one.created}  {one.label}")
    if not held:
        say("There is no token.")


@token.command()
def revoke(
    id: Annotated[
        str, typer.Argument(metavar="ID", help="As `motorfit token list` shows it.", show_default=False)
    ],
    library: Library = None,
    state: State = None,
) -> None:
    """Take a token away.

    \b
    Example:  motorfit token revoke 9f86d081a1b2
    """
    _store(library, state).revoke(id)
    say(f"Token {id} is revoked.")


def _store(library: Path | None, state: Path | None) -> TokenStore:
    from motorfit_api.settings import Settings
    from motorfit_api.tokens import TokenStore

    return TokenStore(Settings.of(library_folder(library), state).state)
