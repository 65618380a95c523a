"""The case store keeps every fact that was answered, whatever happens next."""

from __future__ import annotations

import resource
import signal
import sqlite3
import subprocess
import sys
import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from diagnose.errors import StoreError
from diagnose.store.case_rows import FactRow
from diagnose.store.case_store import STORE_FILE, CaseStore, text_digest

BEGAN = datetime(2031, 5, 4, 19, 30, tzinfo=UTC)
READING = FactRow(
    kind="reading", content={"state": "key-on", "red": "pump.plus", "value": 11.2}
)
SYMPTOM = FactRow(kind="symptom", content={"symptom": "cranks", "is_present": True})
UNDO = FactRow(kind="undo", content={})


class Clock:
    """A clock that moves one minute each time it is read."""

    def __init__(self) -> None:
        self._now = BEGAN

    def __call__(self) -> datetime:
        self._now += timedelta(minutes=1)
        return self._now


@pytest.fixture
def store(tmp_path: Path) -> Iterator[CaseStore]:
    with CaseStore(tmp_path / "data", clock=Clock()) as opened:
        yield opened


def begin(store: CaseStore, name: str = "sunday") -> None:
    store.create(name=name, car_path="cars/roadster.yaml", car_text="name: roadster\n")


def test_facts_come_back_in_order_and_whole(store: CaseStore) -> None:
    begin(store)
    store.append("sunday", [SYMPTOM], after=0, standing="open")
    store.append("sunday", [READING, UNDO], after=1, standing="open")

    assert store.facts("sunday") == (SYMPTOM, READING, UNDO)


def test_facts_outlive_the_connection(tmp_path: Path) -> None:
    with CaseStore(tmp_path, clock=Clock()) as store:
        begin(store)
        store.append("sunday", [READING], after=0, standing="open")

    with CaseStore(tmp_path, clock=Clock()) as again:
        assert again.facts("sunday") == (READING,)


def test_case_keeps_a_copy_of_the_car_file(store: CaseStore) -> None:
    begin(store)

    case = store.find("sunday")
    assert case.car_path == "cars/roadster.yaml"
    assert store.car_text(case) == "name: roadster\n"
    assert case.car_digest == text_digest("name: roadster\n")


def test_times_come_from_the_clock_passed_in(store: CaseStore) -> None:
    begin(store)
    store.append("sunday", [READING], after=0, standing="open")

    # By hand: the clock is read once for the case and once for its fact.
    case = store.find("sunday")
    assert case.created_at == "2031-05-04T19:31:00.000+00:00"
    assert case.latest_at == "2031-05-04T19:32:00.000+00:00"


def test_unnamed_cases_are_counted_by_car(store: CaseStore) -> None:
    for _ in range(2):
        store.create(name="", car_path="cars/roadster.yaml", car_text="")

    assert [case.name for case in store.cases()] == ["roadster-2", "roadster-1"]


def test_the_case_worked_on_latest_comes_first(store: CaseStore) -> None:
    begin(store, "first")
    begin(store, "second")
    store.append("first", [READING], after=0, standing="pump wire 60 %")

    assert store.find().name == "first"
    assert store.find().standing == "pump wire 60 %"


def test_the_latest_case_is_known_with_the_clock_set_back(tmp_path: Path) -> None:
    times = [BEGAN, BEGAN, BEGAN - timedelta(days=400)]
    with CaseStore(tmp_path, clock=lambda: times.pop(0)) as store:
        begin(store, "first")
        begin(store, "second")
        store.append("first", [READING], after=0, standing="open")

        assert store.find().name == "first"


def test_a_car_file_of_many_cases_is_kept_once(store: CaseStore) -> None:
    begin(store, "first")
    begin(store, "second")

    assert store.rows("SELECT COUNT(*) FROM car_texts") == [(1,)]
    assert store.car_text(store.find("first")) == "name: roadster\n"


def test_car_texts_are_not_read_to_list_or_find_cases(tmp_path: Path) -> None:
    with CaseStore(tmp_path, clock=Clock()) as store:
        store.rows("PRAGMA synchronous = OFF")
        for number in range(300):
            text = f"{number}" + "x" * 100_000
            store.create(name=f"case-{number}", car_path="car.yaml", car_text=text)
        tracemalloc.start()
        found = len(list(store.cases())), store.find().name, store.find("case-7").name
        _, peak_bytes = tracemalloc.get_traced_memory()
        tracemalloc.stop()

    assert found == (300, "case-299", "case-7")
    assert peak_bytes < 3_000_000  # their texts are thirty million


# A store as the first version of the program left it: two cases, one with a fact. In
# the second the fact was told before the first case began.
FIRST_VERSION = """
CREATE TABLE cases (number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE,
    car_path TEXT NOT NULL, car_text TEXT NOT NULL, car_digest TEXT NOT NULL,
    created_at TEXT NOT NULL, standing TEXT NOT NULL) STRICT;
CREATE TABLE facts (case_number INTEGER NOT NULL REFERENCES cases (number),
    sequence INTEGER NOT NULL, kind TEXT NOT NULL,
    content TEXT NOT NULL CHECK (json_valid(content)), told_at TEXT NOT NULL,
    PRIMARY KEY (case_number, sequence)) STRICT;
INSERT INTO cases VALUES (1, 'first', 'a.yaml', 'a', 'da', '2031-05-05', 'open');
INSERT INTO cases VALUES (2, 'second', 'b.yaml', 'b', 'db', '2031-05-03', 'open');
INSERT INTO facts VALUES (2, 1, 'undo', '{}', '2031-05-04');
PRAGMA user_version = 1;
"""


