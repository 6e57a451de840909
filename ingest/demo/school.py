"""The made-up school: who plays in its beginning band, and what becomes of each chart.

Every name is invented. Nothing here is drawn by chance: the same two dozen things go wrong every time.
"""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

SCHOOL = "Thistle Hill Middle School"
MONTH = "2027-10"
HOLIDAY = date(2027, 10, 11)
MINIMUM_MINUTES = 15
POINTS = 10
DUE = date(2027, 11, 1)


class Story(StrEnum):
    """What becomes of a student's chart."""

    PLAIN = "hands in a photo"
    MISSING = "hands in nothing"
    LATE = "hands in two days late"
    SMUDGED = "smudged half of it with a sleeve"
    TWICE = "hands in twice, with one day changed"
    SPARE = "lost the chart and filled in a spare one, without a name"
    COVERED = "covered the code with a sticky note"
    WRONG_MONTH = "hands in September's chart again"


@dataclass(frozen=True, slots=True)
class Pupil:
    """One student and how the chart comes back.

    path: of the file in the pile; its ending is its format. Two pupils with one path share one file of
        two pages, in this order. "" for none.
    """

    id: str
    first_name: str
    last_name: str
    section: str
    instrument: str
    path: str
    story: Story = Story.PLAIN


_2, _4, _6 = "Period 2", "Period 4", "Period 6"
_SITE = "october charts.zip"  # what the class site gives for download; period 6 is a zip inside it
_INNER = f"{_SITE}/period 6 - all submissions.zip"
_MAIL = "from email"

# fmt: off
PUPILS = (
    Pupil("S001", "Amina", "Yusuf", _2, "flute", f"{_SITE}/{_2}/Yusuf Amina/IMG_2041.jpg"),
    Pupil("S002", "José Ángel", "Muñoz", _2, "trumpet", f"{_SITE}/{_2}/Munoz Jose/20271031_190512.jpg"),
    Pupil("S003", "Aoife", "O'Brien-Walsh", _2, "clarinet", f"{_SITE}/{_2}/O'Brien-Walsh/image0.jpeg"),
    Pupil("S004", "Kofi", "Mensah", _2, "percussion", f"{_SITE}/{_2}/Mensah Kofi/IMG_0007.jpg", Story.SPARE),
    Pupil("S005", "Maria", "Lopez", _2, "clarinet", f"{_MAIL}/Lopez Maria - october.pdf"),
    Pupil("S006", "Minh Châu", "Nguyễn", _2, "horn", f"{_SITE}/{_2}/Nguyen/practice chart FINAL (2).jpg"),
    Pupil("S007", "D'Andre", "Whitfield", _2, "trombone", f"{_MAIL}/sorry its late.jpg", Story.LATE),
    Pupil("S008", "Zoë", "van der Berg", _2, "alto saxophone", f"{_SITE}/{_2}/Berg Zoe/IMG_3310.HEIC"),
    Pupil("S009", "明", "李", _2, "flute", f"{_SITE}/{_2}/李明/照片 20271030.jpg"),
    Pupil("S010", "Łukasz", "Wójcik", _4, "tuba", f"{_SITE}/{_4}/Wojcik Lukasz/IMG_0412.HEIC"),
    Pupil("S011", "Siobhán", "Ó Ceallaigh", _4, "horn", f"{_SITE}/{_4}/O Ceallaigh/Screenshot_1101.png"),
    Pupil("S012", "Олена", "Ковальчук", _4, "clarinet", f"{_SITE}/{_4}/Ковальчук/IMG_2041.jpg"),
    Pupil("S013", "Tomás", "Herrera", _4, "trumpet", f"{_SITE}/{_4}/Herrera/chart.jpg", Story.WRONG_MONTH),
    Pupil("S014", "Priya", "Raghunathan", _4, "flute", f"{_SITE}/{_4}/Raghunathan/IMG_1187.jpg", Story.TWICE),
    Pupil("S015", "Emeka", "Okonkwo-Bell", _4, "euphonium", f"{_MAIL}/scan_0012.tif"),
    Pupil("S016", "Fatima", "Noor", _4, "clarinet", f"{_MAIL}/Fatima Noor chart.jpg", Story.COVERED),
    Pupil("S017", "Mateo", "Quispe", _4, "percussion", "", Story.MISSING),
    Pupil("S018", "Hana", "Kobayashi", _4, "oboe", f"{_MAIL}/scan_0012.tif"),
    Pupil("S019", "مريم", "حداد", _6, "flute", f"{_INNER}/19/IMG-20271101-0003.jpg"),
    Pupil("S020", "Ελένη", "Παππά", _6, "alto saxophone", f"{_INNER}/20/DSC_0098.JPG"),
    Pupil("S021", "Jean-Luc", "Béringer", _6, "trombone", f"{_INNER}/21/P_20271031.jpg", Story.SMUDGED),
    Pupil("S022", "Leilani", "Kealoha", _6, "clarinet", f"{_INNER}/22/october.webp"),
    Pupil("S023", "Anders", "Ødegård", _6, "trumpet", f"{_INNER}/23/IMG_5530.jpg"),
    Pupil("S024", "Yael", "Ben-Ami", _6, "horn", "", Story.MISSING),
    Pupil("S025", "Ivy", "Thornfield", _6, "percussion", f"{_INNER}/25/Ivy T.jpg"),
    Pupil("S026", "Noah", "Castellanos", _6, "tuba", f"{_INNER}/26/IMG_0001.jpg"),
)
# fmt: on

CAT = f"{_SITE}/{_4}/Quispe Mateo/IMG_9001.jpg"  # no chart at all: somebody picked the wrong picture
SECOND_TRY = f"{_SITE}/{_4}/Raghunathan/IMG_1201.jpg"  # the newer of the two that S014 hands in


def handed_in_at(pupil: Pupil) -> datetime:
    """The time that the file bears."""
    if pupil.story is Story.LATE:
        return datetime(2027, 11, 3, 7, 52)
    return datetime(2027, 10, 31, 16 + int(pupil.id[1:]) % 6, int(pupil.id[1:]) * 2)
