"""The shape of the package, read from its source: one direction of imports, pure cores, no samples.

Everything is read from the syntax trees, so that an import inside a function counts too.
"""

from __future__ import annotations

import ast
import re
import tomllib
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from asbuilt.units import parse_length

ROOT = Path(__file__).parents[1]
# Each may import from those before it, and within itself.
LAYERS = (
    ("units", "errors", "sources"),
    ("geometry",),
    ("imaging",),
    ("record",),
    ("steps",),
    ("answers",),
    ("sheets",),
    ("handover",),
    ("library",),
    ("web",),
    ("cli",),  # asbuilt serve starts the viewer; the viewer never calls the command line
)
LEVEL = {name: level for level, layer in enumerate(LAYERS) for name in layer}
PURE = ("units", "errors", "sources", "geometry", "imaging")
PURE_MAY_IMPORT = {
    "__future__", "abc", "bisect", "collections", "dataclasses", "enum", "fractions", "functools", "heapq", "itertools",
    "math", "re", "struct", "typing", "unicodedata", "zlib", "cv2", "numpy", "scipy", "shapely", "asbuilt",
}  # fmt: skip
READS_OR_WRITES = {
    "open", "input", "print", "exec", "eval", "imread", "imwrite", "imreadmulti", "VideoCapture", "VideoWriter",
    "FileStorage", "fromfile", "tofile", "memmap", "loadtxt", "savetxt", "genfromtxt", "savez", "imshow",
}  # fmt: skip
NETWORK = {"aiohttp", "ftplib", "http.client", "httpx", "requests", "smtplib", "telnetlib", "urllib.request", "urllib3"}


def _sources() -> dict[str, tuple[Path, ast.Module]]:
    """Module name -> (file, syntax tree) of everything that is installed."""
    found = {}
    for prefix, folder in (("asbuilt", ROOT / "asbuilt"), ("asbuilt.web", ROOT / "web")):
        for path in sorted(folder.rglob("*.py")):
            parts = path.relative_to(folder).with_suffix("").parts
            name = ".".join([prefix, *(p for p in parts if p != "__init__")])
            found[name] = (path, ast.parse(path.read_text("utf-8"), str(path)))
    return found


SOURCES = _sources()


def _imports(tree: ast.AST, top_level_only: bool = False) -> list[str]:
    """Dotted names that a module imports; ``from a import b`` gives a.b."""
    nodes = tree.body if top_level_only else ast.walk(tree)
    names = []
    for node in nodes:
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: a relative import"
            names += [f"{node.module}.{alias.name}" for alias in node.names]
    return names


def _package(module: str) -> str | None:
    """``geometry`` of ``asbuilt.geometry.frames``; None for what is not ours or asbuilt itself."""
    parts = module.split(".")
    return parts[1] if parts[0] == "asbuilt" and len(parts) > 1 and parts[1] in LEVEL else None


def _in(*packages: str) -> list[str]:
    return [name for name in SOURCES if _package(name) in packages]


def test_every_module_belongs_to_a_layer():
    assert {"asbuilt.units", "asbuilt.geometry.frames", "asbuilt.record.store", "asbuilt.cli", "asbuilt.web"} <= set(
        SOURCES
    )
    assert [name for name in SOURCES if name != "asbuilt" and _package(name) is None] == []
    assert _imports(SOURCES["asbuilt"][1]) == []


def test_imports_go_one_way_only():
    wrong = [
        f"{name} imports {target}"
        for name, (_, tree) in SOURCES.items()
        for target in _imports(tree)
        if _package(name) and _package(target) and LEVEL[_package(target)] > LEVEL[_package(name)]
    ]
    assert wrong == []


def test_no_module_imports_itself_in_a_loop():
    graph = {}
    for name, (_, tree) in SOURCES.items():
        targets = _imports(tree, top_level_only=True)
        modules = {t if t in SOURCES else t.rpartition(".")[0] for t in targets}
        # A package's own __init__ gathers its modules; it is not one of the loop.
        graph[name] = {m for m in modules if m in SOURCES and m != name and not name.startswith(m + ".")}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))


def test_nothing_is_imported_behind_the_readers_back():
    """Imports by name at run time would escape these tests; only the command group does it, within cli."""
    hidden = {
        name
        for name, (_, tree) in SOURCES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] in ("import_module", "__import__")
    }
    assert hidden <= {"asbuilt.cli"}


@pytest.mark.parametrize("name", _in(*PURE))
def test_pure_modules_import_only_what_computes(name):
    tree = SOURCES[name][1]
    assert {target.split(".")[0] for target in _imports(tree)} <= PURE_MAY_IMPORT
    assert {_package(t) for t in _imports(tree) if t.startswith("asbuilt.")} <= set(PURE)


