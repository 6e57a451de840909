"""Who takes part."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Student:
    """One row of `roster.csv`."""

    id: str
    first_name: str
    last_name: str
    section: str
    extra: Mapping[str, str] = field(default_factory=dict)  # the other columns, in the file's order

    @property
    def name(self) -> str:
        return f"{self.first_name} {self.last_name}".strip()
