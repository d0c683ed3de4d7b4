"""``python -m pitwall`` is the ``pitwall`` command."""

from pitwall.cli.main import main

if __name__ == "__main__":
    raise SystemExit(main())
