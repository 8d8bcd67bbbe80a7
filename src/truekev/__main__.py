"""`python -m truekev` is the same as the command `truekev`."""

from truekev.cli.app import main

main()
