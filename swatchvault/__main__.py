"""`python -m swatchvault` is the same as the `swatchvault` command."""

from swatchvault.cli import main

main()
