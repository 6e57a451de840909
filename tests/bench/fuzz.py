"""Damaged files by the thousand, over every entry where bytes from outside come in.

    python tests/bench/fuzz.py [--runs 2000] [--seed 1] [--seconds 60]

Takes good and hostile files, damages them at random, the same way for the same seed, and opens each with the
code that meets such files first. Whatever comes out must be a picture, a value or a refusal. Anything else
raised, or more than SECONDS_MOST for one file, is printed with entry, seed and run, and the exit code is 1,
and so it is if the process ever had more than MEMORY_MOST. "taken" includes returns that
are listed with a problem. Decoders may mutter on stderr. Linux.
"""

import argparse
import io
import resource
import signal
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from random import Random

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from hostile.table import CASES, LIMITS  # noqa: E402

from ingest.chart.design import load_design  # noqa: E402
from ingest.collect.pictures import open_pages  # noqa: E402
from ingest.collect.unpack import walk  # noqa: E402
from ingest.errors import DayboxError  # noqa: E402
from ingest.plan.challenge import parse_challenge  # noqa: E402
from ingest.plan.month import Month  # noqa: E402
from ingest.plan.oneroster import load_package  # noqa: E402
from ingest.plan.roster import Student, parse_roster  # noqa: E402
from ingest.report.certificate_design import load_certificate  # noqa: E402
from ingest.report.school_table import owners, read_table  # noqa: E402
from ingest.review.sheet import rows_of  # noqa: E402

SECONDS_MOST = 10
MEMORY_MOST = 1 << 30  # bytes that are really used
ADDRESSES_MOST = 4 << 30  # bytes; so that a bomb does not take the machine with it

ANSWERS = (
    b"student_id,box,suggestion,why,picture,answer\n"
    b"S001,day:2027-10-01,15,not sure,p/1.png,15\nS002,chart,,whose?,p/2.png,not ours\n"
)
CHALLENGE = b'title = "October"\nmonth = "2027-10"\n[days]\nrequired = ["mon"]\nno_school = ["2027-10-11"]\n'

EXPORT = (
    b'sep=;\nBand;;\n"Student";ID;Practice\nPoints Possible;;10\n"Marsh, Ana";S001;""\nOkoro, Ben;S002;4,5\n'
)
STUDENTS = (Student("S001", "Ana", "Marsh", "Flutes"), Student("S002", "Ben", "Okoro", "Flutes"))
PACKAGE = {
    "users.csv": b"sourcedId,enabledUser,givenName,familyName\nu1,true,Ana,Marsh\nu2,true,Ben,Okoro\n",
    "classes.csv": b'sourcedId,title,schoolSourcedId,termSourcedIds\nc1,Band,s1,"t1,t2"\n',
    "enrollments.csv": b"sourcedId,classSourcedId,userSourcedId,role,beginDate,endDate\n"
    b"e1,c1,u1,student,2027-09-01,\ne2,c1,u2,student,,\n",
    "academicSessions.csv": b"sourcedId,startDate,endDate\nt1,2027-08-01,2028-07-01\nt2,,2027-12-20\n",
    "manifest.csv": b"propertyName,value\noneroster.version,1.2\nfile.users,bulk\n",
}


def _zipped(how: int) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", how) as archive:
        for name, data in PACKAGE.items():
            archive.writestr(name, data)
    return content.getvalue()


