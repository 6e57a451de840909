"""The house keeps its own rules: clean code, documents that tell the truth, a known set of rooms."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from ingest.cli import COMMANDS

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "check", [["ruff", "check"], ["ruff", "format", "--check"], ["mypy"]], ids=["lint", "format", "types"]
)
def test_code_is_clean(check: list[str]) -> None:
    ended = subprocess.run(
        [sys.executable, "-m", *check], cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"daybox {command}" in README


def test_readme_names_no_command_that_is_not_there() -> None:
    assert set(re.findall(r"`daybox ([a-z]+)\b", README)) <= set(COMMANDS)


def test_top_level_holds_what_was_agreed_and_nothing_else() -> None:
    kept = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if kept.returncode != 0:  # an unpacked archive has no history to ask
        return
    top = {path.partition("/")[0] for path in kept.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} <= {
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "pyproject.toml",
        "ingest",
        "templates",
        "samples",
        "tests",
    }


def readme_block(name: str) -> str:
    """The one shell block between the README's marks of that name."""
    (block,) = re.findall(rf"<!-- {name} -->\n```sh\n(.*?)\n```\n<!-- /{name} -->", README, re.DOTALL)
    return str(block)


def test_ci_runs_the_readmes_test_command_word_for_word(tmp_path: Path) -> None:
    """With stand-ins for the programs that the command calls, which only note how they were called."""
    notes = tmp_path / "notes"
    stand_in = f'#!/bin/sh\necho "$(basename "$0") $*" >> "{notes}"\n'
    for name in ("apt-get", "python3"):
        (tmp_path / name).write_text(stand_in, encoding="utf-8")
        (tmp_path / name).chmod(0o755)
    clone = tmp_path / "clone"
    (clone / ".venv" / "bin").mkdir(parents=True)
    (clone / ".ci").mkdir()
    for name in ("pip", "python"):
        (clone / ".venv" / "bin" / name).write_text(stand_in, encoding="utf-8")
        (clone / ".venv" / "bin" / name).chmod(0o755)
    (clone / "README.md").write_text(README, encoding="utf-8")
    (clone / ".ci" / "run").write_bytes((ROOT / ".ci" / "run").read_bytes())
    path = f"{tmp_path}:/usr/bin:/bin" if not os.path.exists("/usr/bin/sudo") else f"{tmp_path}:/bin"
    ended = subprocess.run(
        ["bash", ".ci/run"], cwd=clone, env={"PATH": path}, capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0, ended.stderr
    assert readme_block("test-command") in ended.stdout
    assert notes.read_text(encoding="utf-8").splitlines() == [
        "python3 --version",
        "apt-get update",
        "apt-get install -y python3-venv tesseract-ocr",
        "python3 -m venv .venv",
        "pip install -e .[test]",
        "python -m pytest",
    ]


def test_demo_and_tests_need_the_same_of_the_system() -> None:
    demo, tests = readme_block("demo-command"), readme_block("test-command")
    assert demo.splitlines()[0] == tests.splitlines()[0]
    assert demo.splitlines()[1].endswith(".venv/bin/daybox demo")
