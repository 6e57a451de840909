from ingest import shipped


def test_designs_and_samples_are_found_where_they_lie() -> None:
    assert (shipped.templates() / "minutes.toml").is_file()
    assert shipped.samples().is_dir()