# Pieces that mean something in one of the formats: numbers at their edges, quotes, brackets, markers.
_PIECES = (
    *(b"\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"nan", b"1e999", b"-1", b"9" * 400),
    *(b'"', b"'''", b"[" * 40, b"<<" * 20, b",,,,", b"\r", "\u202e".encode(), b"\xed\xa0\x80"),
    *(b"PK\x03\x04", b"\xff\xd9"),
)


def damage(data: bytes, other: bytes, random: Random) -> bytes:
    """The data after one to eight mishaps."""
    changed = bytearray(data)
    for _ in range(random.randint(1, 8)):
        at = random.randint(0, len(changed))
        length = min(int(random.paretovariate(0.7)), 4096)
        match random.randrange(6):
            case 0 if changed:
                changed[at % len(changed)] ^= 1 << random.randrange(8)
            case 1:
                changed[at : at + length] = random.randbytes(length)
            case 2:
                changed[at:at] = random.choice(_PIECES)
            case 3:
                del changed[at : at + length]
            case 4:
                start = random.randint(0, len(other))
                changed[at:at] = other[start : start + length]
            case _:
                changed[at:at] = changed[at : at + length]
    return bytes(changed)


def _collected(path: Path) -> None:
    for found in walk([path], limits=LIMITS):
        if found.content is not None:
            inner = path.parent / "inner"
            inner.write_bytes(found.content.read())
            for page in open_pages(inner):
                assert page.grey is not None or page.problem


def entries() -> Mapping[str, tuple[Callable[[Path], object], Sequence[bytes]]]:
    """Each entry: what opens a file, and the files that are damaged."""
    designs = [path.read_bytes() for path in sorted((ROOT / "templates").glob("*.toml"))]
    certificates = [path.read_bytes() for path in sorted((ROOT / "templates/certificates").glob("*.toml"))]
    returned = [path.read_bytes() for path in sorted((ROOT / "tests/returned").glob("*.pdf"))]
    made = [data for case in CASES if len(data := case.make()) < 1_000_000]
    return {
        "return": (_collected, [*made, *returned]),
        "roster": (
            lambda path: parse_roster(path.read_bytes(), "roster.csv"),
            [(ROOT / "samples/october/roster.csv").read_bytes()],
        ),
        "challenge": (lambda path: parse_challenge(path.read_bytes(), "challenge.toml"), [CHALLENGE]),
        "design": (lambda path: load_design(str(path), path.parent), designs),
        "certificate": (lambda path: load_certificate(str(path), path.parent), certificates),
        "export": (
            lambda path: owners(read_table(path.read_bytes(), "export.csv", "Practice"), STUDENTS),
            [EXPORT, EXPORT.decode().encode("utf-16")],
        ),
        "package": (
            lambda path: load_package(path, Month(2027, 10)),
            [_zipped(zipfile.ZIP_STORED), _zipped(zipfile.ZIP_DEFLATED)],
        ),
        "answers": (lambda path: list(rows_of(path)), [ANSWERS]),
    }


class TooSlow(BaseException):
    """Not an Exception: what opens pictures turns those into refusals."""


def _too_slow(*_: object) -> None:
    raise TooSlow(f"longer than {SECONDS_MOST} s")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=60)
    given = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESSES_MOST, ADDRESSES_MOST))
    signal.signal(signal.SIGALRM, _too_slow)
    doors = entries()
    names = sorted(doors)
    counts: Counter[tuple[str, str]] = Counter()
    bad, end = 0, time.monotonic() + given.seconds
    with tempfile.TemporaryDirectory() as folder:
        for run in range(given.runs):
            if time.monotonic() > end:
                break
            random = Random(f"{given.seed}-{run}")
            # Returns come from strangers and have the most formats: every second run is one.
            name = "return" if run % 2 else names[run // 2 % len(names)]
            enter, good = doors[name]
            path = Path(folder) / ("file.toml" if name in ("design", "certificate") else "file")
            path.write_bytes(damage(random.choice(good), random.choice(good), random))
            signal.alarm(SECONDS_MOST)
            try:
                enter(path)
                counts[name, "taken"] += 1
            except DayboxError:
                counts[name, "refused"] += 1
            except BaseException as error:
                if isinstance(error, KeyboardInterrupt):
                    raise
                bad += 1
                print(f"{name}, seed {given.seed}, run {run}: {type(error).__name__}: {error}", flush=True)
            finally:
                signal.alarm(0)
    for (name, what), count in sorted(counts.items()):
        print(f"{name:12} {what:8} {count:6}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    print(f"{sum(counts.values()) + bad} runs, {bad} bad, {peak >> 20} MB at most")
    return 1 if bad or peak > MEMORY_MOST else 0


if __name__ == "__main__":
    sys.exit(main())
