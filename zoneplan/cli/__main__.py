"""`python -m zoneplan.cli`: the same as `python -m zoneplan`."""

from zoneplan.cli import main

main(prog_name="zoneplan")
