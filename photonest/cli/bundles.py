"""Options that several commands share, declared once as a dataclass and expanded into each command's own."""

from __future__ import annotations

import dataclasses
import functools
import inspect
import typing
from collections.abc import Callable
from typing import Any

Command = Callable[..., None]


def expanding(**bundles: type) -> Callable[[Command], Command]:
    """Give a command the options of dataclasses in the place of parameters that take them.

    Parameters
    ----------
    bundles : dataclass by parameter name
        Each field is an option: its annotation and default are as typer reads them in a command. A field without a
        default is an option that must be given.
    """
    fields = {name: _parameters(bundle) for name, bundle in bundles.items()}

    def expand(command: Command) -> Command:
        own = [
            parameter.replace(kind=inspect.Parameter.KEYWORD_ONLY)
            for parameter in inspect.signature(command, eval_str=True).parameters.values()
            if parameter.name not in bundles
        ]

        @functools.wraps(command)
        def run(**options: Any) -> None:
            made = {
                name: bundle(**{parameter.name: options.pop(parameter.name) for parameter in fields[name]})
                for name, bundle in bundles.items()
            }
            command(**options, **made)

        parameters = [*own, *(parameter for bundle in fields.values() for parameter in bundle)]
        run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
        run.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
        return run

    return expand


def _parameters(bundle: Any) -> list[inspect.Parameter]:
    hints = typing.get_type_hints(bundle, include_extras=True)
    return [
        inspect.Parameter(
            field.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=inspect.Parameter.empty if field.default is dataclasses.MISSING else field.default,
            annotation=hints[field.name],
        )
        for field in dataclasses.fields(bundle)
    ]
