"""Build wheel and source archive, install the wheel into an empty environment of each Python at
hand, and do the main job there from another folder.

    python tests/install/try_all_pythons.py            # 3.11, 3.12 and 3.13, those that are found
    python tests/install/try_all_pythons.py 3.12

Ends with 0 when every Python that was found passes, 1 when one fails or none is found.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VERSIONS = ("3.11", "3.12", "3.13")
CASE = "bumblebee-plate-3"


class Failed(Exception):
    """One thing that should hold and does not."""


def run(words: Sequence[str | Path], *, cwd: Path, env: dict[str, str] | None = None) -> str:
    """Return what a command prints; a failing one raises with the end of its output."""
    words = [str(word) for word in words]
    given = {"cwd": cwd, "env": env, "timeout": 900}
    done = subprocess.run(words, capture_output=True, text=True, check=False, **given)
    if done.returncode:
        said = (done.stdout + done.stderr)[-1500:]
        raise Failed(f"{' '.join(words)} ended with {done.returncode}:\n{said}")
    return done.stdout


def _places(version: str) -> Iterator[Path]:
    """Yield where a Python of this version may stand: the path, version managers, the system."""
    named = shutil.which(f"python{version}")
    for place in (
        f".pyenv/versions/{version}*",
        f".local/share/uv/python/*{version}*",
        f".asdf/installs/python/{version}*",
        f".local/share/mise/installs/python/{version}*",
    ):
        yield from sorted(Path.home().glob(f"{place}/bin/python{version}"), reverse=True)
    if named:
        yield Path(named)
    for folder in ("/usr/local/bin", "/usr/bin", "/opt/homebrew/bin"):
        yield Path(folder) / f"python{version}"


def find_python(version: str) -> Path | None:
    """Return an interpreter of this version that can make an environment with pip."""
    probe = "import sys, venv, ensurepip; print('%d.%d' % sys.version_info[:2])"
    for place in _places(version):
        if place.is_file():
            words = [str(place), "-c", probe]
            done = subprocess.run(words, capture_output=True, text=True, check=False)
            if done.returncode == 0 and done.stdout.strip() == version:
                return place
    return None


def build_with(python: Path, folder: Path) -> tuple[Path, Path]:
    """Return wheel and source archive, built with the hatchling of this Python."""
    made = folder / "dist"
    run([python, "-m", "hatchling", "build", "-d", made], cwd=ROOT)
    wheels, archives = sorted(made.glob("*.whl")), sorted(made.glob("*.tar.gz"))
    if len(wheels) != 1 or len(archives) != 1:
        raise Failed(f"expected one wheel and one source archive in {made}")
    return wheels[0], archives[0]


def declared(wheel: Path) -> frozenset[str]:
    """Return the distributions that the wheel declares, without extras, as plain names."""
    with zipfile.ZipFile(wheel) as archive:
        name = next(n for n in archive.namelist() if n.endswith(".dist-info/METADATA"))
        lines = archive.read(name).decode("utf-8").splitlines()
    wanted = [line.split(":", 1)[1] for line in lines if line.startswith("Requires-Dist:")]
    return frozenset(plain_name(w) for w in wanted if "extra ==" not in w)


def plain_name(requirement: str) -> str:
    """Return the normal form of the name in a requirement (PEP 503)."""
    name = re.match(r"\s*([A-Za-z0-9._-]+)", requirement)
    return re.sub(r"[-_.]+", "-", name.group(1)).lower() if name else ""


def try_python(python: Path, wheel: Path, folder: Path) -> list[str]:
    """Return what was done with one Python; raise ``Failed`` at the first thing that is wrong."""
    inner, elsewhere, home = folder / "env", folder / "elsewhere", folder / "home"
    elsewhere.mkdir(parents=True)
    env = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "VIRTUAL_ENV"))}
    env |= {"TRIAGE_HOME": str(home), "NO_COLOR": "1"}
    run([python, "-m", "venv", inner], cwd=folder, env=env)
    pip, triage = [inner / "bin" / "python", "-m", "pip"], inner / "bin" / "triage"
    run([*pip, "install", "--quiet", wheel], cwd=folder, env=env)
    run([*pip, "check"], cwd=folder, env=env)
    done = [run([triage, "--version"], cwd=elsewhere, env=env).strip()]
    done.append(run([triage, "check"], cwd=elsewhere, env=env).strip().splitlines()[0])
    demo = elsewhere / "demo"
    shutil.copytree(ROOT / "cases", demo)
    plan = json.loads(
        run([triage, "plan", demo / f"{CASE}.yaml", "--json"], cwd=elsewhere, env=env)
    )
    if not plan["steps"]:
        raise Failed("the plan of the demo case has no step")
    first = plan["steps"][0]
    done.append(f"plan: {len(plan['steps'])} steps, first {first['method']} on {first['zone']}")
    words = ["record", demo / f"{CASE}.yaml", "--step", first["id"], "--outcome", "no-change"]
    run([triage, *words], cwd=elsewhere, env=env)
    run([triage, "new", "on the bench", "--taxon", "beetles"], cwd=elsewhere, env=env)
    kept = contents(home)
    if not kept:
        raise Failed("a new case left nothing in the user's folder")
    run([*pip, "uninstall", "--quiet", "-y", "triage"], cwd=folder, env=env)
    if triage.exists() or contents(home) != kept:
        raise Failed("after uninstalling, the program is still there or the user's data are not")
    done.append(f"uninstalled; {len(kept)} files of the user are untouched")
    return done


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder with its bytes."""
    return {
        str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()
    }


def main(versions: Sequence[str]) -> int:
    """Try each version and print one block for each."""
    bad = tried = 0
    with tempfile.TemporaryDirectory(prefix="triage-install-") as name:
        folder = Path(name)
        # Built in a fresh environment.
        run([sys.executable, "-m", "venv", folder / "tools"], cwd=folder)
        tool = folder / "tools" / "bin" / "python"
        run([tool, "-m", "pip", "install", "--quiet", "hatchling>=1.25"], cwd=folder)
        wheel, archive = build_with(tool, folder)
        print(f"built {wheel.name} and {archive.name}")
        for version in versions:
            python = find_python(version)
            if python is None:
                print(f"Python {version}: not found here")
                continue
            tried += 1
            try:
                lines = try_python(python, wheel, folder / version)
            except Failed as fault:
                bad += 1
                print(f"Python {version}: FAILED\n{fault}")
                continue
            print(f"Python {version}: works")
            print("\n".join(f"  {line}" for line in lines))
    return 1 if bad or not tried else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:] or VERSIONS))
