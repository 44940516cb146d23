"""``photonest plugins``: which finders are there, where from, and what failed to load and why."""

from __future__ import annotations

import dataclasses
import inspect
import json as json_module
import re
from typing import TYPE_CHECKING, Annotated, Any

import typer

from photonest.cli.common import AsJson, say, show

if TYPE_CHECKING:
    from photonest.registry import Finder, LoadFailure

app = typer.Typer(no_args_is_help=False, help="List the finders, built in and from other packages.")


@app.callback(invoke_without_command=True)
def plugins(context: typer.Context, json: AsJson = False) -> None:
    """List the finders of every stage in the order auto asks them."""
    if context.invoked_subcommand is not None:
        if json:
            raise typer.BadParameter(f"{context.invoked_subcommand} takes no --json.")
        return
    rows = _rows()
    if json:
        show(json_module.dumps(rows, indent=1, ensure_ascii=False))
        return
    width = max(len(str(row["finder"])) for row in rows)
    stage = None
    for row in rows:
        if row["stage"] != stage:
            stage = row["stage"]
            show(f"{stage}")
        state = f"version {row['version']}" if row["loads"] else f"CAN'T BE USED: {row['problem']}"
        show(f"  {row['finder']:<{width}}  {row['source']}, {state}")
    broken = [row for row in rows if not row["loads"]]
    if broken:
        say(f"{len(broken)} of {len(rows)} finders can't be used; auto passes them over.")


@app.command("show")
def show_finder(
    finder: Annotated[str, typer.Argument(metavar="STAGE.NAME", help="As in outline.edge.")],
) -> None:
    """Show the options of one finder, to be set with --set STAGE.NAME.FIELD=VALUE."""
    from photonest.registry import Registry
    from photonest.spec import STAGES

    stage, _, name = finder.partition(".")
    if stage not in STAGES or not name:
        raise typer.BadParameter(f"{finder!r} is not STAGE.NAME; the stages are {', '.join(STAGES)}.")
    found = Registry.installed().named(stage, name)
    show(f"{stage}.{name}, {found.listing.source}, version {found.version}")
    notes = option_notes(found.plugin.Options)
    for field in dataclasses.fields(found.plugin.Options):
        note = field.metadata.get("help") or notes.get(field.name, "")
        show(f"  {field.name} = {json_module.dumps(getattr(found.plugin.Options(), field.name), default=str)}  {note}")


def option_notes(options: type) -> dict[str, str]:
    """Return what the docstring of a finder's Options says of each, under its heading Attributes.

    >>> class Options:
    ...     '''Settings.
    ...
    ...     Attributes
    ...     ----------
    ...     near_px, far_px : int
    ...         Where it looks.
    ...     '''
    >>> option_notes(Options)
    {'near_px': 'Where it looks.', 'far_px': 'Where it looks.'}
    """
    _, _, attributes = (inspect.getdoc(options) or "").partition("Attributes\n----------\n")
    entries = re.findall(r"^(\w[\w, ]*) : .*\n((?:    .*(?:\n|$))*)", attributes, re.MULTILINE)
    return {name: " ".join(about.split()) for names, about in entries for name in names.split(", ")}


def _rows() -> list[dict[str, Any]]:
    from photonest.registry import Registry
    from photonest.spec import STAGES

    registry = Registry.installed()
    rows = []
    for stage in STAGES:
        finders, failures = registry.load(stage)
        rows += [_row(finder) for finder in finders] + [_row(failure) for failure in failures]
    return rows


def _row(entry: Finder | LoadFailure) -> dict[str, Any]:
    listing = entry.listing
    version = getattr(entry, "version", None)
    problem = getattr(entry, "reason", None)
    return {
        "stage": listing.stage,
        "finder": listing.name,
        "source": listing.source,
        "target": listing.target,
        "version": version,
        "loads": problem is None,
        "problem": problem,
    }
