"""The README's two commands are the ones that CI runs, and versions are pinned for both."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_ci_calls_exactly_the_readme_s_test_command():
    run = subprocess.run([sys.executable, ROOT / ".ci/readme_command.py", "test"], capture_output=True, text=True, check=True)
    assert run.stdout.strip().endswith("-m pytest -n 2")
    assert run.stdout.strip() in (ROOT / "README.md").read_text("utf-8")
    assert "readme_command.py test" in (ROOT / ".ci/run").read_text("utf-8")


def test_both_commands_install_with_the_pinned_versions():
    for which in ("run", "test"):
        run = subprocess.run([sys.executable, ROOT / ".ci/readme_command.py", which], capture_output=True, text=True, check=True)
        assert "-c .ci/constraints.txt" in run.stdout


def test_constraints_are_plain_and_pin_what_the_package_asks_for():
    lines = (ROOT / ".ci/constraints.txt").read_text("utf-8").split()
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.!+]+", line) for line in lines)
    pinned = {re.sub(r"[-_.]+", "-", line.split("==")[0]).lower() for line in lines}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"], *project["optional-dependencies"]["auth"]]
    names = {re.sub(r"[-_.]+", "-", re.split(r"[\[<>=!~; ]", each)[0]).lower() for each in wanted}
    assert names - pinned == set()


def test_the_top_level_holds_what_it_should():
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT)
    if listed.returncode:
        listed_names = {path.name for path in ROOT.iterdir()}
    else:
        listed_names = {line.split("/")[0] for line in listed.stdout.splitlines()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "dashboard", "pipeline", "tests", "sample_data"}
    assert {name for name in listed_names if not name.startswith(".")} - allowed - {"tarebook.egg-info", "build"} == set()
