"""The house keeps its own rules: clean code, documents that tell the truth, a known set of rooms."""

import ast
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


# What may import what: each only from what stands before it (review and report, not from each other).
ROOMS = (
    "plan",
    "chart",
    "reading",
    "ledger",
    "collect",
    "check",
    "tally",
    "review",
    "report",
    "demo",
    "training",
)
# Which hands the demo may write with follows from how the writers are split for training.
BACKWARDS = {("demo/make_hands.py", "training")}


def imported_rooms(file: Path) -> set[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    names = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module]
    names += [name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names]
    return {name.split(".")[1] for name in names if name.startswith("ingest.")}


@pytest.mark.parametrize("room", ROOMS)
def test_no_room_imports_a_later_one(room: str) -> None:
    files = sorted((ROOT / "ingest" / room).glob("*.py"))
    assert files, "a room without modules: mend ROOMS"
    later = {*ROOMS[ROOMS.index(room) + 1 :], "commands", "cli"} | ({"review"} if room == "report" else set())
    found = {
        (f"{room}/{file.name}", other) for file in files for other in imported_rooms(file) if other in later
    }
    assert found - BACKWARDS == set()


def test_every_room_has_a_place_in_the_order() -> None:
    present = {path.parent.name for path in (ROOT / "ingest").glob("*/__init__.py")}
    assert present - {"commands", "templates", "samples"} == set(ROOMS)


def modules_named(room: str) -> str:
    """The row of DEVELOPERS.md's table about a room."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (row,) = re.findall(rf"^\| `{room}` \| (.*) \|$", text, re.M)
    return str(row)


@pytest.mark.parametrize("room", ROOMS)
def test_every_module_is_in_the_developers_table(room: str) -> None:
    present = {file.stem for file in (ROOT / "ingest" / room).glob("*.py")} - {"__init__"}
    assert present - set(re.findall(r"`([a-z_]+)`", modules_named(room))) == set()


def test_every_benchmark_is_in_the_developers_table() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    present = {file.stem for file in (ROOT / "tests" / "bench").glob("*.py")} - {"__init__"}
    assert {name for name in present if not re.search(rf"bench[/.]{name}\b", text)} == set()


@pytest.mark.parametrize(
    "name", ["README.md", "DEVELOPERS.md", "samples/README.md", "ingest/reading/model/README.md"]
)
def test_what_documents_point_to_is_there(name: str) -> None:
    file = ROOT / name
    text = file.read_text(encoding="utf-8")
    for target in re.findall(r"\]\((?!https?:|#)([^)#]+)", text):
        assert (file.parent / target).exists(), f"{name} points to {target}"
    for anchor in re.findall(r"\]\(#([^)]+)\)", text):
        headings = re.findall(r"^#+ (.*)$", text, re.M)
        assert anchor in {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


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
