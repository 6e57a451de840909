import os
import re
import subprocess
import sys
import tomllib
from datetime import date
from importlib import import_module
from pathlib import Path

import click
import pytest

from ingest import __version__
from ingest.chart.design import load_design
from ingest.cli import COMMANDS, main
from ingest.plan.challenge import load_challenge
from ingest.shipped import templates


def started(*words: str, **settings: str) -> subprocess.CompletedProcess[str]:
    """`daybox` as a program of its own."""
    return subprocess.run(
        [sys.executable, "-m", "ingest", *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
        env={**os.environ, **settings},
    )


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_there_and_takes_a_folder(name: str) -> None:
    command = import_module(f"ingest.commands.{name}").command
    assert isinstance(command, click.Command)
    assert command.name in (name, "command")
    assert command.help
    assert {"--folder", "folder"} & {word for parameter in command.params for word in parameter.opts}


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([name, "--help"]) == 0
    assert f"Usage: daybox {name} " in capsys.readouterr().out


def test_help_lists_the_commands_in_the_order_of_a_month(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    listed = re.findall(r"^  ([a-z]+)  ", capsys.readouterr().out.partition("Commands")[2], re.MULTILINE)
    assert listed == list(COMMANDS)


def test_help_loads_no_room() -> None:
    seen = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "ingest", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = set(re.findall(r"\| +(\S+)$", seen.stderr, re.MULTILINE))
    assert "ingest.cli" in loaded
    assert not loaded & {"numpy", "pandas", "cv2", "pydantic", "ingest.plan", "ingest.reading"}


def test_version_is_the_packages_own(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"daybox {__version__}\n"
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))[
        "project"
    ]
    assert project["version"] == __version__


@pytest.mark.parametrize(
    ("argv", "told"),
    [
        (["revew"], 'Did you mean "review"?'),
        (["xyzzy"], "`daybox --help` lists the commands"),
        (["new", "--month", "october"], 'a month is written like "2027-10"'),
        (["new", "a", "--folder", "b"], "Give the folder once"),
        (["new", "--papr", "a4"], "--paper"),
    ],
)
def test_wrong_usage_is_2(argv: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(argv) == 2
    assert told in capsys.readouterr().err


def test_refused_input_is_1_in_one_paragraph_on_stderr(tmp_path: Path) -> None:
    (tmp_path / "roster.csv").write_text("", encoding="utf-8")
    ended = started("new", str(tmp_path), "--month", "2027-10")
    assert (ended.returncode, ended.stdout) == (1, "")
    assert re.fullmatch(r"error: .*already has roster\.csv.*\n", ended.stderr)


def test_trouble_with_the_disk_is_1_without_a_traceback(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    ended = started("new", str(tmp_path / "file" / "october"))
    assert ended.returncode == 1
    assert re.fullmatch(r"error: .*Not a directory\. Check .*\n", ended.stderr)


def test_letters_that_the_console_lacks_do_no_harm(tmp_path: Path) -> None:
    ended = started("new", str(tmp_path / "a"), "--title", "Trống", PYTHONIOENCODING="cp1252")
    assert ended.returncode == 0
    assert "Started Tr\\u1ed1ng" in ended.stdout


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_a_reader_that_goes_away_gets_no_traceback(unbuffered: str) -> None:
    """As in `daybox --help | head -0`."""
    reading, writing = os.pipe()
    os.close(reading)
    try:
        ended = subprocess.run(
            [sys.executable, "-m", "ingest", "--help"],
            stdout=writing,
            stderr=subprocess.PIPE,
            check=False,
            env={**os.environ, "PYTHONUNBUFFERED": unbuffered},
        )
    finally:
        os.close(writing)
    assert (ended.returncode, ended.stderr) == (1, b"")


def test_new_starts_a_month(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "my october"
    assert main(["new", str(folder), "--month", "2027-10", "--paper", "a4", "--language", "es"]) == 0
    plan = load_challenge(folder)
    assert (str(plan.month), plan.paper, plan.language) == ("2027-10", "a4", "es")
    assert plan.title == "Reto de práctica de octubre"
    told = capsys.readouterr().out
    assert str(folder / "challenge.toml") in told
    assert told.endswith(f"Then print the charts: daybox charts --folder '{folder}'\n")


def test_new_means_the_coming_month_in_the_current_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new"]) == 0
    first = load_challenge(tmp_path).month.dates()[0]
    assert 0 < (first - date.today()).days <= 31


def test_new_takes_a_design_from_where_one_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine.toml").write_bytes((templates() / "minutes.toml").read_bytes())
    assert main(["new", "october", "--design", "mine.toml"]) == 0
    assert load_challenge(Path("october")).design == "../mine.toml"


def test_new_gives_the_shipped_design_to_change(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "october"
    assert main(["new", str(folder), "--own-design"]) == 0
    assert str(folder / "my-minutes.toml") in capsys.readouterr().out
    assert load_challenge(folder).design == "my-minutes.toml"
    own = folder / "my-minutes.toml"
    assert load_design("my-minutes.toml", folder).words == load_design("minutes", Path()).words
    own.write_text("mine", encoding="utf-8")
    for name in ("challenge.toml", "roster.csv"):
        (folder / name).unlink()
    assert main(["new", str(folder), "--own-design"]) == 1
    assert "already has my-minutes.toml" in capsys.readouterr().err
    assert {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir()} == {own.name: "mine"}
    assert main(["new", str(tmp_path / "a"), "--own-design", "--design", str(own)]) == 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--design", "nope"], "Set --design to one of these"),
        (["--design", "nope", "--own-design"], "Set --design to one of these"),
        (["--design", "nope.toml"], "Correct --design, or put the file there"),
        (["--language", "tlh"], "Set --language to one of these"),
        (["--title", ""], "title"),
        (["--design", "wide.toml"], "Make sizes.day_width"),
    ],
)
def test_new_refuses_a_plan_that_could_not_be_printed(
    words: list[str],
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    shipped = (templates() / "minutes.toml").read_text(encoding="utf-8")
    wide = shipped.replace("day_width = 26.0", "day_width = 32.0").replace(
        "day_width_most = 28", "day_width_most = 32"
    )
    (tmp_path / "wide.toml").write_text(wide, encoding="utf-8")
    assert main(["new", "october", *words]) == 1
    told_all = capsys.readouterr().err
    assert told in told_all
    assert "challenge.toml" not in told_all  # it is not there yet
    assert not (tmp_path / "october").exists()
