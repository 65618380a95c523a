"""Car files by a fuzzer that follows which code they reach: read, or refused in words.

``python -m tests.longer_runs.guided_cars FOLDER -max_total_time=1800 -seed=1``, in an
environment that has atheris beside the program. The invented cars are put into FOLDER
first, and whatever reaches something new is added there. Anything but the program's own
error, ten seconds or a gigabyte ends it with the file that brought it about; else it
closes with the number of files. What begins with a dash is for the fuzzer.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CARS = [*(ROOT / "tests/cars").glob("*.yaml"), *(ROOT / "cases/cars").glob("*.yaml")]
LIMITS = ("-timeout=10", "-rss_limit_mb=1000", "-max_len=6000")


def main() -> None:
    """Read files until the time is over, or one is neither read nor refused."""
    # here, as what reads car files has to be imported under its eyes
    import atheris

    with atheris.instrument_imports(include=["diagnose.files"]):
        from diagnose.errors import DiagnoseError
        from diagnose.files.car.car_file import load_car
        from diagnose.files.knowledge.knowledge_files import load_knowledge
        from diagnose.files.resources import knowledge_folder

    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for path in CARS:
        (folder / path.name).write_bytes(path.read_bytes())
    knowledge = load_knowledge(knowledge_folder())

    def read(data: bytes) -> None:
        text = data.decode("utf-8", errors="replace")
        try:
            load_car(Path("car.yaml"), knowledge, text=text)
        except DiagnoseError as error:
            if not str(error).strip():
                raise ValueError("refused without a word") from error

    atheris.Setup([sys.argv[0], str(folder), *LIMITS, *sys.argv[2:]], read)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
