"""The command `swirlwright`."""

from __future__ import annotations


def main(arguments: list[str] | None = None) -> int:
    """Run one verb and return the exit status."""
    raise NotImplementedError
