"""Names that changed and names of somebody else. The pairs are invented; no source."""

import pytest

from ingest.plan.names import is_same_child


@pytest.mark.parametrize(
    ("before", "now"),
    [
        ("Maria Lopez", "Maria Lopez"),
        ("Maria Lopez", "María López"),
        ("Maria Lopez", "Lopez Maria"),  # the columns had been mixed up
        ("Maria Lopez", "Maria Garcia-Lopez"),
        ("Maria Lopez", "Maria Fernandez"),  # another family name
        ("Sam Quill", "Samuel Quill"),
        ("Jon Okoro", "John Okoro"),
        ("", "Maria Lopez"),  # printed by an older Daybox, which kept no name
        ("Олена Ковальчук", "Олена Ковальчук"),
    ],
)
def test_a_name_put_right_is_the_same_childs(before: str, now: str) -> None:
    assert is_same_child(before, now)


@pytest.mark.parametrize(
    ("before", "now"),
    [
        ("Maria Lopez", "Kevin McDonald"),
        ("Maria Lopez", "Ana Marsh"),
        ("Maria Lopez", "Jose Lopez"),  # the next row of a sorted class list
        ("李明", "王芳"),
        ("Олена Ковальчук", "Іван Бондар"),
    ],
)
def test_another_name_is_another_childs(before: str, now: str) -> None:
    assert not is_same_child(before, now)
