"""The command line: thin commands over the library, and one place that turns failures into exit codes.

Command modules import nothing heavy at their top, so that help is quick.
"""

from __future__ import annotations

import io
import sys

STOPPED = 130
"""Exit code where Ctrl-C ended it, as shells give it."""


def main() -> None:
    """Run the command line."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # rather '?' for a letter a screen lacks than no word of it
            stream.reconfigure(errors="replace")
    try:
        from photonest.cli.app import app

        app()
    except KeyboardInterrupt:  # before a command has begun: typer answers alike from then on
        sys.exit(STOPPED)
    except Exception as error:
        from photonest.model import PhotonestError

        if not isinstance(error, PhotonestError):
            raise
        from photonest.cli.common import say

        say(f"photonest: {error.message}")
        if error.hint:
            say(f"  What to do: {error.hint}")
        sys.exit(int(error.exit_code))
