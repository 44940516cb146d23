"""Run the command line with ``python -m photonest``."""

from photonest.cli import main

main()
