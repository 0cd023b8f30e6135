"""The wheel, installed into an environment of its own and used from elsewhere.

The names of our packages are common ones; what is imported must be ours.
"""

import json
import shutil
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("daemon", "drivers", "rules", "simulator")

WHERE_FROM = """
import importlib, importlib.metadata, json
ours = {str(path.locate()) for path in importlib.metadata.files("curehold")}
names = %r
print(json.dumps({name: importlib.import_module(name).__file__ in ours for name in names}))
"""


def _run(*command: str | Path, cwd: Path) -> str:
    result = subprocess.run(
        command, cwd=cwd, capture_output=True, text=True, timeout=120, check=False
    )
    assert result.returncode == 0, result.stdout + result.stderr
    return result.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    where = tmp_path_factory.mktemp("wheel")
    # Of a copy of the whole tree: building writes into its tree, and what does not
    # belong into a wheel must be there to be left out.
    ignored = shutil.ignore_patterns(".*", "__pycache__", "*.egg-info", "build", "dist")
    source = shutil.copytree(ROOT, where / "source", ignore=ignored)
    build = ("wheel", "--quiet", "--no-deps", "--no-build-isolation", "--wheel-dir", where)
    _run(sys.executable, "-m", "pip", *build, source, cwd=where)
    (built,) = where.glob("curehold-*.whl")
    return built


@pytest.fixture(scope="module")
def python(wheel) -> Path:
    """A fresh environment with the wheel, its dependencies lent by this one."""
    home = wheel.parent / "venv"
    venv.create(home, with_pip=False)
    ours = home / "bin" / "python"
    site = _run(ours, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=home)
    install = ("install", "--quiet", "--no-deps", "--no-index", "--no-warn-script-location")
    _run(sys.executable, "-m", "pip", "--python", ours, *install, wheel, cwd=home)
    lent = Path(site.strip()) / "lent.pth"
    lent.write_text(sysconfig.get_path("purelib") + "\n")
    return ours


def test_each_package_comes_from_this_distribution(python, tmp_path):
    came = json.loads(_run(python, "-c", WHERE_FROM % (PACKAGES,), cwd=tmp_path))
    assert came == dict.fromkeys(PACKAGES, True)


def test_a_package_of_the_same_name_from_elsewhere_would_be_noticed(python, tmp_path):
    stranger = tmp_path / "rules"
    stranger.mkdir()
    (stranger / "__init__.py").touch()
    came = json.loads(_run(python, "-c", WHERE_FROM % (PACKAGES,), cwd=tmp_path))
    assert came == dict.fromkeys(PACKAGES, True) | {"rules": False}


def test_only_our_packages_are_in_the_wheel(python, tmp_path):
    lister = (
        "import importlib.metadata as m; "
        "print(*{p.parts[0] for p in m.files('curehold') if p.suffix == '.py'})"
    )
    assert set(_run(python, "-c", lister, cwd=tmp_path).split()) == set(PACKAGES)


def test_the_data_files_come_along(python, tmp_path):
    lister = "import importlib.metadata as m; print(*(p for p in m.files('curehold')), sep='\\n')"
    inside = set(_run(python, "-c", lister, cwd=tmp_path).split())
    wanted = {
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for pattern in ("py.typed", "*.cases.toml")
        for path in (ROOT / package).rglob(pattern)
    }
    assert wanted <= inside


@pytest.mark.skipif(not (ROOT / "daemon" / "cli.py").exists(), reason="no daemon/cli.py yet")
def test_the_command_says_how_to_use_it(python, tmp_path):
    assert "supervise" in _run(python.with_name("curehold"), "--help", cwd=tmp_path)
