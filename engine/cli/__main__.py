"""`python -m engine.cli`: the `bayleaf` command where its script is not known."""

from engine.cli.app import main

main()
