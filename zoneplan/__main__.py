"""`python -m zoneplan`: the command line, without its script."""

from zoneplan.cli import main

main(prog_name="zoneplan")
