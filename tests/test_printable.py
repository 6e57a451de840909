import pytest

from ingest.cli import main
from ingest.printable import printable


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a\x1b[2Jb\a é", "a?[2Jb? é"),
        ("two\nlines", "two?lines"),
        ("exe.\u202egpj", "exe.?gpj"),  # turned round, this would look like a picture
        ("Screenshot 4.05\u202fPM", "Screenshot 4.05\u202fPM"),  # a narrow blank, as one system names files
        ("می\u200cخواهم", "می\u200cخواهم"),
    ],
)
def test_what_would_steer_a_terminal_is_marked_and_all_else_stays(text: str, shown: str) -> None:
    assert printable(text) == shown


def test_no_refusal_steers_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["collect", "--folder", "nowhere", "no\x1b]0;title\asuch\nfile.zip"]) == 1
    told = capsys.readouterr().err
    assert "no?]0;title?such?file.zip" in told
    assert told.count("\n") == 1
