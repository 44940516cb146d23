"""The command line: thin commands over the library, and one place that turns failures into exit codes.

Command modules import nothing heavy at their top, so that help is quick.
"""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line."""
    from photonest.cli.app import app

    try:
        app()
    except Exception as error:
        from photonest.model import PhotonestError

        if not isinstance(error, PhotonestError):
            raise
        from photonest.cli.common import say

        say(f"photonest: {error.message}")
        if error.hint:
            say(f"  What to do: {error.hint}")
        sys.exit(int(error.exit_code))
