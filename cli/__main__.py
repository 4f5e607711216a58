"""``python -m cli`` does what ``pluckcheck`` does."""

from cli.main import main

main()