def test_store_of_the_first_version_is_taken_over_whole(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / STORE_FILE)
    connection.executescript(FIRST_VERSION)
    connection.close()

    with CaseStore(tmp_path, clock=Clock()) as store:
        first, second = tuple(store.cases())
        assert (first.name, first.fact_count, first.latest_at) == (
            "first",
            0,
            "2031-05-05",
        )
        assert (second.name, second.fact_count, second.latest_at) == (
            "second",
            1,
            "2031-05-04",
        )
        assert [store.car_text(case) for case in (first, second)] == ["a", "b"]
        assert store.facts("second") == (UNDO,)
        store.append("second", [READING], after=1, standing="open")
        assert store.find().name == "second"


def test_taken_name_is_refused_and_points_to_resume(store: CaseStore) -> None:
    begin(store)

    with pytest.raises(StoreError, match="diagnose resume sunday"):
        begin(store)


def test_name_that_is_no_word_is_refused(store: CaseStore) -> None:
    with pytest.raises(StoreError, match="can't name a case"):
        begin(store, "two words")


def test_car_file_with_a_strange_name_still_gives_a_typable_case(
    store: CaseStore,
) -> None:
    case = store.create(name="", car_path="cars/my car (old).yaml", car_text="")

    assert case.name == "my-car-old-1"


def test_unknown_case_names_the_latest_ones(store: CaseStore) -> None:
    begin(store)

    with pytest.raises(StoreError, match=r'no case "monday".*latest are: sunday'):
        store.find("monday")


def test_empty_store_says_how_to_begin(store: CaseStore) -> None:
    with pytest.raises(StoreError, match="diagnose start CAR"):
        store.find()


def test_second_window_on_one_case_is_refused(store: CaseStore) -> None:
    begin(store)
    store.append("sunday", [READING], after=0, standing="open")

    with pytest.raises(StoreError, match="another window"):
        store.append("sunday", [SYMPTOM], after=0, standing="open")


def test_refused_facts_leave_nothing_behind(store: CaseStore) -> None:
    begin(store)
    unwritable = FactRow(kind="reading", content={"value": float("nan")})

    with pytest.raises(ValueError, match="Out of range float"):
        store.append("sunday", [SYMPTOM, unwritable], after=0, standing="open")
    assert store.facts("sunday") == ()


def test_store_is_readable_by_its_owner_alone(store: CaseStore, tmp_path: Path) -> None:
    begin(store)

    assert (tmp_path / "data" / STORE_FILE).stat().st_mode & 0o777 == 0o600


def test_file_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    connection = sqlite3.connect(tmp_path / STORE_FILE)
    connection.execute("PRAGMA user_version = 99")
    connection.close()

    with pytest.raises(StoreError, match=r"newer version.*schema 99"):
        CaseStore(tmp_path, clock=Clock())


def test_file_that_is_no_store_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / STORE_FILE).write_text("a letter, not a database " * 40)

    with pytest.raises(StoreError, match="not a database"):
        CaseStore(tmp_path, clock=Clock())
    assert (tmp_path / STORE_FILE).read_text().startswith("a letter")


def test_folder_that_can_not_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("a file where the folder should be")

    with pytest.raises(StoreError, match="choose another folder with --data-folder"):
        CaseStore(tmp_path / "data", clock=Clock())


KILLED_AFTER_APPEND = """
import os, signal, sys
from datetime import UTC, datetime
from pathlib import Path
from diagnose.store.case_store import CaseStore, FactRow
store = CaseStore(Path(sys.argv[1]), clock=lambda: datetime.now(UTC))
store.create(name="sunday", car_path="car.yaml", car_text="")
for count in range(5):
    row = FactRow(kind="reading", content={"value": float(count)})
    store.append("sunday", [row], after=count, standing="open")
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_kill_after_append_loses_nothing(tmp_path: Path) -> None:
    killed = subprocess.run(
        [sys.executable, "-c", KILLED_AFTER_APPEND, str(tmp_path)], check=False
    )

    assert killed.returncode == -signal.SIGKILL
    with CaseStore(tmp_path, clock=Clock()) as store:
        values = [row.content["value"] for row in store.facts("sunday")]
    assert values == [0.0, 1.0, 2.0, 3.0, 4.0]


FULL_DISK = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from diagnose.store.case_store import CaseStore, FactRow
from diagnose.store.journal import Journal
store = CaseStore(Path(sys.argv[1]), clock=lambda: datetime.now(UTC))
store.create(name="sunday", car_path="car.yaml", car_text="")
journal = Journal(store, name="sunday")
for count in range(40):
    row = FactRow(kind="reading", content={"value": float(count), "note": "x" * 4000})
    journal.append([row], standing="open")
    warning = journal.take_warning()
    if warning:
        print(count, warning)
print("saved" if journal.is_saved else "in memory")
"""


def test_full_disk_is_told_once_and_keeps_what_was_stored(tmp_path: Path) -> None:
    def limit_file_size() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    full = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(tmp_path)],
        preexec_fn=limit_file_size,
        capture_output=True,
        text=True,
        check=True,
    )

    *told, last = full.stdout.splitlines()
    assert len(told) == 1
    assert "can't be saved" in told[0]
    assert last == "in memory"
    with CaseStore(tmp_path, clock=Clock()) as store:
        values = [row.content["value"] for row in store.facts("sunday")]
    first_unsaved = int(told[0].split()[0])
    assert values == [float(count) for count in range(first_unsaved)]
