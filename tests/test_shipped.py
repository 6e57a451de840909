import tomllib
from pathlib import Path

import pytest

from ingest import shipped


def test_designs_and_samples_are_found_where_they_lie() -> None:
    assert (shipped.templates() / "minutes.toml").is_file()
    assert shipped.samples().is_dir()


def test_both_folders_go_into_the_wheel() -> None:
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    included = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    assert included == {"templates": "ingest/templates", "samples": "ingest/samples"}


def test_inside_a_wheel_the_package_holds_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "ingest" / "templates").mkdir(parents=True)
    monkeypatch.setattr(shipped, "_PACKAGE", tmp_path / "ingest")
    assert shipped.templates() == tmp_path / "ingest" / "templates"
    assert shipped.samples() == tmp_path / "samples"
