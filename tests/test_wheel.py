"""The installed package is complete: built, installed and run far from the source."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Installed:
    """An installed wheel, and an empty folder to run it from."""

    sdist: Path
    site: Path
    empty: Path

    def run(self, *command: str) -> subprocess.CompletedProcess[str]:
        """Run a command that sees the installed wheel and no source folder."""
        environment = {**os.environ, "PYTHONPATH": str(self.site)}
        return subprocess.run(
            command,
            cwd=self.empty,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
        )


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """Build the sdist, the wheel out of the sdist, and install the wheel."""
    dist, site, empty = (tmp_path_factory.mktemp(name) for name in "dse")
    build = ["build", "--no-isolation", "--outdir", str(dist), str(ROOT)]
    install = ["pip", "install", "--quiet", "--no-deps", "--no-index", "diagnose"]
    for command in (build, [*install, f"--find-links={dist}", f"--target={site}"]):
        result = subprocess.run(
            [sys.executable, "-m", *command],
            capture_output=True,
            text=True,
            check=False,
        )
        assert result.returncode == 0, result.stdout + result.stderr
    (sdist,) = dist.glob("*.tar.gz")
    return Installed(sdist=sdist, site=site, empty=empty)


def test_installed_package_is_the_one_that_runs(installed: Installed) -> None:
    result = installed.run(
        sys.executable, "-c", "import diagnose; print(diagnose.__file__)"
    )

    assert Path(result.stdout.strip()).is_relative_to(installed.site)


def test_console_command_prints_its_help(installed: Installed) -> None:
    result = installed.run(
        sys.executable, str(installed.site / "bin" / "diagnose"), "--help"
    )

    assert (result.returncode, result.stderr) == (0, "")
    assert "diagnose" in result.stdout


def test_installed_package_checks_a_shipped_car(installed: Installed) -> None:
    result = installed.run(sys.executable, "-m", "diagnose", "check", "sedan")

    assert result.returncode == 0, result.stdout + result.stderr


@pytest.mark.parametrize("folder", ["knowledge", "cases"])
def test_wheel_holds_every_data_file(installed: Installed, folder: str) -> None:
    shipped = {
        path.relative_to(ROOT) for path in (ROOT / folder).rglob("*") if path.is_file()
    }

    inside = installed.site / "diagnose"
    assert {path for path in shipped if not (inside / path).is_file()} == set()


def test_sdist_holds_the_tests(installed: Installed) -> None:
    with tarfile.open(installed.sdist) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}

    assert "tests/test_wheel.py" in names
