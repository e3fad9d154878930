"""The rules of the house: who may import whom, what stands at the top, what a newcomer is told to run."""

import importlib
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))

# What conda-forge calls the few packages that have another name on PyPI; tzdata comes with conda's python.
CONDA_NAMES = {"matplotlib": "matplotlib-base", "pvlib": "pvlib-python", "tzdata": None}


def test_wings_import_one_way():
    run = subprocess.run(
        [Path(sys.executable).with_name("lint-imports"), "--no-cache"], cwd=ROOT, capture_output=True, text=True
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_environment_file_keeps_step_with_pyproject():
    lines = (ROOT / "environment.yml").read_text(encoding="utf-8").splitlines()
    conda = dict(re.match(r"  - ([a-z0-9-]+)>=(\S+)$", line).groups() for line in lines if ">=" in line)
    expected = {}
    for requirement in PROJECT["project"]["dependencies"]:
        name, version = re.match(r"([a-z0-9-]+)(?:\[.*\])?>=(\S+)$", requirement).groups()
        name = CONDA_NAMES.get(name, name)
        if name:
            expected[name] = version
    assert conda == expected


def test_top_level_holds_the_card_and_no_more():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    card = {"pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE", "environment.yml", "CITATION.cff"}
    card |= {"fieldkit", "notebooks", "tests", "data"}
    assert {name for name in top if not name.startswith(".")} <= card


def test_every_dependency_is_explained():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    extras = PROJECT["project"]["optional-dependencies"]
    listed = PROJECT["project"]["dependencies"] + [r for extra in extras.values() for r in extra]
    names = {re.match(r"[A-Za-z0-9-]+", r).group() for r in listed} - {"fieldkit"}
    assert [name for name in sorted(names) if f"`{name}`" not in guide] == []


def test_importing_fieldkit_is_light():
    code = "import sys, fieldkit; print([m for m in ('pandas', 'scipy', 'matplotlib', 'xarray') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"


def test_readme_has_two_commands_that_stand_alone():
    commands = re.findall(
        r"^python3 -m venv \.venv && .*$", (ROOT / "README.md").read_text(encoding="utf-8"), flags=re.MULTILINE
    )
    assert len(commands) == 2
    assert "fieldkit writeup" in commands[0] and "python -m pytest" in commands[1]


def test_the_version_is_written_once_and_cited():
    import fieldkit

    cited = re.search(r'^version: "(.+)"$', (ROOT / "CITATION.cff").read_text(encoding="utf-8"), re.MULTILINE)
    assert cited[1] == fieldkit.__version__
    assert "version" in tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dynamic"]


FACES = sorted(ROOT.glob("fieldkit/**/__init__.pyi"))


@pytest.mark.parametrize("face", FACES, ids=lambda face: face.parent.relative_to(ROOT).as_posix())
def test_a_public_face_shows_what_it_promises_and_hides_nothing_behind_a_file(face):
    package = importlib.import_module(".".join(face.parent.relative_to(ROOT).parts))
    promised = set(re.findall(r" as (\w+)$", face.read_text(encoding="utf-8"), re.MULTILINE))
    assert promised and promised == set(dir(package)) == set(package.__all__)
    for name in promised:
        getattr(package, name)
    submodules = set(re.findall(r"^from \. import (\w+)", face.read_text(encoding="utf-8"), re.MULTILINE))
    files = {path.stem for path in face.parent.iterdir() if path.suffix == ".py" or path.is_dir()}
    # A function called like a file of its package would be hidden by it as soon as that file is imported.
    assert not (promised - submodules) & files
