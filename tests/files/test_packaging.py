"""What is installed against what is there."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path

import pytest

import swirlwright

ROOT = Path(__file__).parents[2]
PLACES = {"solver": "solver", "postproc": "postproc", "verification": "benchmarks/verification"}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())


def test_every_package_folder_is_installed() -> None:
    """The packages named for the install are the folders that hold Python modules, no more and no fewer."""
    packages = {"swirlwright"}
    for name, place in PLACES.items():
        for folder in (ROOT / place, *(path for path in (ROOT / place).rglob("*") if path.is_dir())):
            if folder.name != "__pycache__" and any(folder.glob("*.py")):
                packages.add(".".join(["swirlwright", name, *folder.relative_to(ROOT / place).parts]))
    assert set(PROJECT["tool"]["setuptools"]["packages"]) == packages


def test_every_file_beside_the_modules_is_installed() -> None:
    """What a package needs besides Python modules is named as package data."""
    data: dict[str, set[str]] = {}
    for name, place in PLACES.items():
        for path in (ROOT / place).rglob("*"):
            if path.is_file() and path.suffix not in (".py", ".md") and path.parent.name != "__pycache__":
                package = ".".join(["swirlwright", name, *path.parent.relative_to(ROOT / place).parts])
                data.setdefault(package, set()).add(path.name)
    assert {k: set(v) for k, v in PROJECT["tool"]["setuptools"]["package-data"].items()} == data


def test_the_version_is_one() -> None:
    """The package and its metadata give the same version."""
    assert PROJECT["project"]["version"] == swirlwright.__version__


@pytest.mark.parametrize("document", ["postproc/README.md", "solver/README.md", "DEVELOPERS.md"])
def test_every_module_of_a_document_exists(document: str) -> None:
    """Each name in backticks that ends in .py, with or without its folder and with *, is that of a file here."""
    files = [
        path for place in ("solver", "postproc", "src", "benchmarks", "tests") for path in (ROOT / place).rglob("*.py")
    ]
    named = set(re.findall(r"`([\w./*]+\.py)`", (ROOT / document).read_text(encoding="utf-8")))
    assert named
    assert [name for name in sorted(named) if not any(path.match(name) for path in files)] == []


@pytest.mark.parametrize("name", PLACES)
def test_the_links_are_relative(name: str) -> None:
    """The links of the import package lead to the folders at the top, wherever the checkout lies."""
    assert os.readlink(ROOT / "src" / "swirlwright" / name) == f"../../{PLACES[name]}"