@pytest.mark.parametrize("name", _in(*PURE))
def test_pure_modules_touch_no_file_and_no_hidden_chance(name):
    for node in ast.walk(SOURCES[name][1]):
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func)
        last = called.split(".")[-1]
        assert last not in READS_OR_WRITES, f"line {node.lineno}: {called}"
        assert called not in ("np.load", "np.save", "numpy.load", "numpy.save"), f"line {node.lineno}: {called}"
        if ".random." in called:
            # Chance enters by a generator that the caller gives, or by a stated seed.
            assert last in ("default_rng", "SeedSequence") and node.args, f"line {node.lineno}: {called}"


def test_only_the_record_opens_the_database():
    users = {
        _package(name)
        for name, (_, tree) in SOURCES.items()
        for target in _imports(tree)
        if target.split(".")[0] in ("sqlite3", "sqlite_utils") and not _only_catches(tree)
    }
    assert users == {"record"}


def _only_catches(tree: ast.Module) -> bool:
    """Whether sqlite3 serves only to name its errors in ``except``."""
    used = [
        ast.unparse(n) for n in ast.walk(tree) if isinstance(n, ast.Attribute) and ast.unparse(n).startswith("sqlite3.")
    ]
    return bool(used) and all(name.endswith("Error") for name in used)


def test_nothing_calls_out_to_the_network():
    calls = [
        f"{name} imports {target}"
        for name, (_, tree) in SOURCES.items()
        for target in _imports(tree)
        if any(target == bad or target.startswith(bad + ".") for bad in NETWORK)
    ]
    assert calls == []


# What the sample building is made of must not be known to the code that works on any building.


def _package_texts() -> list[tuple[str, str]]:
    kinds = {".py", ".sql", ".toml", ".csv", ".md", ".html", ".js", ".css", ".json"}
    files = [p for folder in ("asbuilt", "web") for p in sorted((ROOT / folder).rglob("*")) if p.suffix in kinds]
    return [(str(p.relative_to(ROOT)), p.read_text("utf-8")) for p in files]


def test_no_package_file_speaks_of_the_truth_of_the_sample():
    assert len(_package_texts()) > 50
    speaks = [name for name, text in _package_texts() if re.search(r"truth|taped\.json", text, re.IGNORECASE)]
    assert speaks == []


def _sample_plan() -> dict:
    return tomllib.loads((ROOT / "sample_media" / "plan.toml").read_text("utf-8"))


def test_no_name_of_the_sample_building_is_in_the_package():
    plan = _sample_plan()
    names = {
        plan["building"]["name"],
        *(face["title"] for face in plan["face"]),
        *(face["id"] for face in plan["face"]),
    }
    names |= {circuit["name"] for circuit in plan["circuit"]} | {"pottery", "quarry", "glaze", "studio"}
    # Words of the trade that mean more than this building.
    names -= {"partition", "lights", "spare"}
    pattern = re.compile(r"\b(" + "|".join(map(re.escape, sorted(names))) + r")\b", re.IGNORECASE)
    found = [f"{name}: {match[0]}" for name, text in _package_texts() if (match := pattern.search(text))]
    assert found == []


def test_no_size_of_the_sample_building_is_in_the_package():
    plan = _sample_plan()
    lengths = {
        parse_length(entry[key])
        for table, keys in (("face", ("length", "height")), ("opening", ("left", "right", "bottom", "top")),
                            ("marker", ("offset", "height")))
        for entry in plan[table]
        for key in keys
    }  # fmt: skip
    # Round readings (whole inches) are numbers that anything may have.
    odd = {m for m in lengths if abs(m / 0.0254 - round(m / 0.0254)) > 1e-9}
    assert len(odd) > 20
    known = {round(m, 5) for m in odd} | {round(m / 0.0254, 5) for m in odd}
    found = [
        f"{name} line {node.lineno}: {node.value}"
        for name, (_, tree) in SOURCES.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, float) and round(node.value, 5) in known
    ]
    assert found == []


def test_no_marker_number_of_the_sample_building_is_in_the_package():
    ids = {marker["id"] for marker in _sample_plan()["marker"]}
    spelled = re.compile(rf"\b{min(ids)}\s*(-|to|\.\.|,)\s*{max(ids)}\b")
    for name, text in _package_texts():
        assert not spelled.search(text), name
    for name, (_, tree) in SOURCES.items():
        for node in ast.walk(tree):
            if isinstance(node, (ast.Tuple, ast.List, ast.Set)):
                numbers = {n.value for n in node.elts if isinstance(n, ast.Constant) and isinstance(n.value, int)}
                assert len(numbers & ids) < 4, f"{name} line {node.lineno}"
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "range":
                bounds = [n.value for n in node.args if isinstance(n, ast.Constant)]
                assert bounds != [min(ids), max(ids) + 1], f"{name} line {node.lineno}"
